/* The rows of each table against every seal of theirs, in one pass over the table.
 * Must never hold more of a table than a span of its clues. Called by verify and reader_seal.c. */
#include "collector/night/seal_check.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "collector/night/seal_tree.h"
#include "collector/night/sql.h"
#include "common/timefmt.h"

/* So many places of a table are told; what is beyond is counted. */
#define PLACES_MOST 8
#define TEXT_SIZE 256

/* A span whose rows are not those that were sealed. */
struct place {
    struct seal_clue sealed;
    struct seal_clue found;
};

/* A seal of this table: the root over its first `leaves` rows. */
struct point {
    bool left;
    int64_t seal;
    int64_t leaves;
    uint8_t root[MERKLE_HASH_SIZE];
};

struct check {
    sqlite3 *db;
    struct seal_list *list;
    const struct seal_sink *sink;
    const struct seal_tree *tree;
    bool closed; /* the last seal is the end: every row is sealed */
    sqlite3_stmt *points;
    struct point point; /* the next */
    int64_t sealed_rows;
    int64_t good_rows; /* as of the last seal that held */
    int64_t bad_seal;  /* the first that did not; 0: all held */
    sqlite3_stmt *clues;
    bool clue_left;
    struct seal_clue clue; /* the next stored */
    bool clue_broken;      /* a stored clue is none */
    struct place places[PLACES_MOST];
    uint64_t place_count; /* may be more than are kept */
};

static struct seal_entry *find_seal(const struct check *check, int64_t id)
{
    for (size_t i = 0; i < check->list->count; i++) {
        if (check->list->entries[i].seal.id == id) {
            return &check->list->entries[i];
        }
    }
    return NULL;
}

static int next_point(struct check *check, struct error *error)
{
    int result = sql_step(check->points, error);
    check->point = (struct point){.left = result == 1};
    if (result == 1) {
        struct sql_columns row = sql_columns(check->points);
        size_t length = 0;
        check->point.seal = sql_get_int(&row);
        check->point.leaves = sql_get_int(&row);
        const uint8_t *root = sql_get_blob(&row, &length);
        if (root && length == MERKLE_HASH_SIZE) {
            memcpy(check->point.root, root, length);
        }
    }
    return result < 0 ? -1 : 0;
}

static void point_fails(struct check *check)
{
    struct seal_entry *entry = find_seal(check, check->point.seal);
    check->bad_seal = check->bad_seal == 0 ? check->point.seal : check->bad_seal;
    if (entry) {
        entry->sound = false;
    }
}

/* Every seal that covers just the rows that were read so far. */
static int compare_points(struct check *check, const struct seal_run *run, struct error *error)
{
    while (check->point.left && check->point.leaves <= (int64_t)run->merkle.leaves) {
        uint8_t root[MERKLE_HASH_SIZE];
        merkle_root(&run->merkle, root);
        if (check->point.leaves == (int64_t)run->merkle.leaves &&
            memcmp(root, check->point.root, sizeof root) == 0) {
            check->good_rows = check->point.leaves;
        } else {
            point_fails(check);
        }
        check->sealed_rows = check->point.leaves;
        if (next_point(check, error) != 0) {
            return -1;
        }
    }
    return 0;
}

static int on_leaf(void *context, const struct seal_run *run, struct error *error)
{
    return compare_points(context, run, error);
}

static int next_clue(struct check *check, struct error *error)
{
    int result = sql_step(check->clues, error);
    check->clue_left = result == 1;
    if (result == 1) {
        struct sql_columns row = sql_columns(check->clues);
        size_t length = 0;
        seal_clue_begin(&check->clue, check->tree->clue_bits, sql_get_int(&row));
        check->clue.leaves = (uint64_t)sql_get_int(&row);
        const uint8_t *bytes = sql_get_blob(&row, &length);
        check->clue_broken = seal_clue_read(&check->clue, bytes, length) != 0 || check->clue_broken;
    }
    return result < 0 ? -1 : 0;
}

static void add_place(struct check *check, const struct seal_clue *sealed,
                      const struct seal_clue *found)
{
    if (check->place_count < PLACES_MOST) {
        check->places[check->place_count] = (struct place){*sealed, *found};
    }
    check->place_count++;
}

