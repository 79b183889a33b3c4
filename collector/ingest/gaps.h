/* Stretches without samples, each with its cause in words. Pure.
 * Must never leave a hole unnamed, nor name one where the node's samples only come late. */
#ifndef ROOMWAKE_COLLECTOR_INGEST_GAPS_H
#define ROOMWAKE_COLLECTOR_INGEST_GAPS_H

#include <stdbool.h>
#include <stdint.h>

#include "collector/model/gap.h"
#include "common/block.h"

/* A hole between two blocks of a channel is one where it exceeds 1.5 periods and this. */
#define GAPS_HOLE_NS INT64_C(50000000)
/* A node whose last sample is older than this at the end of the night was silent. */
#define GAPS_SILENT_NS INT64_C(5000000000)

/* One node's. */
struct gap_watch {
    uint32_t node;
    bool heard;     /* a frame with a known clock came */
    bool unclocked; /* since the last such frame there were some whose clock was never known */
    int64_t last_ns;
};

/* What one frame with its site times says. */
struct gap_frame {
    bool clock_known;
    bool new_boot;    /* the node restarted since its last frame */
    const char *why;  /* it restarted, where the node knows; else NULL */
    uint64_t lost;    /* frames that the node gave up before this one: its spool was full */
    int64_t first_ns; /* first and last sample; both the frame's own end where it has none */
    int64_t last_ns;
};

void gap_watch_init(struct gap_watch *watch, uint32_t node);
/* true: *gap is the gap before this frame. */
bool gap_watch_frame(struct gap_watch *watch, const struct gap_frame *frame, struct gap *gap);
/* true: between the channel's last sample and next_ns its sampling stood still. */
bool gap_between(uint32_t node, const struct channel *channel, int64_t last_ns, int64_t next_ns,
                 struct gap *gap);
/* At the end of the night: true where the node was silent up to the end, or was never heard. */
bool gap_watch_finish(const struct gap_watch *watch, int64_t night_start_ns, int64_t night_end_ns,
                      struct gap *gap);

#endif
