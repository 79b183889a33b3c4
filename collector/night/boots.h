/* Which boots of which nodes the night knows, and their channels, so that a frame can be checked
 * as it is put. Must never touch a database. Used by the writer's files under the writer's lock. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_BOOTS_H
#define ROOMWAKE_COLLECTOR_NIGHT_BOOTS_H

#include <stddef.h>
#include <stdint.h>

#include "common/channel.h"
#include "common/error.h"

struct boot {
    uint32_t node;
    uint64_t boot;
    size_t channel_count;
    struct channel channels[NODE_CHANNELS_MAX];
};

/* Start from {0}. A boot's id in the night is its place plus 1. */
struct boots {
    struct boot *list;
    size_t count;
    size_t size;
};

/* The boot's id, or 0 where it is not known. */
int64_t boots_find(const struct boots *boots, uint32_t node, uint64_t boot);
/* Adds a boot or lengthens its list of channels. *id is its id, *more how many channels are new.
 * ERROR_STATE where a channel that is known already would change: its stored counts would be read
 * wrongly. */
int boots_add(struct boots *boots, uint32_t node, uint64_t boot, const struct channel *channels,
              size_t count, int64_t *id, size_t *more, struct error *error);
void boots_free(struct boots *boots);

#endif
