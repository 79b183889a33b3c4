/* The checks of a night one after the other, each telling what it finds.
 * Must never write, nor end at the first thing that is off. Called by cmd_verify.c. */
#include "collector/night/reader_verify.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/night/schema.h"
#include "collector/night/seal_check.h"
#include "collector/night/seal_tree.h"
#include "common/timefmt.h"

#define ROW_SIZE 256
/* So many complaints of SQLite about the file are told. */
#define COMPLAINTS "8"

/* "id 26003" becomes "id 26003 (n3, message 815, 2026-02-03T02:13:05.000000000Z)" for a frame, and
 * "id 57 (n3, magnetic.x, from 2026-02-03T02:13:05.000000000Z)" for a block. */
static void place_row(struct verifying *verifying, bool block, int64_t id, const char *row,
                      char *out)
{
    static const char block_sql[] =
        "SELECT node.name, channel.name || ', from', t0_ns FROM block JOIN channel"
        " ON channel.id = block.channel JOIN boot ON boot.id = channel.boot"
        " JOIN node ON node.id = boot.node WHERE block.id = ?";
    static const char frame_sql[] =
        "SELECT name, 'message ' || seq || ',', start_ns FROM frame JOIN boot"
        " ON boot.id = frame.boot JOIN node ON node.id = boot.node WHERE frame.id = ?";
    sqlite3_stmt *statement = NULL;
    struct error ignored; /* then the number alone is told */
    if (sql_prepare(verifying->reader->db, block ? block_sql : frame_sql, &statement, &ignored) !=
        0) {
        return;
    }
    (void)sqlite3_bind_int64(statement, 1, id);
    if (sql_step(statement, &ignored) == 1) {
        struct sql_columns columns = sql_columns(statement);
        char name[IDENT_SIZE];
        char what[CHANNEL_NAME_SIZE + 32];
        char when[TIMEFMT_SIZE];
        sql_get_text(&columns, name, sizeof name);
        sql_get_text(&columns, what, sizeof what);
        timefmt_rfc3339(sql_get_int(&columns), when);
        (void)snprintf(out, ROW_SIZE, "%s (%s, %s %s)", row, name, what, when);
    }
    sqlite3_finalize(statement);
}

void verify_tell(void *context, const char *table, const char *row, const char *text)
{
    struct verifying *verifying = context;
    char place[ROW_SIZE];
    char *rest = NULL;
    const bool block = strcmp(table, "block") == 0;
    (void)snprintf(place, sizeof place, "%s", row);
    if ((block || strcmp(table, "frame") == 0) && strncmp(row, "id ", 3) == 0) {
        int64_t id = strtoll(row + 3, &rest, 10);
        if (rest > row + 3 && *rest == '\0') {
            place_row(verifying, block, id, row, place);
        }
    }
    verifying->result->faults++;
    verifying->sink->fault(verifying->sink->context, table, place, text);
}

void verify_tell_id(struct verifying *verifying, const char *table, int64_t id, const char *text)
{
    char row[ROW_SIZE];
    (void)snprintf(row, sizeof row, "id %" PRId64, id);
    verify_tell(verifying, table, row, text);
}

static int tell_complaint(void *context, struct sql_columns *row)
{
    char text[ROW_SIZE];
    sql_get_text(row, text, sizeof text);
    if (strcmp(text, "ok") != 0) {
        verify_tell(context, "file", "", text);
    }
    return 0;
}

static void tell_table(void *context, const char *name)
{
    verify_tell(context, name, "", "is not as a night's own is, or is missing, or does not belong");
}

static void check_file(struct verifying *verifying)
{
    struct night_reader *reader = verifying->reader;
    struct error error;
    sqlite3_stmt *statement = NULL;
    char text[READER_CUT_SIZE];
    if (reader_cut_short(reader->path, text)) {
        verify_tell(verifying, "file", "", text);
    }
    if (night_reader_damage(reader)) {
        verify_tell(verifying, "file", "", night_reader_damage(reader));
    }
    if (reader_prepare(reader, "PRAGMA integrity_check(" COMPLAINTS ")", &statement, &error) != 0 ||
        reader_each(reader, statement, tell_complaint, verifying, &error) != 0 ||
        schema_compare(reader->db, tell_table, verifying, &error) != 0) {
        verify_tell(verifying, "file", "", error.text);
    }
}

static void tell_seal(struct verifying *verifying, const struct seal_entry *entry)
{
    const struct seal *seal = &entry->seal;
    struct verify_seal told = {.analysis = seal->analysis,
                               .closed = seal->what != SEAL_SO_FAR,
                               .added = seal->what == SEAL_ADDED,
                               .holds = entry->sound,
                               .time_ns = seal->time_ns,
                               .rows = seal->leaves};
    memcpy(told.root, seal->root, sizeof told.root);
    memcpy(told.public_key, seal->public_key, sizeof told.public_key);
    verifying->sink->seal(verifying->sink->context, &told);
}

/* Whether every seal of the samples is what it should be: the last one stands for all of them. */
static bool all_sound(const struct seal_list *list)
{
    for (size_t i = 0; i < list->count; i++) {
        if (list->entries[i].seal.what != SEAL_ANALYSIS && !list->entries[i].sound) {
            return false;
        }
    }
    return true;
}

