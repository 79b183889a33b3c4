/* A small night with a row in every table, and what verify says of it: for the tests of the seal.
 * Must never be included by product code. */
#ifndef ROOMWAKE_TESTS_UNIT_NIGHT_SEALED_H
#define ROOMWAKE_TESTS_UNIT_NIGHT_SEALED_H

#include "tests/unit/night/fixture.h"

#include "collector/night/verify.h"

#define SEALED_FAULTS_MOST 64

/* What verify told. */
struct sealed_told {
    struct verify_result result;
    size_t fault_count;
    struct {
        char table[40];
        char row[160];
        char text[200];
    } faults[SEALED_FAULTS_MOST];
    size_t seal_count;
    struct verify_seal seals[8];
    size_t gaps;
    char gap_text[200]; /* of the last */
};

static inline void sealed_on_fault(void *context, const char *table, const char *row,
                                   const char *text)
{
    struct sealed_told *told = context;
    if (told->fault_count < SEALED_FAULTS_MOST) {
        (void)snprintf(told->faults[told->fault_count].table, 40, "%s", table);
        (void)snprintf(told->faults[told->fault_count].row, 160, "%s", row);
        (void)snprintf(told->faults[told->fault_count].text, 200, "%s", text);
        told->fault_count++;
    }
}

static inline void sealed_on_seal(void *context, const struct verify_seal *seal)
{
    struct sealed_told *told = context;
    assert_true(told->seal_count < 8);
    told->seals[told->seal_count++] = *seal;
}

static inline void sealed_on_gap(void *context, const char *node, const struct gap *gap)
{
    struct sealed_told *told = context;
    (void)snprintf(told->gap_text, sizeof told->gap_text, "%s %s", node, gap->reason);
    told->gaps++;
}

/* Of the file at `path`; the answer is overwritten by the next call. */
static inline struct sealed_told *sealed_verify(const char *path, const uint8_t *root)
{
    static struct sealed_told told;
    struct error error;
    told = (struct sealed_told){0};
    const struct verify_sink sink = {&told, sealed_on_fault, sealed_on_seal, sealed_on_gap};
    fixture_check(night_verify(path, root, &sink, &told.result, &error), &error);
    assert_true(told.result.faults == told.fault_count || told.fault_count == SEALED_FAULTS_MOST);
    return &told;
}

static inline void sealed_print(const struct sealed_told *told)
{
    for (size_t i = 0; i < told->fault_count; i++) {
        print_message("  %s %s: %s\n", told->faults[i].table, told->faults[i].row,
                      told->faults[i].text);
    }
}

static inline void sealed_holds(const char *path)
{
    struct sealed_told *told = sealed_verify(path, NULL);
    sealed_print(told);
    assert_int_equal(told->result.faults, 0);
    for (size_t i = 0; i < told->seal_count; i++) {
        assert_true(told->seals[i].holds);
    }
}

/* Whether one of the faults is of this table and has these words in its row and text. */
static inline bool sealed_tells(const struct sealed_told *told, const char *table, const char *row,
                                const char *text)
{
    for (size_t i = 0; i < told->fault_count; i++) {
        if (strcmp(told->faults[i].table, table) == 0 && strstr(told->faults[i].row, row) &&
            strstr(told->faults[i].text, text)) {
            return true;
        }
    }
    return false;
}

static inline void sealed_change(const char *path, const char *sql)
{
    sqlite3 *db = NULL;
    char *why = NULL;
    assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
    assert_int_equal(
        sqlite3_exec(db, "PRAGMA synchronous=OFF; PRAGMA journal_mode=MEMORY", NULL, NULL, NULL),
        SQLITE_OK);
    if (sqlite3_exec(db, sql, NULL, NULL, &why) != SQLITE_OK) {
        fail_msg("%s: %s", sql, why);
    }
    assert_int_equal(sqlite3_close(db), SQLITE_OK);
}

/* A copy beside the night that may be tampered with. */
static inline const char *sealed_copy(const struct fixture *fixture)
{
    static char path[128];
    char buffer[1 << 16];
    size_t length = 0;
    (void)snprintf(path, sizeof path, "%s/copy.sqlite", fixture->folder);
    FILE *from = fopen(fixture->night, "rb");
    FILE *to = fopen(path, "wb");
    assert_non_null(from);
    assert_non_null(to);
    while ((length = fread(buffer, 1, sizeof buffer, from)) > 0) {
        assert_int_equal(fwrite(buffer, 1, length, to), length);
    }
    assert_int_equal(fclose(from), 0);
    assert_int_equal(fclose(to), 0);
    return path;
}

