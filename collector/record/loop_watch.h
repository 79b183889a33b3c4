/* How long the event loop keeps things waiting: of all moments of a night, how long one that falls
 * into them would wait until the loop attends to it. Must never wait itself, nor wake the loop.
 * Used by session.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_LOOP_WATCH_H
#define ROOMWAKE_COLLECTOR_RECORD_LOOP_WATCH_H

#include <stdbool.h>
#include <stdint.h>
#include <uv.h>

#include "common/error.h"

#define LOOP_LAG_BUCKETS 112

/* Turns of a loop, by how long each was busy: four buckets an octave from 1 us on. Starts as {0}.
 */
struct loop_lag {
    uint64_t turns[LOOP_LAG_BUCKETS];
    int64_t busy_ns[LOOP_LAG_BUCKETS];
    int64_t whole_ns;       /* busy and idle */
    int64_t longest_ns;     /* of one turn */
    int64_t longest_own_ns; /* of that turn, what was processor time of the loop's thread */
};

void loop_lag_add(struct loop_lag *lag, int64_t busy_ns, int64_t own_ns, int64_t idle_ns);
/* What `share` (0.999) of all moments would wait at the most, to a quarter of an octave upwards. */
int64_t loop_lag_most_ns(const struct loop_lag *lag, double share);

struct loop_watch {
    uv_prepare_t prepare;
    bool open;
    struct loop_lag lag;
    int64_t at_ns; /* the last turn's beginning, and what was used by then */
    int64_t idle_ns;
    int64_t own_ns;
    int64_t told_ns; /* 0: never */
    void (*held_up)(void *context, int64_t busy_ns, int64_t own_ns);
    void *context;
};

/* Caller-owned; must stay until its close is through. Calls back where a turn took LOOP_HELD_UP_NS
 * and more, at most once a minute. ERROR_IO where the loop can't be watched. */
#define LOOP_HELD_UP_NS INT64_C(1000000000)
int loop_watch_start(struct loop_watch *watch, uv_loop_t *loop,
                     void (*held_up)(void *context, int64_t busy_ns, int64_t own_ns), void *context,
                     struct error *error);
/* Between two waits: by now, all that the loop waited, all processor time of its thread. */
void loop_watch_turn(struct loop_watch *watch, int64_t now_ns, int64_t idle_ns, int64_t own_ns);
/* What was counted can still be read. */
void loop_watch_stop(struct loop_watch *watch);

#endif
