/* That no cell, row or byte of a sealed night can be changed without verify saying so and where. */
#include "tests/unit/night/sealed.h"

#include "collector/night/seal_clue.h"

struct column {
    char table[40];
    char name[40];
    char type[16];
    bool primary;
};

struct columns {
    size_t count;
    struct column list[400];
};

/* Every column of every table that holds something; tail is empty when a night is closed. */
static struct columns *columns_of(const char *path)
{
    static struct columns columns;
    sqlite3 *db = NULL;
    sqlite3_stmt *statement = NULL;
    columns.count = 0;
    assert_int_equal(sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY, NULL), SQLITE_OK);
    assert_int_equal(
        sqlite3_prepare_v2(db,
                           "SELECT t.name, c.name, c.pk > 0, c.type FROM sqlite_schema AS t,"
                           " pragma_table_xinfo(t.name) AS c"
                           " WHERE t.type='table' AND c.hidden=0 AND t.name<>'tail'",
                           -1, &statement, NULL),
        SQLITE_OK);
    while (sqlite3_step(statement) == SQLITE_ROW) {
        struct column *column = &columns.list[columns.count++];
        assert_true(columns.count < sizeof columns.list / sizeof *columns.list);
        (void)snprintf(column->table, sizeof column->table, "%s",
                       (const char *)sqlite3_column_text(statement, 0));
        (void)snprintf(column->name, sizeof column->name, "%s",
                       (const char *)sqlite3_column_text(statement, 1));
        column->primary = sqlite3_column_int(statement, 2) != 0;
        (void)snprintf(column->type, sizeof column->type, "%s",
                       (const char *)sqlite3_column_text(statement, 3));
    }
    sqlite3_finalize(statement);
    assert_int_equal(sqlite3_close(db), SQLITE_OK);
    return &columns;
}

/* "id" or "analysis, id": what names a row of the table. */
static void primary_key(const struct columns *columns, const char *table, char out[160])
{
    out[0] = '\0';
    for (size_t i = 0; i < columns->count; i++) {
        const struct column *column = &columns->list[i];
        if (column->primary && strcmp(column->table, table) == 0) {
            size_t used = strlen(out);
            (void)snprintf(out + used, 160 - used, "%s%s", used > 0 ? ", " : "", column->name);
        }
    }
    assert_true(out[0] != '\0');
}

/* What is told of a change in this table is told of it, or of what it is derived from. */
static bool told_where(const struct sealed_told *told, const char *table)
{
    for (size_t i = 0; i < told->fault_count; i++) {
        const char *where = told->faults[i].table;
        if (strcmp(where, table) == 0 ||
            (strncmp(table, "seal", 4) == 0 && strncmp(where, "seal", 4) == 0)) {
            return true;
        }
    }
    return false;
}

/* Tables of one group are changed in one copy of the night: what is off in one of them is never
 * told of another of the same group. */
#define GROUPS 8

static size_t group_of(const char *table)
{
    static const struct {
        const char *table;
        size_t group;
    } groups[] = {{"block", 1},    {"room", 1}, {"channel", 2}, {"node", 2},      {"boot", 3},
                  {"analysis", 3}, {"meta", 4}, {"seal", 5},    {"seal_tree", 6}, {"seal_clue", 7}};
    for (size_t i = 0; i < sizeof groups / sizeof *groups; i++) {
        if (strcmp(groups[i].table, table) == 0) {
            return groups[i].group;
        }
    }
    return 0;
}

/* Changes made to one copy, and the tables that must be told of. */
struct batch {
    char sql[40000];
    const char *tables[40];
    size_t count;
};

static void batch_add(struct batch *batch, const char *table, const char *sql)
{
    size_t used = strlen(batch->sql);
    int length = snprintf(batch->sql + used, sizeof batch->sql - used, "%s;", sql);
    assert_true(length > 0 && (size_t)length < sizeof batch->sql - used);
    assert_true(batch->count < sizeof batch->tables / sizeof *batch->tables);
    batch->tables[batch->count++] = table;
}

static void batch_expect_told(const struct fixture *fixture, struct batch *batch)
{
    if (batch->count > 0) {
        const char *copy = sealed_copy(fixture);
        sealed_change(copy, batch->sql);
        struct sealed_told *told = sealed_verify(copy, NULL);
        for (size_t i = 0; i < batch->count; i++) {
            if (!told_where(told, batch->tables[i])) {
                sealed_print(told);
                fail_msg("%s not told: %s", batch->tables[i], batch->sql);
            }
        }
    }
    batch->sql[0] = '\0';
    batch->count = 0;
}

static void expect_told(const struct fixture *fixture, const char *table, const char *sql)
{
    static struct batch batch;
    batch_add(&batch, table, sql);
    batch_expect_told(fixture, &batch);
}