static inline void sealed_put_odd_frame(struct night_writer *writer)
{
    static const struct decimal decimals[] = {{125, -1}, {-7, 3}, {0, 0}};
    static const int64_t times[] = {FIXTURE_START_NS + 7, FIXTURE_START_NS + 8,
                                    FIXTURE_START_NS + 100};
    const struct block block = {.channel = 1,
                                .encoding = BLOCK_DECIMAL,
                                .count = 3,
                                .t0_ns = times[0],
                                .times_ns = times,
                                .decimals = decimals};
    const int64_t node_t0_ns = 12;
    const struct clock_fit fit = {0};
    const struct night_frame_id id = {0, FIXTURE_BOOT, 5000};
    struct error error;
    fixture_check(night_put_frame(writer, &id, &fit, &block, &node_t0_ns, 1, true, &error), &error);
}

static inline struct disturbance sealed_disturbance(int64_t id, uint32_t node)
{
    return (struct disturbance){.id = id,
                                .node = node,
                                .quantity_text = "magnetic",
                                .unit = "T",
                                .onset_ns = FIXTURE_START_NS + id,
                                .peak_value = 1.0 / 3,
                                .mains_before = NAN};
}

static inline void sealed_put_findings(struct night_writer *writer, int analysis)
{
    struct error error;
    for (int64_t id = 1; id <= 3; id++) {
        struct coincidence *c = calloc(1, sizeof *c);
        c->id = id;
        c->start_ns = c->end_ns = FIXTURE_START_NS + id;
        c->member_count = c->order_count = c->path_count = 2;
        for (uint32_t node = 0; node < 2; node++) {
            c->members[node] = sealed_disturbance(2 * id + node, node);
            c->order[node] = (struct order_entry){node, FIXTURE_START_NS + id, 5, 0.5};
            c->path[node] = (struct path_step){node, FIXTURE_START_NS + id};
        }
        c->verdict.reason_count = 2;
        (void)snprintf(c->verdict.reasons[0], COINCIDENCE_REASON_SIZE, "a test: fits");
        (void)snprintf(c->verdict.reasons[1], COINCIDENCE_REASON_SIZE, "another: does not fit");
        c->speed = (struct speed){true, 1.25, 0.5, 2};
        c->source.known = true;
        c->mark_id = 1;
        fixture_check(night_put_coincidence(writer, analysis, c, &error), &error);
        free(c);
        fixture_check(night_put_alert(writer, analysis, id, FIXTURE_START_NS, "look", &error),
                      &error);
        fixture_check(
            night_put_notice(writer, analysis, 0, "magnetic", FIXTURE_START_NS, "quiet", &error),
            &error);
    }
}

static inline void sealed_put_words(struct night_writer *writer)
{
    struct error error;
    for (int64_t i = 1; i <= 3; i++) {
        struct gap gap = {0, FIXTURE_START_NS + i, FIXTURE_START_NS + i + 1, "node was off"};
        struct mark mark = {.id = i,
                            .start_ns = FIXTURE_START_NS,
                            .end_ns = FIXTURE_START_NS + 9,
                            .room = "hall",
                            .who = "me",
                            .text = "steps"};
        fixture_check(night_put_clock(writer, 0, FIXTURE_START_NS + i, 250000 + i, &error), &error);
        fixture_check(night_put_gap(writer, &gap, &error), &error);
        fixture_check(night_put_mark(writer, &mark, &error), &error);
        fixture_check(night_put_state(writer, 0, FIXTURE_START_NS + i, "{}", &error), &error);
        fixture_check(night_put_log(writer, FIXTURE_START_NS + i, "info", "began", &error), &error);
    }
}

/* Sealed after each of several commits. */
static inline struct night_writer *sealed_begin(const struct fixture *fixture)
{
    struct night_settings settings = fixture_settings(fixture);
    settings.seal_every_ms = 1;
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_channels(writer, fixture, 1, FIXTURE_BOOT);
    for (int64_t second = 0; second < 40; second += 20) {
        fixture_put_noise(writer, 0, second, 20, 1);
        fixture_put_noise(writer, 1, second, 20, 2);
        fixture_flush(writer);
    }
    sealed_put_words(writer);
    sealed_put_odd_frame(writer);
    return writer;
}

static inline void sealed_make(const struct fixture *fixture)
{
    struct night_writer *writer = sealed_begin(fixture);
    sealed_put_findings(writer, 1);
    fixture_close(writer, 40);
}

#endif
