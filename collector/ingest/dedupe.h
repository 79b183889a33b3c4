/* Which frames of a node were taken: each (boot, seq) once, in order, none skipped. Pure.
 * Must never take a frame while an earlier one that the node still holds is missing: the `stored`
 * message says "all up to here". */
#ifndef ROOMWAKE_COLLECTOR_INGEST_DEDUPE_H
#define ROOMWAKE_COLLECTOR_INGEST_DEDUPE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define DEDUPE_PAST_BOOTS 16

enum dedupe_verdict {
    DEDUPE_NEXT,     /* the next of this boot: take it */
    DEDUPE_NEW_BOOT, /* the first of a boot not seen before: take it */
    DEDUPE_SEEN,     /* taken before */
    DEDUPE_AHEAD,    /* one before it is missing and the node still holds it: refuse, it comes again
                      */
    DEDUPE_STRAY,    /* of an earlier boot, not seen before: store it, but it is out of order */
};

/* One node's. Start from {0}. */
struct dedupe {
    uint64_t boot; /* 0 before the first frame */
    uint64_t taken;
    struct {
        uint64_t boot;
        uint64_t taken;
    } past[DEDUPE_PAST_BOOTS]; /* a ring */
    size_t past_count;
    uint64_t refused_boot; /* frames of it were refused and did not come again yet; 0 for none */
    uint64_t refused_seq;  /* the highest of them */
    uint64_t waiting_boot; /* a later boot whose first frame was held back for them */
};

/* *lost: frames that the node gave up between the last one taken and this one. */
enum dedupe_verdict dedupe_look(const struct dedupe *dedupe, uint64_t boot, uint64_t seq,
                                uint64_t oldest_seq, uint64_t *lost);
/* The frame was refused, for whatever reason. A later boot is then held back, since storing it says
 * that all of this one is stored; until the frame comes again, or the later boot's first does,
 * which shows that the node holds nothing older any more. */
void dedupe_refuse(struct dedupe *dedupe, uint64_t boot, uint64_t seq, uint64_t oldest_seq);
/* The frame that dedupe_look let through is in the writer's queue. */
void dedupe_take(struct dedupe *dedupe, uint64_t boot, uint64_t seq);

#endif
