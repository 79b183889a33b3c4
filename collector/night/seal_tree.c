/* The tables that a seal covers, and their rows as leaves.
 * Must never leave out a column. Called by the seal's files. */
#include "collector/night/seal_tree.h"

#include <inttypes.h>
#include <stdio.h>

#include "collector/night/seal_leaf.h"
#include "collector/night/sql.h"

#define BY_ID(table) "SELECT id, * FROM " table " WHERE id >= ?1 ORDER BY id"
#define OF_ANALYSIS(table) "SELECT id, * FROM " table " WHERE analysis = ?2 ORDER BY id"
/* A coincidence has fewer entries in each list than this. */
#define OF_COINCIDENCE(table)                                                                      \
    "SELECT coincidence * 128 + place, * FROM " table                                              \
    " WHERE analysis = ?2 ORDER BY coincidence, place"
#define LIST_SIZE 128
#define ZOOM_BLOCK_BITS 40

/* What of meta is known only when the night ends, or when something was added to it. */
#define META_LATE "(key = 'end_ns' OR key GLOB 'longest_block_ns*')"

const struct seal_tree seal_trees[] = {
    {"meta", "meta", SEAL_GROWING, SEAL_KEY_NTH, 4,
     "SELECT * FROM (SELECT row_number() OVER (ORDER BY key) AS nth, * FROM meta"
     " WHERE NOT " META_LATE ") WHERE nth >= ?1"},
    {"site", "site", SEAL_GROWING, SEAL_KEY_ID, 4, BY_ID("site")},
    {"room", "room", SEAL_GROWING, SEAL_KEY_ID, 8, BY_ID("room")},
    {"node", "node", SEAL_GROWING, SEAL_KEY_ID, 8, BY_ID("node")},
    {"codec", "codec", SEAL_GROWING, SEAL_KEY_ID, 8, BY_ID("codec")},
    {"boot", "boot", SEAL_GROWING, SEAL_KEY_ID, 8, BY_ID("boot")},
    {"channel", "channel", SEAL_GROWING, SEAL_KEY_NTH, 8,
     "SELECT nth, * FROM channel WHERE nth >= ?1 ORDER BY nth"},
    {"fit", "fit", SEAL_GROWING, SEAL_KEY_ID, 8, BY_ID("fit")},
    {"frame", "frame", SEAL_GROWING, SEAL_KEY_ID, 8, BY_ID("frame")},
    {"block", "block", SEAL_GROWING, SEAL_KEY_ID, 8, BY_ID("block")},
    {"clock", "clock", SEAL_GROWING, SEAL_KEY_ID, 8, BY_ID("clock")},
    {"gap", "gap", SEAL_GROWING, SEAL_KEY_ID, 8, BY_ID("gap")},
    {"mark", "mark", SEAL_GROWING, SEAL_KEY_ID, 8, BY_ID("mark")},
    {"state", "state", SEAL_GROWING, SEAL_KEY_ID, 8, BY_ID("state")},
    {"log", "log", SEAL_GROWING, SEAL_KEY_ID, 8, BY_ID("log")},
    {"meta-end", "meta", SEAL_CLOSING, SEAL_KEY_NTH, 4,
     "SELECT row_number() OVER (ORDER BY key), * FROM meta WHERE " META_LATE},
    {"tail", "tail", SEAL_CLOSING, SEAL_KEY_ID, 8, BY_ID("tail")},
    {"zoom", "zoom", SEAL_CLOSING, SEAL_KEY_ZOOM, 8,
     "SELECT (channel << 40) + block, * FROM zoom ORDER BY channel, block"},
    {"analysis", "analysis", SEAL_FINDINGS, SEAL_KEY_ID, 4,
     "SELECT id, * FROM analysis WHERE id = ?2"},
    {"disturbance", "disturbance", SEAL_FINDINGS, SEAL_KEY_ID, 8, OF_ANALYSIS("disturbance")},
    {"coincidence", "coincidence", SEAL_FINDINGS, SEAL_KEY_ID, 8, OF_ANALYSIS("coincidence")},
    {"coincidence_member", "coincidence_member", SEAL_FINDINGS, SEAL_KEY_LIST, 8,
     OF_COINCIDENCE("coincidence_member")},
    {"coincidence_order", "coincidence_order", SEAL_FINDINGS, SEAL_KEY_LIST, 8,
     OF_COINCIDENCE("coincidence_order")},
    {"coincidence_path", "coincidence_path", SEAL_FINDINGS, SEAL_KEY_LIST, 8,
     OF_COINCIDENCE("coincidence_path")},
    {"coincidence_reason", "coincidence_reason", SEAL_FINDINGS, SEAL_KEY_LIST, 8,
     OF_COINCIDENCE("coincidence_reason")},
    {"alert", "alert", SEAL_FINDINGS, SEAL_KEY_ID, 8, OF_ANALYSIS("alert")},
    {"notice", "notice", SEAL_FINDINGS, SEAL_KEY_ID, 8, OF_ANALYSIS("notice")},
};
const size_t seal_tree_count = sizeof seal_trees / sizeof *seal_trees;
_Static_assert(sizeof seal_trees / sizeof *seal_trees <= SEAL_TREES_MAX, "room for all trees");

