/* What a seal covers: for each table a hash tree with a leaf a row, in the order of a key that
 * rises as rows are added, so that what was sealed is a prefix of what is there later. Must never
 * leave out a column: leaves are whole rows. Used by the seal's files. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_SEAL_TREE_H
#define ROOMWAKE_COLLECTOR_NIGHT_SEAL_TREE_H

#include <sqlite3.h>

#include "collector/night/merkle.h"
#include "collector/night/seal_clue.h"
#include "common/error.h"

enum seal_scope {
    SEAL_GROWING = 1,  /* rows are only added: in every seal of the samples */
    SEAL_CLOSING = 2,  /* settled when the night is closed: in its last seal */
    SEAL_FINDINGS = 4, /* an analysis' own */
};

/* What a key says to a person. */
enum seal_key { SEAL_KEY_ID, SEAL_KEY_NTH, SEAL_KEY_LIST, SEAL_KEY_ZOOM };

struct seal_tree {
    const char *name;
    const char *table;
    enum seal_scope scope;
    enum seal_key key;
    unsigned clue_bits;
    /* The key, then the row; by rising key from ?1 where it grows; of the analysis ?2. */
    const char *sql;
};

#define SEAL_TREES_MAX 32
extern const struct seal_tree seal_trees[];
extern const size_t seal_tree_count;

#define SEAL_ROW_SIZE 96
/* The row of a key in words: "id 12", "coincidence 3 place 2". */
void seal_tree_name_row(const struct seal_tree *tree, int64_t key, char out[SEAL_ROW_SIZE]);

/* A tree and how far its table was read. */
struct seal_run {
    const struct seal_tree *tree;
    int64_t analysis; /* 0: the samples */
    struct merkle merkle;
    int64_t next_key;
    bool exhausted; /* the last key there can be was read */
    bool clue_open;
    struct seal_clue clue; /* of the last row's span */
};

/* A non-zero return stops and is returned. */
struct seal_hooks {
    void *context;
    int (*clue)(void *context, const struct seal_run *run, struct error *error); /* span complete */
    int (*leaf)(void *context, const struct seal_run *run, struct error *error); /* may be NULL */
};

void seal_run_begin(struct seal_run *run, const struct seal_tree *tree, int64_t analysis);
/* Takes the rows that came since the last time. `statement` is the tree's, prepared. */
int seal_run_take(struct seal_run *run, sqlite3_stmt *statement, const struct seal_hooks *hooks,
                  struct error *error);
/* Hands over the clue of the span that the last row was in. */
int seal_run_end(struct seal_run *run, const struct seal_hooks *hooks, struct error *error);

#endif
