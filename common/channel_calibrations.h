/* A calibration file: what was found of one node's channels, as `roomwake calibrate` writes it and
 * a node's config names it. Must never apply itself: see channel_calibrate. */
#ifndef ROOMWAKE_COMMON_CHANNEL_CALIBRATIONS_H
#define ROOMWAKE_COMMON_CHANNEL_CALIBRATIONS_H

#include "common/channel.h"

#define CHANNEL_CALIBRATIONS_MAX (256u * 1024u)

/* {"format":"roomwake-calibration","version":1,"node":"n1",
 *  "channels":[{"name":"magnetic.x","unit":"T","calibration":{...}}]} */
struct channel_calibrations {
    char node[IDENT_SIZE];
    size_t count;
    struct {
        char name[CHANNEL_NAME_SIZE];
        char unit[UNIT_SIZE];
        struct calibration calibration;
    } channels[NODE_CHANNELS_MAX];
};

/* ERROR_NOT_FOUND where there is no such file; other errors name the path and the field. */
int channel_calibrations_load(const char *path, struct channel_calibrations *file,
                              struct error *error);
int channel_calibrations_parse(const char *text, size_t length, const char *name,
                               struct channel_calibrations *file, struct error *error);
/* Written beside and renamed, so that it is whole or not there. */
int channel_calibrations_save(const char *path, const struct channel_calibrations *file,
                              struct error *error);
/* The channel's calibration, or NULL. */
const struct calibration *channel_calibrations_find(const struct channel_calibrations *file,
                                                    const char *channel);
/* Adds the channel or takes the place of what it has; ERROR_RANGE where there are too many. */
int channel_calibrations_put(struct channel_calibrations *file, const char *channel,
                             const char *unit, const struct calibration *calibration,
                             struct error *error);
/* Each channel that it names must be there. */
int channel_calibrations_check(const struct channel_calibrations *file,
                               const struct channel *channels, size_t count, struct error *error);
/* Calibrates those of the channels that it names; ERROR_STATE where one's unit is another. */
int channel_calibrations_apply(const struct channel_calibrations *file, struct channel *channels,
                               size_t count, struct error *error);

#endif