void seal_tree_name_row(const struct seal_tree *tree, int64_t key, char out[SEAL_ROW_SIZE])
{
    switch (tree->key) {
    case SEAL_KEY_ID:
        (void)snprintf(out, SEAL_ROW_SIZE, "id %" PRId64, key);
        break;
    case SEAL_KEY_NTH:
        (void)snprintf(out, SEAL_ROW_SIZE, "row %" PRId64, key);
        break;
    case SEAL_KEY_LIST:
        (void)snprintf(out, SEAL_ROW_SIZE, "coincidence %" PRId64 " place %" PRId64,
                       key / LIST_SIZE, key % LIST_SIZE);
        break;
    case SEAL_KEY_ZOOM:
        (void)snprintf(out, SEAL_ROW_SIZE, "channel %" PRId64 " block %" PRId64,
                       key >> ZOOM_BLOCK_BITS, key & ((INT64_C(1) << ZOOM_BLOCK_BITS) - 1));
        break;
    }
}

void seal_run_begin(struct seal_run *run, const struct seal_tree *tree, int64_t analysis)
{
    *run = (struct seal_run){.tree = tree, .analysis = analysis, .next_key = INT64_MIN};
}

int seal_run_end(struct seal_run *run, const struct seal_hooks *hooks, struct error *error)
{
    if (!run->clue_open) {
        return 0;
    }
    run->clue_open = false;
    return hooks->clue(hooks->context, run, error);
}

static int take_row(struct seal_run *run, sqlite3_stmt *statement, const struct seal_hooks *hooks,
                    struct error *error)
{
    const unsigned bits = run->tree->clue_bits;
    uint8_t hash[MERKLE_HASH_SIZE];
    int64_t key = sqlite3_column_int64(statement, 0);
    int64_t span = seal_clue_span(bits, key);
    if (!run->clue_open || span != run->clue.span) {
        int told = seal_run_end(run, hooks, error);
        if (told != 0) {
            return told;
        }
        seal_clue_begin(&run->clue, bits, span);
        run->clue_open = true;
    }
    seal_leaf_row(run->tree->name, statement, 1, hash);
    seal_clue_add(&run->clue, key, hash);
    merkle_add(&run->merkle, hash);
    run->exhausted = key == INT64_MAX;
    run->next_key = run->exhausted ? key : key + 1;
    return hooks->leaf ? hooks->leaf(hooks->context, run, error) : 0;
}

int seal_run_take(struct seal_run *run, sqlite3_stmt *statement, const struct seal_hooks *hooks,
                  struct error *error)
{
    int result = 0;
    if (run->exhausted) {
        return 0;
    }
    const int64_t arguments[] = {run->next_key, run->analysis};
    int wanted = sqlite3_bind_parameter_count(statement);
    for (int i = 0; i < wanted && i < 2; i++) {
        (void)sqlite3_bind_int64(statement, i + 1, arguments[i]); /* the index is in range */
    }
    while ((result = sql_step(statement, error)) == 1) {
        int taken = take_row(run, statement, hooks, error);
        if (taken != 0) {
            sqlite3_reset(statement);
            return taken;
        }
    }
    return result;
}
