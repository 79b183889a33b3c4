/* The last disturbances, whether they coincide or not: what else was going on.
 * Must never hold one that began later than the data time it is asked at. Filled by rates,
 * asked by the causes. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_RECENT_H
#define ROOMWAKE_COLLECTOR_CORRELATE_RECENT_H

#include <stddef.h>
#include <stdint.h>

#include "collector/model/disturbance.h"
#include "common/error.h"

#define RECENT_MAX 256

struct recent;

int recent_new(struct recent **recent, struct error *error);
void recent_free(struct recent *recent);

void recent_onset(struct recent *recent, const struct disturbance *disturbance);
/* Known by its id; nothing where it is forgotten already. */
void recent_end(struct recent *recent, const struct disturbance *disturbance);
/* Those with an onset in [from_ns, until_ns], the latest first, into room for RECENT_MAX. */
size_t recent_between(const struct recent *recent, int64_t from_ns, int64_t until_ns,
                      const struct disturbance **list);

#endif
