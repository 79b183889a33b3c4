/* Which messages the samples of a long block came in, and at what times: compact bytes and back.
 * Must never trust the bytes. Called by the night's writer and reader. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_CUTS_H
#define ROOMWAKE_COLLECTOR_NIGHT_CUTS_H

#include <stddef.h>
#include <stdint.h>

#include "collector/night/codec.h"

/* One message's share of a block: `count` samples that follow each other. */
struct cut {
    uint64_t seq;
    uint32_t count;
    int64_t t0_ns;
    int64_t period_ps; /* 0: the block's own times */
    int64_t node_t0_ns;
};

/* More cuts than that no block has: its row is ended before. */
#define CUTS_MAX 4096u

/* The bytes are the codec's, as with codec_encode_times. `kind` is not set. */
void cuts_encode(struct codec *codec, const struct cut *cuts, size_t count,
                 struct codec_bytes *out);
/* How many cuts the bytes hold: at most CUTS_MAX. ERROR_FORMAT where they are damaged. */
int cuts_count(struct codec *codec, const uint8_t *bytes, size_t length, size_t *count,
               struct error *error);
/* All cuts of a block of `samples` samples that begins at t0_ns, into `cuts` (`size` at most).
 * ERROR_FORMAT where the bytes are not those of such a block. */
int cuts_decode(struct codec *codec, const uint8_t *bytes, size_t length, int64_t t0_ns,
                uint32_t samples, struct cut *cuts, size_t size, size_t *count,
                struct error *error);

/* When a cut's sample was taken; `times_ns` are the cut's own where it is not evenly timed. */
int64_t cut_time_ns(const struct cut *cut, const int64_t *times_ns, uint32_t index);
/* How far the times of evenly timed samples, at the ends of the runs of ZOOM_RUN, are at most from
 * those of samples spread evenly over `span_ns`; `samples` is how many there are in all cuts. */
int64_t cuts_slack_ns(const struct cut *cuts, size_t count, uint32_t samples, int64_t span_ns);
/* When a sample would be if they were spread evenly. */
int64_t cuts_even_ns(int64_t span_ns, uint32_t samples, uint32_t index);

#endif
