/* The running trees over what is committed, and seals into the night.
 * Must never seal what is not in the file: rows are read back, not remembered.
 * Called by the writer's files. */
#include "collector/night/seal.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "collector/night/seal_tree.h"
#include "collector/night/sql.h"

struct seal_book {
    sqlite3 *db;
    struct seal_run runs[SEAL_TREES_MAX];     /* of the growing trees, by their place */
    sqlite3_stmt *statements[SEAL_TREES_MAX]; /* NULL for the others */
    struct {
        const struct seal_tree *tree;
        struct seal_clue clue;
    } * clues; /* not yet in the file */
    size_t clue_count;
    size_t clue_size;
};

static int out_of_memory(struct error *error)
{
    return error_set(error, ERROR_MEMORY, "seal: out of memory");
}

int seal_book_new(sqlite3 *db, struct seal_book **book, struct error *error)
{
    struct seal_book *made = calloc(1, sizeof *made);
    if (!made) {
        return out_of_memory(error);
    }
    made->db = db;
    for (size_t i = 0; i < seal_tree_count; i++) {
        seal_run_begin(&made->runs[i], &seal_trees[i], 0);
        if (seal_trees[i].scope == SEAL_GROWING &&
            sql_prepare(db, seal_trees[i].sql, &made->statements[i], error) != 0) {
            seal_book_free(made);
            return -1;
        }
    }
    *book = made;
    return 0;
}

void seal_book_free(struct seal_book *book)
{
    if (!book) {
        return;
    }
    for (size_t i = 0; i < seal_tree_count; i++) {
        sqlite3_finalize(book->statements[i]);
    }
    free(book->clues);
    free(book);
}

static int keep_clue(void *context, const struct seal_run *run, struct error *error)
{
    struct seal_book *book = context;
    if (book->clue_count == book->clue_size) {
        size_t size = book->clue_size ? 2 * book->clue_size : 64;
        void *clues = realloc(book->clues, size * sizeof *book->clues);
        if (!clues) {
            return out_of_memory(error);
        }
        book->clues = clues;
        book->clue_size = size;
    }
    book->clues[book->clue_count].tree = run->tree;
    book->clues[book->clue_count++].clue = run->clue;
    return 0;
}

int seal_book_catch_up(struct seal_book *book, struct error *error)
{
    const struct seal_hooks hooks = {.context = book, .clue = keep_clue};
    for (size_t i = 0; i < seal_tree_count; i++) {
        if (book->statements[i] &&
            seal_run_take(&book->runs[i], book->statements[i], &hooks, error) != 0) {
            return error_wrap(error, "seal: %s", seal_trees[i].table);
        }
    }
    return 0;
}

/* The statements of one seal; made for it and gone after. */
struct seal_entry {
    sqlite3 *db;
    sqlite3_stmt *tree;
    sqlite3_stmt *clue;
    struct seal *seal;
    struct merkle merkle;
};

static int put_clue(struct seal_entry *entry, const struct seal_tree *tree,
                    const struct seal_clue *clue, struct error *error)
{
    uint8_t bytes[SEAL_CLUE_BYTES_MAX];
    seal_clue_write(clue, bytes);
    struct sql_args args = sql_args(entry->clue);
    sql_put_int(&args, entry->seal->analysis);
    sql_put_text(&args, tree->name);
    sql_put_int(&args, clue->span);
    sql_put_int(&args, (int64_t)clue->leaves);
    sql_put_blob(&args, bytes, seal_clue_size(clue->bits));
    return sql_run(&args, error);
}

static int put_run_clue(void *context, const struct seal_run *run, struct error *error)
{
    return put_clue(context, run->tree, &run->clue, error);
}

static int put_tree(struct seal_entry *entry, const struct seal_run *run, struct error *error)
{
    uint8_t root[MERKLE_HASH_SIZE];
    uint8_t hash[MERKLE_HASH_SIZE];
    const int64_t leaves = (int64_t)run->merkle.leaves;
    const int64_t place = (int64_t)entry->merkle.leaves + 1;
    merkle_root(&run->merkle, root);
    seal_hash_tree(run->tree->name, leaves, root, hash);
    merkle_add(&entry->merkle, hash);
    entry->seal->leaves += leaves;
    struct sql_args args = sql_args(entry->tree);
    sql_put_int(&args, entry->seal->id);
    sql_put_int(&args, place);
    sql_put_text(&args, run->tree->name);
    sql_put_int(&args, leaves);
    sql_put_blob(&args, root, sizeof root);
    return sql_run(&args, error);
}

/* A tree from its first row to its last, now. */
static int put_whole_tree(struct seal_entry *entry, const struct seal_tree *tree,
                          struct error *error)
{
    const struct seal_hooks hooks = {.context = entry, .clue = put_run_clue};
    struct seal_run run;
    sqlite3_stmt *statement = NULL;
    seal_run_begin(&run, tree, entry->seal->analysis);
    if (sql_prepare(entry->db, tree->sql, &statement, error) != 0) {
        return -1;
    }
    int result = seal_run_take(&run, statement, &hooks, error);
    sqlite3_finalize(statement);
    if (result != 0 || seal_run_end(&run, &hooks, error) != 0) {
        return -1;
    }
    return put_tree(entry, &run, error);
}

#define PUT_CLUE                                                                                   \
    "INSERT INTO seal_clue(analysis, tree, span, leaves, clue) VALUES(?, ?, ?, ?, ?) ON CONFLICT"