static const char *key_of(const struct columns *columns, const char *table)
{
    static char key[160];
    primary_key(columns, table, key);
    return key;
}

/* The second row where there is one. A value of the same kind where the column has one. */
static void change_cell(const struct columns *columns, const struct column *c, char sql[2048])
{
    const char *key = key_of(columns, c->table);
    (void)snprintf(sql, 2048,
                   "UPDATE %s SET %s = CASE typeof(%s) WHEN 'integer' THEN %s + 1000003"
                   " WHEN 'real' THEN %s + 1.5 WHEN 'text' THEN %s || 'x'"
                   " WHEN 'blob' THEN CAST(substr(%s, 2) || 'x' AS BLOB) ELSE %s END"
                   " WHERE (%s) IN (SELECT %s FROM %s ORDER BY %s LIMIT 1"
                   " OFFSET (SELECT min(count(*) - 1, 1) FROM %s))",
                   c->table, c->name, c->name, c->name, c->name, c->name, c->name,
                   strcmp(c->type, "BLOB") == 0 ? "x'00'" : "'1'", key, key, c->table, key,
                   c->table);
}

/* The place of the column in its table. */
static size_t place_of(const struct columns *columns, size_t i)
{
    size_t place = 0;
    while (place < i && strcmp(columns->list[i - place - 1].table, columns->list[i].table) == 0) {
        place++;
    }
    return place;
}

static void a_change_to_any_cell_of_any_table_is_told_and_where(void **state)
{
    struct fixture *fixture = *state;
    static struct batch batch;
    sealed_make(fixture);
    sealed_holds(fixture->night);
    struct columns *columns = columns_of(fixture->night);
    assert_true(columns->count > 150);
    size_t changed = 0;
    for (size_t round = 0; round < GROUPS * 48; round++) {
        for (size_t i = 0; i < columns->count; i++) {
            const struct column *c = &columns->list[i];
            if (group_of(c->table) == round % GROUPS && place_of(columns, i) == round / GROUPS) {
                char sql[2048];
                change_cell(columns, c, sql);
                batch_add(&batch, c->table, sql);
                changed++;
            }
        }
        batch_expect_told(fixture, &batch);
    }
    assert_int_equal(changed, columns->count);
}

static void a_change_by_the_least_bit_is_told_by_its_row(void **state)
{
    struct fixture *fixture = *state;
    static const struct {
        const char *sql;
        const char *table;
        const char *row;
    } changes[] = {
        {"UPDATE frame SET late=1 WHERE id=37", "frame", "id 37 (n"},
        {"UPDATE block SET span_ns=span_ns+1 WHERE id=2", "block", "id 2 (n"},
        {"UPDATE fit SET growth_ppb=growth_ppb-1 WHERE id=2", "fit", "id 2"},
        {"UPDATE clock SET sd_ns=sd_ns+1 WHERE id=3", "clock", "id 3"},
        {"UPDATE channel SET step_exponent=-8 WHERE nth=2", "channel", "row 2"},
        {"UPDATE gap SET reason='node was of'||'f ' WHERE id=2", "gap", "id 2"},
        {"UPDATE mark SET text='Steps' WHERE id=3", "mark", "id 3"},
        {"UPDATE log SET text='' WHERE id=1", "log", "id 1"},
        {"UPDATE node SET z_m=0.80000000000000016 WHERE id=0", "node", "id 0"},
        {"UPDATE site SET file=replace(file, 'The lodge', 'the lodge')", "site", "id 1"},
        {"UPDATE meta SET value='recordeD' WHERE key='origin'", "meta", "row 2"},
        {"UPDATE meta SET value=value+1 WHERE key='end_ns'", "meta", "row 1"},
        {"UPDATE zoom SET slack_ns=slack_ns+1 WHERE block=2", "zoom", "block 2"},
        {"UPDATE disturbance SET mains_before=0 WHERE id=5", "disturbance", "id 5"},
        {"UPDATE coincidence SET chance_per_night=1e-9 WHERE id=2", "coincidence", "id 2"},
        {"UPDATE coincidence_order SET first_probability=0.96 WHERE coincidence=3 AND place=2",
         "coincidence_order", "coincidence 3 place 2"},
        {"UPDATE coincidence_reason SET text='a test: fit' WHERE coincidence=1 AND place=1",
         "coincidence_reason", "coincidence 1 place 1"},
        {"UPDATE alert SET text='Look' WHERE id=2", "alert", "id 2"},
        {"UPDATE notice SET node=1 WHERE id=1", "notice", "id 1"},
        {"UPDATE analysis SET why='Live' WHERE id=1", "analysis", "id 1"},
    };
    sealed_make(fixture);
    const char *copy = sealed_copy(fixture);
    for (size_t i = 0; i < sizeof changes / sizeof *changes; i++) {
        sealed_change(copy, changes[i].sql);
    }
    struct sealed_told *told = sealed_verify(copy, NULL);
    for (size_t i = 0; i < sizeof changes / sizeof *changes; i++) {
        if (!sealed_tells(told, changes[i].table, changes[i].row, "altered after it was sealed")) {
            sealed_print(told);
            fail_msg("not told: %s", changes[i].sql);
        }
    }
}