/* Stored clues of spans before `span`: no row of them is there any more. */
static int pass_clues(struct check *check, int64_t span, struct error *error)
{
    while (check->clue_left && check->clue.span < span) {
        struct seal_clue none;
        seal_clue_begin(&none, check->clue.bits, check->clue.span);
        add_place(check, &check->clue, &none);
        if (next_clue(check, error) != 0) {
            return -1;
        }
    }
    return 0;
}

static int on_clue(void *context, const struct seal_run *run, struct error *error)
{
    struct check *check = context;
    if (pass_clues(check, run->clue.span, error) != 0) {
        return -1;
    }
    if (!check->clue_left || check->clue.span != run->clue.span) {
        struct seal_clue none;
        seal_clue_begin(&none, run->clue.bits, run->clue.span);
        if (check->closed || check->clue_left) {
            add_place(check, &none, &run->clue);
        }
        return 0; /* rows after the last seal of a night that goes on have no clue yet */
    }
    if (!seal_clue_same(&check->clue, &run->clue)) {
        add_place(check, &check->clue, &run->clue);
    }
    return next_clue(check, error);
}

static void tell_place(const struct check *check, const struct place *place)
{
    char row[2 * SEAL_ROW_SIZE + 8];
    char text[TEXT_SIZE];
    const uint64_t sealed = place->sealed.leaves;
    const uint64_t found = place->found.leaves;
    int64_t key = 0;
    if (sealed - found + 1 <= 2 && seal_clue_locate(&place->sealed, &place->found, &key)) {
        seal_tree_name_row(check->tree, key, row);
        (void)snprintf(text, sizeof text, "%s",
                       sealed == found  ? "was altered after it was sealed"
                       : sealed > found ? "was sealed and is missing"
                                        : "was added after the seal");
    } else {
        const int64_t first = (int64_t)((uint64_t)place->sealed.span << place->sealed.bits);
        const int64_t last = first + (INT64_C(1) << place->sealed.bits) - 1;
        char from[SEAL_ROW_SIZE];
        char to[SEAL_ROW_SIZE];
        seal_tree_name_row(check->tree, first, from);
        seal_tree_name_row(check->tree, last, to);
        (void)snprintf(row, sizeof row, "%s to %s", from, to);
        (void)snprintf(text, sizeof text,
                       "several rows are not as they were sealed (%" PRIu64 " rows were, %" PRIu64
                       " are there)",
                       sealed, found);
    }
    check->sink->fault(check->sink->context, check->tree->table, row, text);
}

/* Where no clue names a row: between which seals the table began to differ. */
static void tell_table(const struct check *check, uint64_t rows)
{
    char text[TEXT_SIZE];
    char when[TIMEFMT_SIZE] = "";
    const struct seal_entry *seal = find_seal(check, check->bad_seal);
    timefmt_rfc3339(seal ? seal->seal.time_ns : 0, when);
    (void)snprintf(text, sizeof text,
                   "is not what was sealed at %s (seal %" PRId64 "): %" PRId64
                   " rows are, of %" PRId64 " sealed and %" PRIu64 " that are there",
                   when, check->bad_seal, check->good_rows, check->sealed_rows, rows);
    check->sink->fault(check->sink->context, check->tree->table, "", text);
}

static void tell(const struct check *check, const struct seal_run *run)
{
    const struct seal_sink *sink = check->sink;
    const bool added = check->closed && (int64_t)run->merkle.leaves > check->sealed_rows;
    char text[TEXT_SIZE];
    if (check->bad_seal == 0 && !added) {
        if (check->place_count > 0 || check->clue_broken) {
            (void)snprintf(text, sizeof text, "its words for table %s are not those of the rows",
                           check->tree->table);
            sink->fault(sink->context, "seal_clue", "", text);
        }
        return;
    }
    for (size_t i = 0; i < PLACES_MOST && i < check->place_count; i++) {
        tell_place(check, &check->places[i]);
    }
    if (check->place_count > PLACES_MOST) {
        (void)snprintf(text, sizeof text, "%" PRIu64 " more places are not as they were sealed",
                       check->place_count - PLACES_MOST);
        sink->fault(sink->context, check->tree->table, "", text);
    }
    if (check->place_count == 0 && added && check->bad_seal == 0) {
        sink->fault(sink->context, check->tree->table, "", "rows were added after the seal");
    } else if (check->place_count == 0) {
        tell_table(check, run->merkle.leaves);
    }
}

