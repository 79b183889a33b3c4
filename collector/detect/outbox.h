/* Disturbances of a detector's bands on their way out, brought into order of onset.
 * Must never tell one before all earlier onsets are told. Filled by watch and motion, emptied by
 * detector through the sink. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_OUTBOX_H
#define ROOMWAKE_COLLECTOR_DETECT_OUTBOX_H

#include <stddef.h>
#include <stdint.h>

#include "collector/detect/sink.h"

#define OUTBOX_SIZE 32u

/* The node's clock uncertainty from a time on; the last ones told. */
struct clock_step {
    int64_t time_ns;
    int64_t sd_ns;
};

#define CLOCK_STEPS 128u

/* As it was when it settled, and, where that is known, as it ended: what is told first must not
 * depend on how long it waited. */
struct outbox_item {
    struct disturbance opened;
    struct disturbance closed; /* closed_ns 0: not yet */
};

struct outbox {
    struct detector_sink sink;
    struct outbox_item waiting[OUTBOX_SIZE]; /* settled, in order of (onset, band) */
    size_t count;
    struct clock_step clock[CLOCK_STEPS]; /* oldest first */
    size_t clock_count;
};

void outbox_set_clock(struct outbox *outbox, int64_t time_ns, int64_t sd_ns);
int64_t outbox_clock_sd(const struct outbox *outbox, int64_t time_ns);

/* A settled disturbance; fills its clock uncertainty. */
void outbox_open(struct outbox *outbox, struct disturbance *disturbance);
/* The same one, ended: told at once if it has been told open, else right after that. */
void outbox_close(struct outbox *outbox, const struct disturbance *disturbance);
/* No onset before this will come any more. */
void outbox_release(struct outbox *outbox, int64_t horizon_ns);
void outbox_notice(const struct outbox *outbox, int64_t time_ns, const char *text);

#endif
