/* Names in words: rooms, causes; and how far apart the nodes were. Private to collector/alert.
 * Must never leave a name empty. */
#ifndef ROOMWAKE_COLLECTOR_ALERT_WORDS_H
#define ROOMWAKE_COLLECTOR_ALERT_WORDS_H

#include "collector/model/coincidence.h"
#include "common/site.h"

/* The room's title, or its id where it has none. */
const char *words_room(const struct site *site, size_t room);
const char *words_node_room(const struct site *site, uint32_t node);
/* "mains switching", "the team itself" ...; never NULL. */
const char *words_cause(enum cause_kind cause);
/* Last onset minus first among the nodes. */
int64_t words_spread_ns(const struct coincidence *coincidence);

#endif
