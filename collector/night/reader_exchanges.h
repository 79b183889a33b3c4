/* All exchanges with the time server that a night holds, boot by boot. Read-only.
 * Must never judge them: what can't be is sorted out by who uses them.
 * Used by the re-fit and by the crystals' steadiness. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_READER_EXCHANGES_H
#define ROOMWAKE_COLLECTOR_NIGHT_READER_EXCHANGES_H

#include "collector/night/reader.h"
#include "common/clock_fit.h"

/* As they were told: some several times, oldest first in each state. */
struct night_boot_exchanges {
    uint32_t node;
    uint64_t boot;
    struct clock_exchange *exchanges;
    size_t count;
    size_t size;
};

/* Caller-owned; start from {0}, free with night_exchanges_free, also after a failure. */
struct night_exchanges {
    struct night_boot_exchanges *boots;
    size_t count;
    size_t size;
};

int night_read_exchanges(struct night_reader *reader, size_t node_count,
                         struct night_exchanges *exchanges, struct error *error);
void night_exchanges_free(struct night_exchanges *exchanges);

#endif
