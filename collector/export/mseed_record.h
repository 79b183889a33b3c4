/* One stretch of samples as miniSEED 2 records of 512 bytes, packed by the miniSEED library.
 * Must never round a count. Used by mseed.c. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_MSEED_RECORD_H
#define ROOMWAKE_COLLECTOR_EXPORT_MSEED_RECORD_H

#include <stdio.h>

#include "common/block.h"
#include "common/error.h"
#include "common/seed_code.h"

#define MSEED_RECORD_SIZE 512

struct mseed_stream {
    char station[SEED_STATION_SIZE];
    char channel[SEED_CHANNEL_SIZE];
    char location[3];
    double rate_hz;        /* 0: told when it changes */
    bool clock_known;      /* timing quality 100, else 0 */
    struct seed_note note; /* names and scale; the times are filled in */
};

/* The block's samples from `first` to before `last`. Evenly timed counts go as Steim-2 (as plain
 * 32-bit integers where a difference needs more than Steim-2's 30 bits); what has times of its own
 * as one record a sample; decimals as doubles where 15 digits say them, else as text. */
int mseed_write_block(FILE *out, const struct mseed_stream *stream, const struct block *block,
                      uint32_t first, uint32_t last, struct error *error);

#endif
