/* One node's channels, grouped into detectors: three axes of one quantity and rate are one group,
 * every other channel is its own. Must never detect in battery or clock. Called by pipeline. */
#ifndef ROOMWAKE_COLLECTOR_PIPELINE_LANE_H
#define ROOMWAKE_COLLECTOR_PIPELINE_LANE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/detect/detector.h"
#include "collector/pipeline/lane_groups.h"
#include "common/block.h"
#include "common/channel.h"
#include "common/error.h"

struct lane;

/* `settings`, `channels` and *sink are copied; `orders` (NULL: never any) must outlive the lane and
 * may grow by what is later than all that was pushed or advanced to. */
int lane_new(const struct detector_settings *settings, uint32_t node,
             const struct channel *channels, size_t count, const struct lane_orders *orders,
             const struct lane_sink *sink, struct lane **lane, struct error *error);
void lane_free(struct lane *lane);

/* Whether these are the lane's own channels. */
bool lane_has_channels(const struct lane *lane, const struct channel *channels, size_t count);
/* ERROR_RANGE for a channel that there is not, or a time that does not rise. */
int lane_push(struct lane *lane, const struct block *block, struct error *error);
int lane_set_clock(struct lane *lane, int64_t time_ns, int64_t clock_sd_ns, struct error *error);
int lane_advance(struct lane *lane, int64_t until_ns, struct error *error);
int lane_finish(struct lane *lane, struct error *error);

/* How many of its quantities are still in their quiet spell. */
size_t lane_count_learning(const struct lane *lane);
/* Whether it has ever been advanced. */
bool lane_has_begun(const struct lane *lane);
/* Every disturbance with an onset before this has been told. */
int64_t lane_horizon_ns(const struct lane *lane);

#endif
