/* Seals of a night: the root of its hash trees, signed with the base station's key, at intervals
 * while it is recorded, when it is closed, and for each analysis of its own.
 * Must never change a row that it seals. Called by the writer's files and by those that check. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_SEAL_H
#define ROOMWAKE_COLLECTOR_NIGHT_SEAL_H

#include <sqlite3.h>

#include "collector/night/key.h"
#include "collector/night/merkle.h"
#include "common/error.h"

enum seal_what {
    SEAL_SO_FAR,   /* the samples, of a night that is being recorded */
    SEAL_SAMPLES,  /* the samples, of a closed night */
    SEAL_ADDED,    /* the same with what was added to it later: a recorder's level */
    SEAL_ANALYSIS, /* the findings of an analysis */
    SEAL_WHAT_COUNT
};
/* As the night says it: "so far", "samples", "added", "analysis". */
const char *seal_what_text(enum seal_what what);
/* The scopes of the trees that such a seal covers, enum seal_scope. */
unsigned seal_scopes(enum seal_what what);

struct seal {
    int64_t id; /* from 1 without a hole */
    enum seal_what what;
    int64_t analysis; /* 0: the samples */
    int64_t time_ns;  /* site time; of a re-analysis, the machine's */
    int64_t leaves;   /* rows, over all its tables */
    uint8_t root[MERKLE_HASH_SIZE];
    uint8_t public_key[KEY_PUBLIC_SIZE];
    uint8_t signature[KEY_SIGNATURE_SIZE];
};

/* One of a seal's tables, hashed as a leaf of the seal's own tree. */
void seal_hash_tree(const char *name, int64_t leaves, const uint8_t root[MERKLE_HASH_SIZE],
                    uint8_t hash[MERKLE_HASH_SIZE]);
/* A root in groups of four digits, as it is read aloud. */
#define SEAL_ALOUD_SIZE (5 * MERKLE_HASH_SIZE / 2)
void seal_aloud(const uint8_t root[MERKLE_HASH_SIZE], char out[SEAL_ALOUD_SIZE]);
/* What is signed: everything that the seal says, as one hash. */
void seal_message(const struct seal *seal, uint8_t message[MERKLE_HASH_SIZE]);

/* The growing trees over what was committed. */
struct seal_book;

/* `db` is the writer's and must outlive it. */
int seal_book_new(sqlite3 *db, struct seal_book **book, struct error *error);
void seal_book_free(struct seal_book *book);
/* Takes all rows that were committed since the last time; outside a transaction. */
int seal_book_catch_up(struct seal_book *book, struct error *error);
/* Writes a seal of all that was taken (SEAL_SO_FAR) or of all that there is (SEAL_SAMPLES,
 * SEAL_ADDED); inside the caller's transaction. */
int seal_book_write(struct seal_book *book, const struct key *key, enum seal_what what,
                    int64_t time_ns, struct seal *seal, struct error *error);
/* After the transaction of seal_book_write was committed. */
void seal_book_written(struct seal_book *book);
/* Seals every finished analysis that has no seal yet; inside the caller's transaction. */
int seal_write_analyses(sqlite3 *db, const struct key *key, int64_t time_ns, struct error *error);

#endif