/* One statement for each table of the group in one copy, then the next group. */
static void expect_each_table_told(const struct fixture *fixture, const struct columns *columns,
                                   void (*write)(const struct columns *columns, size_t first,
                                                 char sql[2048]))
{
    static struct batch batch;
    for (size_t group = 0; group < GROUPS; group++) {
        for (size_t i = 0; i < columns->count; i++) {
            if (place_of(columns, i) == 0 && group_of(columns->list[i].table) == group) {
                char sql[2048];
                write(columns, i, sql);
                batch_add(&batch, columns->list[i].table, sql);
            }
        }
        batch_expect_told(fixture, &batch);
    }
}

static void delete_last(const struct columns *columns, size_t first, char sql[2048])
{
    const char *table = columns->list[first].table;
    const char *key = key_of(columns, table);
    (void)snprintf(sql, 2048,
                   "DELETE FROM %s WHERE (%s) IN (SELECT %s FROM %s ORDER BY %s LIMIT 1"
                   " OFFSET (SELECT count(*) - 1 FROM %s))",
                   table, key, key, table, key, table);
}

static void delete_all(const struct columns *columns, size_t first, char sql[2048])
{
    (void)snprintf(sql, 2048, "DELETE FROM %s", columns->list[first].table);
}

/* A copy of a row with one more in its key. */
static void add_row(const struct columns *columns, size_t first, char sql[2048])
{
    const char *table = columns->list[first].table;
    char names[600] = "";
    char values[1000] = "";
    bool moved = false;
    for (size_t i = first; i < columns->count && strcmp(columns->list[i].table, table) == 0; i++) {
        const struct column *c = &columns->list[i];
        bool move = (c->primary || strcmp(c->name, "nth") == 0 || strcmp(c->name, "seq") == 0 ||
                     strcmp(c->name, "boot") == 0) &&
                    strcmp(c->name, "analysis") != 0;
        size_t used = strlen(names);
        (void)snprintf(names + used, sizeof names - used, "%s%s", used ? ", " : "", c->name);
        used = strlen(values);
        (void)snprintf(values + used, sizeof values - used,
                       move ? "%sCASE typeof(%s) WHEN 'integer' THEN %s + 70007"
                              " ELSE %s || 'x' END"
                            : "%s%s",
                       used ? ", " : "", c->name, c->name, c->name);
        moved = moved || move;
    }
    assert_true(moved);
    (void)snprintf(sql, 2048, "INSERT INTO %s(%s) SELECT %s FROM %s LIMIT 1", table, names, values,
                   table);
}

static void a_row_taken_out_of_any_table_is_told(void **state)
{
    struct fixture *fixture = *state;
    sealed_make(fixture);
    expect_each_table_told(fixture, columns_of(fixture->night), delete_last);
    const char *copy = sealed_copy(fixture);
    sealed_change(copy, "DELETE FROM gap WHERE id=2; DELETE FROM frame WHERE id=11");
    struct sealed_told *told = sealed_verify(copy, NULL);
    assert_true(sealed_tells(told, "gap", "id 2", "is missing"));
    assert_true(sealed_tells(told, "frame", "id 11", "is missing"));
    assert_false(told->seals[0].holds);
    assert_true(told->seals[1].holds);
}

static void everything_taken_out_of_any_table_is_told(void **state)
{
    struct fixture *fixture = *state;
    sealed_make(fixture);
    expect_each_table_told(fixture, columns_of(fixture->night), delete_all);
}

static void a_row_added_to_any_table_is_told(void **state)
{
    struct fixture *fixture = *state;
    sealed_make(fixture);
    expect_each_table_told(fixture, columns_of(fixture->night), add_row);
    expect_told(fixture, "tail", "INSERT INTO tail VALUES(5, 1, x'00')");
    const char *copy = sealed_copy(fixture);
    sealed_change(copy, "INSERT INTO gap SELECT 4, node, start_ns, end_ns, reason FROM gap LIMIT 1;"
                        "INSERT INTO gap SELECT -9223372036854775808, node, start_ns, end_ns,"
                        " reason FROM gap LIMIT 1");
    struct sealed_told *told = sealed_verify(copy, NULL);
    assert_true(sealed_tells(told, "gap", "id 4", "was added"));
    assert_true(sealed_tells(told, "gap", "id -9223372036854775808", "was added"));
}