/* Reads the whole table. */
static int read_table(struct check *check, struct seal_run *run, sqlite3_stmt *rows,
                      struct error *error)
{
    const struct seal_hooks hooks = {.context = check, .clue = on_clue, .leaf = on_leaf};
    if (next_point(check, error) != 0 || next_clue(check, error) != 0 ||
        compare_points(check, run, error) != 0 || seal_run_take(run, rows, &hooks, error) != 0 ||
        seal_run_end(run, &hooks, error) != 0 || pass_clues(check, INT64_MAX, error) != 0) {
        return -1;
    }
    while (check->point.left) { /* seals of more rows than there are */
        point_fails(check);
        check->sealed_rows = check->point.leaves;
        if (next_point(check, error) != 0) {
            return -1;
        }
    }
    return 0;
}

static int prepare(struct check *check, int64_t analysis, sqlite3_stmt **rows, struct error *error)
{
    static const char points_sql[] =
        "SELECT seal, seal_tree.leaves, seal_tree.root FROM seal_tree JOIN seal ON"
        " seal.id = seal_tree.seal WHERE tree = ?1 AND analysis = ?2"
        " ORDER BY seal_tree.leaves, seal";
    static const char clues_sql[] =
        "SELECT span, leaves, clue FROM seal_clue WHERE tree = ?1 AND analysis = ?2 ORDER BY span";
    if (sql_prepare(check->db, check->tree->sql, rows, error) != 0 ||
        sql_prepare(check->db, points_sql, &check->points, error) != 0 ||
        sql_prepare(check->db, clues_sql, &check->clues, error) != 0) {
        return -1;
    }
    sqlite3_stmt *const both[] = {check->points, check->clues};
    for (size_t i = 0; i < 2; i++) {
        struct sql_args args = sql_args(both[i]);
        sql_put_text(&args, check->tree->name);
        sql_put_int(&args, analysis);
    }
    return 0;
}

static void cannot_read(struct check *check, int64_t analysis, const struct error *error)
{
    char text[TEXT_SIZE];
    (void)snprintf(text, sizeof text, "can't be read to its end: %.200s", error->text);
    check->sink->fault(check->sink->context, check->tree->table, "", text);
    for (size_t i = 0; i < check->list->count; i++) {
        struct seal_entry *entry = &check->list->entries[i];
        entry->sound = entry->sound && entry->seal.analysis != analysis;
    }
}

static void check_tree(sqlite3 *db, struct seal_list *list, const struct seal_tree *tree,
                       int64_t analysis, const struct seal_sink *sink)
{
    struct check check = {.db = db, .list = list, .sink = sink, .tree = tree};
    struct seal_run run;
    struct error error;
    sqlite3_stmt *rows = NULL;
    check.closed =
        (analysis ? seal_list_last(list, SEAL_ANALYSIS, analysis) : seal_list_end(list)) != NULL;
    seal_run_begin(&run, tree, analysis);
    if (prepare(&check, analysis, &rows, &error) != 0 ||
        read_table(&check, &run, rows, &error) != 0) {
        cannot_read(&check, analysis, &error);
    } else {
        tell(&check, &run);
        const int64_t after = (int64_t)run.merkle.leaves - check.sealed_rows;
        list->unsealed += !check.closed && after > 0 ? after : 0;
    }
    sqlite3_finalize(rows);
    sqlite3_finalize(check.points);
    sqlite3_finalize(check.clues);
}

void seal_check_rows(sqlite3 *db, struct seal_list *list, int64_t analysis, bool quick,
                     const struct seal_sink *sink)
{
    static const char *const large[] = {"fit", "frame", "block", "state", "zoom"};
    const bool closed = seal_list_end(list) != NULL;
    const unsigned scopes =
        analysis != 0 ? SEAL_FINDINGS : seal_scopes(closed ? SEAL_SAMPLES : SEAL_SO_FAR);
    for (size_t i = 0; i < seal_tree_count; i++) {
        bool skip = (seal_trees[i].scope & scopes) == 0;
        for (size_t j = 0; quick && j < sizeof large / sizeof *large; j++) {
            skip = skip || strcmp(seal_trees[i].name, large[j]) == 0;
        }
        if (!skip) {
            check_tree(db, list, &seal_trees[i], analysis, sink);
        }
    }
}