static void check_samples(struct verifying *verifying, struct seal_list *list,
                          const struct seal_sink *sink)
{
    struct verify_result *result = verifying->result;
    uint64_t before = result->faults;
    seal_check_rows(verifying->reader->db, list, 0, false, sink);
    for (size_t i = 0; i < list->count; i++) {
        result->seals_so_far += list->entries[i].seal.what == SEAL_SO_FAR;
    }
    verify_added(verifying, list);
    struct seal_entry *end = seal_list_end(list);
    struct seal_entry *night = seal_list_last(list, SEAL_SAMPLES, 0);
    struct seal_entry *last = end ? end : seal_list_last(list, SEAL_SO_FAR, 0);
    result->rows_unsealed = (uint64_t)list->unsealed;
    if (last) { /* that the night was not closed says nothing against what was sealed */
        last->sound = last->sound && before == result->faults && all_sound(list);
    }
    if (!end && result->end_ns != 0) {
        verify_tell(verifying, "seal", "", "the seal of the night's end is missing");
    } else if (!last) {
        verify_tell(verifying, "seal", "", "there is none: nothing of this night is sealed yet");
    } else if (!end) {
        verify_tell(verifying, "seal", "", "the night was not closed: its end is not sealed");
    }
    if (night && night != last) { /* what was sealed on the night stands for itself */
        tell_seal(verifying, night);
    }
    if (last) {
        tell_seal(verifying, last);
    }
}

static void check_analyses(struct verifying *verifying, struct seal_list *list,
                           const struct seal_sink *sink)
{
    for (size_t i = 0; i < list->count; i++) {
        struct seal_entry *entry = &list->entries[i];
        if (entry->seal.what == SEAL_ANALYSIS) {
            uint64_t before = verifying->result->faults;
            seal_check_rows(verifying->reader->db, list, entry->seal.analysis, false, sink);
            entry->sound = entry->sound && before == verifying->result->faults;
            tell_seal(verifying, entry);
        }
    }
}

static void count_strays(struct verifying *verifying, const char *table, const char *sql)
{
    struct error error;
    int64_t strays = 0;
    if (sql_query_int(verifying->reader->db, sql, &strays, &error) != 0) {
        verify_tell(verifying, table, "", error.text);
    } else if (strays > 0) {
        verify_tell(verifying, table, "", "holds rows that belong to no seal");
    }
}

/* Rows that no seal covers, in tables that are sealed by analysis, and in the seals' own. */
static void check_strays(struct verifying *verifying)
{
    for (size_t i = 0; i < seal_tree_count; i++) {
        char sql[ROW_SIZE];
        const char *table = seal_trees[i].table;
        if (seal_trees[i].scope == SEAL_FINDINGS && verifying->result->end_ns != 0) {
            (void)snprintf(sql, sizeof sql,
                           "SELECT count(*) FROM %s WHERE %s NOT IN"
                           " (SELECT analysis FROM seal WHERE what='analysis')",
                           table, strcmp(table, "analysis") == 0 ? "id" : "analysis");
            count_strays(verifying, table, sql);
        }
    }
    count_strays(verifying, "seal_tree",
                 "SELECT count(*) FROM seal_tree WHERE seal NOT IN (SELECT id FROM seal)");
    count_strays(verifying, "seal_clue",
                 "SELECT count(*) FROM (SELECT DISTINCT analysis, tree FROM seal_clue) AS clue"
                 " WHERE NOT EXISTS (SELECT 1 FROM seal JOIN seal_tree ON seal_tree.seal = seal.id"
                 " WHERE seal.analysis = clue.analysis AND seal_tree.tree = clue.tree)");
}

static void find_root(const struct seal_list *list, const uint8_t *root,
                      struct verify_result *result)
{
    for (size_t i = 0; root && i < list->count; i++) {
        const struct seal_entry *entry = &list->entries[i];
        if (entry->sound && memcmp(entry->seal.root, root, VERIFY_ROOT_SIZE) == 0) {
            result->root_found = true;
            result->root_time_ns = entry->seal.time_ns;
        }
    }
}

static void check_seals(struct verifying *verifying, const uint8_t *root)
{
    const struct seal_sink sink = {verifying, verify_tell};
    struct seal_list list = {0};
    struct error error;
    if (seal_list_read(verifying->reader->db, &list, &sink, &error) != 0) {
        verify_tell(verifying, "seal", "", error.text);
    }
    check_samples(verifying, &list, &sink);
    check_analyses(verifying, &list, &sink);
    check_strays(verifying);
    find_root(&list, root, verifying->result);
    if (root && !verifying->result->root_found) {
        verify_tell(verifying, "seal", "",
                    "the root that was given is none of this night's seals that hold");
    }
    seal_list_free(&list);
}

struct gap_naming {
    struct verifying *verifying;
    sqlite3_stmt *names;
};

