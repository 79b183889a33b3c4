/* The seals of a night, and what each says of itself.
 * Must never take one for sound whose signature does not hold. Called by verify and
 * reader_seal.c. */
#include "collector/night/seal_check.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/night/seal_tree.h"
#include "collector/night/sql.h"

#define WHAT_SIZE 16

struct reading {
    sqlite3 *db;
    struct seal_list *list;
    const struct seal_sink *sink;
    sqlite3_stmt *trees;
};

static void tell(const struct reading *reading, int64_t id, const char *text)
{
    char row[SEAL_ROW_SIZE];
    (void)snprintf(row, sizeof row, "id %" PRId64, id);
    reading->sink->fault(reading->sink->context, "seal", row, text);
}

/* False where the column holds another number of bytes. */
static bool get_bytes(struct sql_columns *row, uint8_t *out, size_t size)
{
    size_t length = 0;
    const uint8_t *bytes = sql_get_blob(row, &length);
    if (!bytes || length != size) {
        return false;
    }
    memcpy(out, bytes, size);
    return true;
}

static bool get_what(struct sql_columns *row, enum seal_what *what)
{
    char text[WHAT_SIZE];
    sql_get_text(row, text, sizeof text);
    for (int i = 0; i < SEAL_WHAT_COUNT; i++) {
        if (strcmp(text, seal_what_text((enum seal_what)i)) == 0) {
            *what = (enum seal_what)i;
            return true;
        }
    }
    return false;
}

/* The columns in the order of the table. False where the row is no seal at all. */
static bool get_seal(struct sql_columns *row, struct seal *seal)
{
    *seal = (struct seal){.id = sql_get_int(row)};
    if (!get_what(row, &seal->what)) {
        return false;
    }
    seal->analysis = sql_get_int(row);
    seal->time_ns = sql_get_int(row);
    seal->leaves = sql_get_int(row);
    bool whole = get_bytes(row, seal->root, sizeof seal->root);
    whole = get_bytes(row, seal->public_key, sizeof seal->public_key) && whole;
    whole = get_bytes(row, seal->signature, sizeof seal->signature) && whole;
    return whole && (seal->what == SEAL_ANALYSIS) == (seal->analysis > 0) && seal->analysis >= 0;
}

/* One of the seal's tables: whether it is the one that belongs there. */
static bool take_tree(sqlite3_stmt *statement, const struct seal_tree *expected,
                      struct merkle *merkle, int64_t *leaves)
{
    struct sql_columns row = sql_columns(statement);
    char name[SEAL_ROW_SIZE];
    uint8_t root[MERKLE_HASH_SIZE];
    uint8_t hash[MERKLE_HASH_SIZE];
    sql_get_text(&row, name, sizeof name);
    int64_t rows = sql_get_int(&row);
    if (strcmp(name, expected->name) != 0 || !get_bytes(&row, root, sizeof root) ||
        __builtin_add_overflow(*leaves, rows, leaves)) {
        return false;
    }
    seal_hash_tree(name, rows, root, hash);
    merkle_add(merkle, hash);
    return true;
}

/* Whether the root is that over the seal's rows in seal_tree, all of them and no other. */
static bool trees_hold(const struct reading *reading, const struct seal *seal)
{
    struct merkle merkle = {0};
    struct error ignored; /* what can't be read does not hold */
    uint8_t root[MERKLE_HASH_SIZE];
    int64_t leaves = 0;
    bool holds = true;
    sqlite3_reset(reading->trees);
    (void)sqlite3_bind_int64(reading->trees, 1, seal->id);
    for (size_t i = 0; i < seal_tree_count && holds; i++) {
        if ((seal_trees[i].scope & seal_scopes(seal->what)) != 0) {
            holds = sql_step(reading->trees, &ignored) == 1 &&
                    take_tree(reading->trees, &seal_trees[i], &merkle, &leaves);
        }
    }
    holds = holds && sql_step(reading->trees, &ignored) == 0;
    sqlite3_reset(reading->trees);
    merkle_root(&merkle, root);
    return holds && leaves == seal->leaves && memcmp(root, seal->root, sizeof root) == 0;
}

/* Whether the samples' seals are all of one base station; after the last only one of what was added
 * may follow, which may be another machine's. */
