/* Which boots of which nodes the night knows, and their channels.
 * Must never touch a database. Called by the writer's files. */
#include "collector/night/boots.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

int64_t boots_find(const struct boots *boots, uint32_t node, uint64_t boot)
{
    for (size_t i = boots->count; i-- > 0;) { /* the newest are asked for most */
        if (boots->list[i].node == node && boots->list[i].boot == boot) {
            return (int64_t)i + 1;
        }
    }
    return 0;
}

static bool same_decimal(struct decimal a, struct decimal b)
{
    a = decimal_normal(a);
    b = decimal_normal(b);
    return a.mantissa == b.mantissa && a.exponent == b.exponent;
}

static bool same_channel(const struct channel *a, const struct channel *b)
{
    return strcmp(a->name, b->name) == 0 && strcmp(a->unit, b->unit) == 0 &&
           same_decimal(a->step, b->step) && same_decimal(a->offset, b->offset) &&
           a->least == b->least && a->most == b->most &&
           calibration_same(&a->calibration, &b->calibration);
}

static struct boot *new_boot(struct boots *boots, uint32_t node, uint64_t boot)
{
    if (boots->count == boots->size) {
        size_t size = boots->size ? 2 * boots->size : 8;
        struct boot *list = realloc(boots->list, size * sizeof *list);
        if (!list) {
            return NULL;
        }
        boots->list = list;
        boots->size = size;
    }
    struct boot *added = &boots->list[boots->count++];
    *added = (struct boot){.node = node, .boot = boot};
    return added;
}

int boots_add(struct boots *boots, uint32_t node, uint64_t boot, const struct channel *channels,
              size_t count, int64_t *id, size_t *more, struct error *error)
{
    if (count > NODE_CHANNELS_MAX) {
        return error_set(error, ERROR_RANGE, "night: %zu channels where %d is the most", count,
                         NODE_CHANNELS_MAX);
    }
    *id = boots_find(boots, node, boot);
    struct boot *found = *id != 0 ? &boots->list[*id - 1] : new_boot(boots, node, boot);
    if (!found) {
        return error_set(error, ERROR_MEMORY, "night: out of memory");
    }
    *id = found - boots->list + 1;
    for (size_t i = 0; i < count && i < found->channel_count; i++) {
        if (!same_channel(&channels[i], &found->channels[i])) {
            return error_set(error, ERROR_STATE,
                             "night: channel %s differs from what this boot told before",
                             channels[i].name);
        }
    }
    *more = 0;
    for (size_t i = found->channel_count; i < count; i++, ++*more) {
        found->channels[i] = channels[i];
    }
    found->channel_count += *more;
    return 0;
}

void boots_free(struct boots *boots)
{
    free(boots->list);
    *boots = (struct boots){0};
}