static int tell_gap(void *context, const struct gap *gap)
{
    struct gap_naming *naming = context;
    struct error ignored;
    char name[IDENT_SIZE] = "?";
    (void)sqlite3_bind_int64(naming->names, 1, gap->node);
    if (sql_step(naming->names, &ignored) == 1) {
        struct sql_columns row = sql_columns(naming->names);
        sql_get_text(&row, name, sizeof name);
        sqlite3_reset(naming->names);
    }
    naming->verifying->result->gaps++;
    naming->verifying->sink->gap(naming->verifying->sink->context, name, gap);
    return 0;
}

static void tell_gaps(struct verifying *verifying)
{
    struct gap_naming naming = {verifying, NULL};
    struct error error;
    if (reader_prepare(verifying->reader, "SELECT name FROM node WHERE id=?", &naming.names,
                       &error) != 0 ||
        night_each_gap(verifying->reader, tell_gap, &naming, &error) != 0) {
        verify_tell(verifying, "gap", "", error.text);
    }
    sqlite3_finalize(naming.names);
}

static int take_head(void *context, struct sql_columns *row)
{
    struct verify_result *result = context;
    sql_get_text(row, result->id, sizeof result->id);
    result->end_ns = sql_get_int(row);
    return 0;
}

static int tell_hole(void *context, struct sql_columns *row)
{
    char name[IDENT_SIZE];
    char place[ROW_SIZE];
    sql_get_text(row, name, sizeof name);
    int64_t first = sql_get_int(row);
    int64_t last = sql_get_int(row);
    (void)snprintf(place, sizeof place, "%s, messages %" PRId64 " to %" PRId64, name, first, last);
    verify_tell(context, "frame", place, "are missing without a named gap");
    return 0;
}

/* Messages of a boot are numbered without a hole; what a node gave up is a named gap. Those before
 * the first of a node's first boot may be in an earlier night. */
static void check_numbers(struct verifying *verifying)
{
    static const char sql[] =
        "WITH numbered AS (SELECT boot, id, seq, fit, lag(seq) OVER w AS before,"
        " max(end_ns) OVER (PARTITION BY boot ORDER BY seq ROWS BETWEEN UNBOUNDED PRECEDING"
        " AND 1 PRECEDING) AS from_ns,"
        " min(start_ns) OVER (PARTITION BY boot ORDER BY seq ROWS BETWEEN CURRENT ROW"
        " AND UNBOUNDED FOLLOWING) AS to_ns FROM frame WINDOW w AS (PARTITION BY boot ORDER BY "
        "seq))"
        " SELECT node.name, coalesce(before, 0) + 1, seq - 1 FROM numbered"
        " JOIN boot ON boot.id = numbered.boot JOIN node ON node.id = boot.node"
        " WHERE seq > coalesce(before, 0) + 1 AND fit IS NOT NULL"
        " AND (before IS NOT NULL OR EXISTS (SELECT 1 FROM boot AS other JOIN frame AS earlier"
        " ON earlier.boot = other.id WHERE other.node = boot.node AND other.id <> boot.id"
        " AND earlier.id < numbered.id))"
        " AND NOT EXISTS (SELECT 1 FROM gap WHERE gap.node = boot.node"
        " AND start_ns <= coalesce(to_ns, start_ns) AND end_ns >= coalesce(from_ns, to_ns, end_ns))"
        " LIMIT 20";
    sqlite3_stmt *statement = NULL;
    struct error error;
    if (reader_prepare(verifying->reader, sql, &statement, &error) != 0 ||
        reader_each(verifying->reader, statement, tell_hole, verifying, &error) != 0) {
        verify_tell(verifying, "frame", "", error.text);
    }
}

/* What the night calls itself, and whether it says that it was closed. */
static void read_head(struct verifying *verifying)
{
    sqlite3_stmt *statement = NULL;
    struct error error;
    if (reader_prepare(verifying->reader,
                       "SELECT (SELECT value FROM meta WHERE key='id'),"
                       " (SELECT value FROM meta WHERE key='end_ns')",
                       &statement, &error) != 0 ||
        reader_each(verifying->reader, statement, take_head, verifying->result, &error) != 0) {
        verify_tell(verifying, "meta", "", error.text);
    }
}

int night_verify(const char *path, const uint8_t root[VERIFY_ROOT_SIZE],
                 const struct verify_sink *sink, struct verify_result *result, struct error *error)
{
    struct verifying verifying = {.sink = sink, .result = result};
    *result = (struct verify_result){0};
    if (night_reader_open_damaged(path, &verifying.reader, error) != 0) {
        char text[READER_CUT_SIZE];
        return error->code == ERROR_FORMAT && reader_cut_short(path, text)
                   ? error_set(error, ERROR_FORMAT, "%s: %s; nothing of it can be read", path, text)
                   : -1;
    }
    /* One view of a night that may be going on. */
    if (sql_exec(verifying.reader->db, "BEGIN", error) != 0) {
        night_reader_close(verifying.reader);
        return -1;
    }
    read_head(&verifying);
    check_file(&verifying);
    check_seals(&verifying, root);
    verify_blocks(&verifying);
    check_numbers(&verifying);
    tell_gaps(&verifying);
    night_reader_close(verifying.reader);
    return 0;
}