static int begin_entry(struct seal_entry *entry, struct error *error)
{
    /* A clue of rows that were sealed before stays what it was, unless more rows came to its span.
     */
    const char *clue_sql = entry->seal->what == SEAL_ADDED ? PUT_CLUE
                               " DO UPDATE SET leaves = excluded.leaves, clue = excluded.clue"
                                                           : PUT_CLUE " DO NOTHING";
    if (sql_query_int(entry->db, "SELECT coalesce(max(id), 0) + 1 FROM seal", &entry->seal->id,
                      error) != 0 ||
        sql_prepare(entry->db, "INSERT INTO seal_tree VALUES(?, ?, ?, ?, ?)", &entry->tree,
                    error) != 0) {
        return -1;
    }
    return sql_prepare(entry->db, clue_sql, &entry->clue, error);
}

static int end_entry(struct seal_entry *entry, const struct key *key, struct error *error)
{
    struct seal *seal = entry->seal;
    uint8_t message[MERKLE_HASH_SIZE];
    sqlite3_stmt *statement = NULL;
    merkle_root(&entry->merkle, seal->root);
    memcpy(seal->public_key, key->public_key, sizeof seal->public_key);
    seal_message(seal, message);
    key_sign(key, message, sizeof message, seal->signature);
    if (sql_prepare(entry->db, "INSERT INTO seal VALUES(?, ?, ?, ?, ?, ?, ?, ?)", &statement,
                    error) != 0) {
        return -1;
    }
    struct sql_args args = sql_args(statement);
    sql_put_int(&args, seal->id);
    sql_put_text(&args, seal_what_text(seal->what));
    sql_put_int(&args, seal->analysis);
    sql_put_int(&args, seal->time_ns);
    sql_put_int(&args, seal->leaves);
    sql_put_blob(&args, seal->root, sizeof seal->root);
    sql_put_blob(&args, seal->public_key, sizeof seal->public_key);
    sql_put_blob(&args, seal->signature, sizeof seal->signature);
    int result = sql_run(&args, error);
    sqlite3_finalize(statement);
    return result;
}

static void free_entry(struct seal_entry *entry)
{
    sqlite3_finalize(entry->tree);
    sqlite3_finalize(entry->clue);
}

/* The growing trees as far as they were taken; with `whole` the clue of the last span of each. */
static int put_book(struct seal_entry *entry, struct seal_book *book, bool whole,
                    struct error *error)
{
    for (size_t i = 0; i < book->clue_count; i++) {
        if (put_clue(entry, book->clues[i].tree, &book->clues[i].clue, error) != 0) {
            return -1;
        }
    }
    for (size_t i = 0; i < seal_tree_count; i++) {
        const struct seal_run *run = &book->runs[i];
        if (!book->statements[i]) {
            continue;
        }
        if (put_tree(entry, run, error) != 0 ||
            (whole && run->clue_open && put_clue(entry, run->tree, &run->clue, error) != 0)) {
            return -1;
        }
    }
    return 0;
}

static int put_scope(struct seal_entry *entry, enum seal_scope scope, struct error *error)
{
    for (size_t i = 0; i < seal_tree_count; i++) {
        if (seal_trees[i].scope == scope && put_whole_tree(entry, &seal_trees[i], error) != 0) {
            return error_wrap(error, "%s", seal_trees[i].table);
        }
    }
    return 0;
}

int seal_book_write(struct seal_book *book, const struct key *key, enum seal_what what,
                    int64_t time_ns, struct seal *seal, struct error *error)
{
    *seal = (struct seal){.what = what, .time_ns = time_ns};
    struct seal_entry entry = {.db = book->db, .seal = seal};
    const bool whole = what == SEAL_SAMPLES || what == SEAL_ADDED;
    int result = begin_entry(&entry, error);
    if (result == 0 && (put_book(&entry, book, whole, error) != 0 ||
                        (whole && put_scope(&entry, SEAL_CLOSING, error) != 0))) {
        result = -1;
    }
    if (result == 0) {
        result = end_entry(&entry, key, error);
    }
    free_entry(&entry);
    return result == 0 ? 0 : error_wrap(error, "seal");
}

void seal_book_written(struct seal_book *book)
{
    book->clue_count = 0;
}

static int write_analysis(sqlite3 *db, const struct key *key, int64_t analysis, int64_t time_ns,
                          struct error *error)
{
    struct seal seal = {.what = SEAL_ANALYSIS, .analysis = analysis, .time_ns = time_ns};
    struct seal_entry entry = {.db = db, .seal = &seal};
    int result = begin_entry(&entry, error);
    if (result == 0) {
        result = put_scope(&entry, SEAL_FINDINGS, error);
    }
    if (result == 0) {
        result = end_entry(&entry, key, error);
    }
    free_entry(&entry);
    return result == 0 ? 0 : error_wrap(error, "seal of analysis %lld", (long long)analysis);
}

int seal_write_analyses(sqlite3 *db, const struct key *key, int64_t time_ns, struct error *error)
{
    static const char next_sql[] = "SELECT min(id) FROM analysis WHERE done AND id NOT IN"
                                   " (SELECT analysis FROM seal WHERE what = 'analysis')";
    for (;;) {
        struct error nothing;
        int64_t analysis = 0;
        if (sql_query_int(db, next_sql, &analysis, &nothing) != 0) {
            if (nothing.code == ERROR_NOT_FOUND) {
                return 0;
            }
            *error = nothing;
            return -1;
        }
        if (write_analysis(db, key, analysis, time_ns, error) != 0) {
            return -1;
        }
    }
}
