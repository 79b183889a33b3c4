/* Calibrations for a recording, which never carries its own: from files that its values are still
 * to be put through, or from the findings of the night that it came from, whose values have them
 * already. Must never be applied twice. Must never be included outside import*.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_IMPORT_CALIBRATIONS_H
#define ROOMWAKE_COLLECTOR_RECORD_IMPORT_CALIBRATIONS_H

#include <cjson/cJSON.h>

#include "collector/record/import.h"
#include "common/block.h"
#include "common/channel_calibrations.h"

/* Caller-owned; start from {0}. */
struct import_calibrations {
    struct import_calibrated *nodes; /* one a node of the site */
    struct block *blocks;            /* that were put through, and their values */
    struct decimal *values;
};

/* `findings`: the JSON export of the night that it came from; NULL where there is none. */
int import_calibrations_read(const struct import_source *source, const cJSON *findings,
                             const struct site *site, struct import_calibrations *out,
                             struct error *error);
void import_calibrations_free(struct import_calibrations *calibrations);

/* Describes the node's channels as calibrated; each channel that a file names must be there. */
int import_calibrations_channels(const struct import_calibrations *calibrations, uint32_t node,
                                 struct channel *channels, size_t count, struct error *error);
/* What is not held in counts is put through here. *out are the blocks as they are, or copies that
 * hold until the next call; `channels` are the recording's own. */
int import_calibrations_blocks(struct import_calibrations *calibrations, uint32_t node,
                               const struct channel *channels, const struct block *blocks,
                               size_t count, const struct block **out, struct error *error);

#endif