static void rows_that_change_places_are_told(void **state)
{
    struct fixture *fixture = *state;
    sealed_make(fixture);
    expect_told(fixture, "gap",
                "UPDATE gap SET id=-id WHERE id IN (1, 3);"
                "UPDATE gap SET id=4+id WHERE id < 0");
    expect_told(fixture, "block",
                "UPDATE block SET id=-id WHERE id IN (1, 2);"
                "UPDATE block SET id=3+id WHERE id < 0");
    expect_told(fixture, "coincidence_reason",
                "UPDATE coincidence_reason SET place=-place WHERE coincidence=2;"
                "UPDATE coincidence_reason SET place=3+place WHERE coincidence=2");
}

static void tables_that_do_not_belong_and_changed_ones_are_told(void **state)
{
    struct fixture *fixture = *state;
    sealed_make(fixture);
    expect_told(fixture, "ghost", "CREATE TABLE ghost (id INTEGER PRIMARY KEY)");
    expect_told(fixture, "seen", "CREATE VIEW seen AS SELECT * FROM alert");
    expect_told(fixture, "hide",
                "CREATE TRIGGER hide AFTER INSERT ON gap BEGIN DELETE FROM gap; END");
    expect_told(fixture, "block_by_start", "DROP INDEX block_by_start");
    expect_told(fixture, "log", "ALTER TABLE log ADD COLUMN more TEXT");
    expect_told(fixture, "alert", "DROP TABLE alert");
}

static void a_finding_that_was_never_sealed_is_told(void **state)
{
    struct fixture *fixture = *state;
    sealed_make(fixture);
    expect_told(fixture, "analysis",
                "INSERT INTO analysis SELECT 2, why, software, 0, mains_hz, baseline_s,"
                " false_onsets_per_hour, alert_limit_per_night, order_confidence FROM analysis");
    expect_told(fixture, "disturbance", "UPDATE disturbance SET analysis=5 WHERE id=7");
    expect_told(fixture, "alert",
                "INSERT INTO alert(analysis, coincidence, time_ns, text) VALUES(0, 1, 1, 'look')");
}

/* One in a span is named, whichever; two are not taken for one that is not there. */
static void a_clue_names_the_one_row_that_differs(void **state)
{
    uint64_t seed = 7;
    (void)state;
    for (unsigned bits = 4; bits <= SEAL_CLUE_BITS_MAX; bits++) {
        const int64_t span = (int64_t)(fixture_random(&seed) >> 20);
        struct seal_clue all;
        seal_clue_begin(&all, bits, span);
        for (int64_t i = 0; i < INT64_C(1) << bits; i++) {
            uint64_t hash[4] = {fixture_random(&seed)};
            seal_clue_add(&all, (span << bits) + i, (const uint8_t *)hash);
        }
        for (int i = 0; i < 50; i++) {
            struct seal_clue changed = all;
            uint8_t bytes[SEAL_CLUE_BYTES_MAX];
            uint64_t hash[4] = {fixture_random(&seed)};
            int64_t key = (span << bits) + (int64_t)(fixture_random(&seed) >> (64 - bits));
            int64_t found = 0;
            seal_clue_add(&changed, key, (const uint8_t *)hash);
            assert_false(seal_clue_same(&all, &changed));
            assert_true(seal_clue_locate(&all, &changed, &found));
            assert_int64_equal(found, key);
            seal_clue_write(&changed, bytes);
            struct seal_clue read;
            seal_clue_begin(&read, bits, span);
            assert_int_equal(seal_clue_read(&read, bytes, seal_clue_size(bits)), 0);
            assert_memory_equal(read.words, changed.words, sizeof read.words);
            assert_int_equal(seal_clue_read(&read, bytes, seal_clue_size(bits) - 1), -1);
            hash[0] = fixture_random(&seed);
            seal_clue_add(&changed, key ^ 5, (const uint8_t *)hash);
            assert_false(seal_clue_locate(&all, &changed, &found));
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_FIXTURE(a_change_to_any_cell_of_any_table_is_told_and_where),
        WITH_FIXTURE(a_change_by_the_least_bit_is_told_by_its_row),
        WITH_FIXTURE(a_row_taken_out_of_any_table_is_told),
        WITH_FIXTURE(everything_taken_out_of_any_table_is_told),
        WITH_FIXTURE(a_row_added_to_any_table_is_told),
        WITH_FIXTURE(rows_that_change_places_are_told),
        WITH_FIXTURE(tables_that_do_not_belong_and_changed_ones_are_told),
        WITH_FIXTURE(a_finding_that_was_never_sealed_is_told),
        cmocka_unit_test(a_clue_names_the_one_row_that_differs),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
