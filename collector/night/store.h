/* The writing connection and what it keeps between statements: prepared statements, codec, the
 * last fits, what waits for a block. Must never be used by two threads at once, nor call back.
 * Used by the writer's files only. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_STORE_H
#define ROOMWAKE_COLLECTOR_NIGHT_STORE_H

#include <sqlite3.h>

#include "collector/night/codec.h"
#include "collector/night/queue.h"
#include "collector/night/store_tail.h"
#include "collector/night/zoom.h"

enum store_sql {
    STORE_BOOT,
    STORE_CHANNEL,
    STORE_FIT,
    STORE_FRAME_KNOWN,
    STORE_FRAME,
    STORE_BLOCK,
    STORE_ZOOM,
    STORE_TAIL,
    STORE_TAIL_OF,
    STORE_TAIL_ALL,
    STORE_TAIL_FORGET,
    STORE_META,
    STORE_CLOCK,
    STORE_GAP,
    STORE_MARK,
    STORE_ANALYSIS,
    STORE_DISTURBANCE,
    STORE_MEMBER_DISTURBANCE,
    STORE_COINCIDENCE,
    STORE_CHANCE,
    STORE_MEMBER,
    STORE_ORDER,
    STORE_PATH,
    STORE_REASON,
    STORE_FORGET_MEMBERS,
    STORE_FORGET_ORDER,
    STORE_FORGET_PATH,
    STORE_FORGET_REASONS,
    STORE_ALERT,
    STORE_NOTICE,
    STORE_STATE,
    STORE_LOG,
    STORE_SQL_COUNT
};

#define META_KEY_SIZE 48

struct store_fit {
    struct clock_fit fit;
    int64_t id; /* 0: none yet */
};

/* What a failed transaction must give back. */
struct store_memory {
    struct store_fit *fits; /* by boot id */
    size_t fit_count;
    int64_t longest_ns; /* of all blocks, so that a reader finds what overlaps a window */
};

struct store {
    sqlite3 *db;
    sqlite3_stmt *statements[STORE_SQL_COUNT];
    struct codec *codec;
    char longest_key[META_KEY_SIZE]; /* the row of meta for longest_ns */
    struct channel *channels;        /* by channel id */
    size_t channel_count;
    struct store_memory memory;
    struct store_memory saved;
    struct store_tail tail;
};

/* Takes over `db` on success only. */
int store_new(sqlite3 *db, struct store **store, struct error *error);
/* Closes the connection too. */
void store_free(struct store *store);

/* A prepared statement, reset; NULL on failure. */
sqlite3_stmt *store_statement(struct store *store, enum store_sql which, struct error *error);

int store_begin(struct store *store, struct error *error);
int store_commit(struct store *store, struct error *error);
/* Everything is as it was at store_begin. */
void store_rollback(struct store *store);

/* Writes one job inside the transaction. */
int store_apply(struct store *store, const struct job *job, struct error *error);
int store_set_meta_int(struct store *store, const char *key, int64_t value, struct error *error);
int store_set_meta_text(struct store *store, const char *key, const char *value,
                        struct error *error);

/* By the file that holds them; called by store_apply. */
int store_channels(struct store *store, const struct job_channels *job, struct error *error);
int store_frame(struct store *store, const struct job_frame *job, struct error *error);
int store_analysis(struct store *store, int analysis, const struct job_analysis *row,
                   struct error *error);
int store_disturbance(struct store *store, int analysis, enum store_sql which,
                      const struct disturbance *disturbance, struct error *error);
int store_coincidence(struct store *store, int analysis, const struct coincidence *coincidence,
                      struct error *error);
int store_chance(struct store *store, int analysis, const struct job_chance *row,
                 struct error *error);

/* Keeps a channel's description by its id. */
int store_remember_channel(struct store *store, int64_t id, const struct channel *channel,
                           struct error *error);

#endif
