/* Gathers what the drivers hand over and cuts it into numbered frames of all channels.
 * Pure: must never read a clock, a file or a socket, nor alter a count or a time. */
#ifndef ROOMWAKE_NODE_CUTTER_H
#define ROOMWAKE_NODE_CUTTER_H

#include <stddef.h>
#include <stdint.h>

#include "common/channel.h"
#include "common/error.h"
#include "common/wire.h"

/* Over all channels of one frame; at the most 15 bytes a sample, so that a frame always fits a
 * message (WIRE_MESSAGE_MAX). */
#define CUTTER_SAMPLES_MAX 12288u

struct cutter;

/* Takes a frame; its pointers hold until this returns. fit and oldest_seq are left to the taker. */
typedef void (*cutter_emit)(void *context, struct frame *frame);

/* For `count` channels. block_ns: how much time a frame covers. */
int cutter_new(size_t count, uint64_t boot, int64_t block_ns, cutter_emit emit, void *context,
               struct cutter **cutter, struct error *error);
void cutter_free(struct cutter *cutter);

/* As struct driver_sink, with `channel` counted over the whole node. A run that carries on where
 * the last one of its channel ended, to 2 ns, makes one evenly timed block with it; otherwise the
 * block gets the exact time of each sample. Where a frame would grow too long it is cut at once,
 * with its `until` unchanged. Samples that are not later than the last of their channel are
 * refused: they are counted and left out. */
void cutter_samples(struct cutter *cutter, size_t channel, int64_t t0_ns, int64_t period_ps,
                    const int32_t *counts, size_t count);
void cutter_change(struct cutter *cutter, size_t channel, int64_t time_ns, int32_t count);

/* No samples of this channel lie between these two, for this reason; told with the next frame.
 * Where there are more than a frame holds, one of the same channel grows. */
void cutter_hole(struct cutter *cutter, size_t channel, int64_t start_ns, int64_t end_ns,
                 const char *reason);

/* All samples before until_node_ns have been handed over: cuts a frame where it is due (block_ns
 * since the last) or `now` is asked for. A frame without samples says that nothing changed. What
 * lies at or behind until_node_ns waits for the next frame, but not where `now` is asked for: no
 * frame says more of one channel than it promises of all. */
void cutter_advance(struct cutter *cutter, int64_t until_node_ns, bool now);

/* Samples refused, or lost for want of memory, so far. */
uint64_t cutter_refused(const struct cutter *cutter);

#endif
