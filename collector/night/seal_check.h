/* Whether a night is what its seals say, and where it is not.
 * Must never repair, nor take a seal's word for what can be computed from the rows.
 * Used by verify and reader_seal.c. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_SEAL_CHECK_H
#define ROOMWAKE_COLLECTOR_NIGHT_SEAL_CHECK_H

#include <sqlite3.h>
#include <stdbool.h>

#include "collector/night/seal.h"
#include "common/error.h"

/* Told of each thing that is off: the table, the row in words ("" for the table as a whole), what.
 */
struct seal_sink {
    void *context;
    void (*fault)(void *context, const char *table, const char *row, const char *text);
};

struct seal_entry {
    struct seal seal;
    bool sound; /* its signature, and all that was compared with it, held */
};

/* Start from {0}. */
struct seal_list {
    struct seal_entry *entries; /* by id */
    size_t count;
    size_t size;
    int64_t unsealed; /* rows that came after the last seal of a night that was not closed */
};

/* Reads the seals and checks what each says of itself: numbers, signatures, the root over its
 * tables. -1: they can't be read. */
int seal_list_read(sqlite3 *db, struct seal_list *list, const struct seal_sink *sink,
                   struct error *error);
void seal_list_free(struct seal_list *list);
/* The last seal of that kind; NULL where there is none. analysis 0: the samples. */
struct seal_entry *seal_list_last(const struct seal_list *list, enum seal_what what,
                                  int64_t analysis);
/* The seal of the night's end, or of what was added after it; NULL where it was not closed. */
struct seal_entry *seal_list_end(const struct seal_list *list);
/* Rows of a tree as this seal has them. */
int seal_list_leaves(sqlite3 *db, const struct seal *seal, const char *tree, int64_t *leaves,
                     struct error *error);

/* Compares the rows with every seal of theirs. With `quick`, the tables that grow with the samples
 * are left out. analysis 0: the samples. */
void seal_check_rows(sqlite3 *db, struct seal_list *list, int64_t analysis, bool quick,
                     const struct seal_sink *sink);

#endif