static void check_row_of_seals(const struct reading *reading, struct seal_entry *entry)
{
    const struct seal_list *list = reading->list;
    if (entry->seal.what == SEAL_ANALYSIS) {
        if (seal_list_last(list, SEAL_ANALYSIS, entry->seal.analysis)) {
            tell(reading, entry->seal.id, "a second seal of the same analysis");
            entry->sound = false;
        }
        return;
    }
    if (entry->seal.what == SEAL_ADDED) {
        if (!seal_list_last(list, SEAL_SAMPLES, 0)) {
            tell(reading, entry->seal.id, "of what was added to a night that has no end");
            entry->sound = false;
        }
        return;
    }
    for (size_t i = list->count; i-- > 0;) {
        const struct seal *before = &list->entries[i].seal;
        if (before->what == SEAL_ANALYSIS) {
            continue;
        }
        if (before->what == SEAL_SAMPLES || before->what == SEAL_ADDED) {
            tell(reading, entry->seal.id, "the samples were sealed again after the night's end");
            entry->sound = false;
        } else if (memcmp(before->public_key, entry->seal.public_key, sizeof before->public_key) !=
                   0) {
            tell(reading, entry->seal.id, "made with another key than the seal before it");
            entry->sound = false;
        }
        return;
    }
}

static void check_seal(const struct reading *reading, struct seal_entry *entry)
{
    const struct seal *seal = &entry->seal;
    uint8_t message[MERKLE_HASH_SIZE];
    entry->sound = true;
    seal_message(seal, message);
    if (key_verify(seal->public_key, message, sizeof message, seal->signature) != 0) {
        tell(reading, seal->id, "is not what was signed");
        entry->sound = false;
    } else if (!trees_hold(reading, seal)) {
        reading->sink->fault(reading->sink->context, "seal_tree", "",
                             "what it says of the tables is not what was signed");
        entry->sound = false;
    }
    check_row_of_seals(reading, entry);
}

static struct seal_entry *grow(struct seal_list *list, struct error *error)
{
    if (list->count == list->size) {
        size_t size = list->size ? 2 * list->size : 64;
        struct seal_entry *entries = realloc(list->entries, size * sizeof *entries);
        if (!entries) {
            (void)error_set(error, ERROR_MEMORY, "seals: out of memory");
            return NULL;
        }
        list->entries = entries;
        list->size = size;
    }
    return &list->entries[list->count];
}

static int read_rows(struct reading *reading, sqlite3_stmt *statement, struct error *error)
{
    int64_t expected = 1;
    int result = 0;
    while ((result = sql_step(statement, error)) == 1) {
        struct seal_entry *entry = grow(reading->list, error);
        if (!entry) {
            sqlite3_reset(statement);
            return -1;
        }
        struct sql_columns row = sql_columns(statement);
        bool whole = get_seal(&row, &entry->seal);
        if (entry->seal.id != expected) {
            tell(reading, expected, "is missing");
        }
        expected = entry->seal.id < INT64_MAX ? entry->seal.id + 1 : expected;
        if (!whole) {
            tell(reading, entry->seal.id, "is no seal");
            continue;
        }
        check_seal(reading, entry);
        reading->list->count++;
    }
    return result;
}

int seal_list_read(sqlite3 *db, struct seal_list *list, const struct seal_sink *sink,
                   struct error *error)
{
    struct reading reading = {.db = db, .list = list, .sink = sink};
    sqlite3_stmt *statement = NULL;
    int result = -1;
    if (sql_prepare(db, "SELECT * FROM seal ORDER BY id", &statement, error) == 0 &&
        sql_prepare(db, "SELECT tree, leaves, root FROM seal_tree WHERE seal=? ORDER BY place",
                    &reading.trees, error) == 0) {
        result = read_rows(&reading, statement, error);
    }
    sqlite3_finalize(statement);
    sqlite3_finalize(reading.trees);
    return result;
}

void seal_list_free(struct seal_list *list)
{
    free(list->entries);
    *list = (struct seal_list){0};
}

struct seal_entry *seal_list_last(const struct seal_list *list, enum seal_what what,
                                  int64_t analysis)
{
    for (size_t i = list->count; i-- > 0;) {
        const struct seal *seal = &list->entries[i].seal;
        if (seal->what == what && seal->analysis == analysis) {
            return &list->entries[i];
        }
    }
    return NULL;
}

struct seal_entry *seal_list_end(const struct seal_list *list)
{
    struct seal_entry *added = seal_list_last(list, SEAL_ADDED, 0);
    return added ? added : seal_list_last(list, SEAL_SAMPLES, 0);
}

int seal_list_leaves(sqlite3 *db, const struct seal *seal, const char *tree, int64_t *leaves,
                     struct error *error)
{
    sqlite3_stmt *statement = NULL;
    if (sql_prepare(db, "SELECT leaves FROM seal_tree WHERE seal=? AND tree=?", &statement,
                    error) != 0) {
        return -1;
    }
    struct sql_args args = sql_args(statement);
    sql_put_int(&args, seal->id);
    sql_put_text(&args, tree);
    int result = sql_step(statement, error);
    *leaves = result == 1 ? sqlite3_column_int64(statement, 0) : 0;
    sqlite3_finalize(statement);
    return result < 0 ? -1 : 0;
}
