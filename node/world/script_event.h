/* One entry of a script's list of events. Part of script.c, split by idea.
 * Must never allocate. Called by script.c only. */
#ifndef ROOMWAKE_NODE_WORLD_SCRIPT_EVENT_H
#define ROOMWAKE_NODE_WORLD_SCRIPT_EVENT_H

#include <cjson/cJSON.h>

#include "common/error.h"
#include "common/site.h"
#include "node/world/event.h"

/* The wires that events may name. */
struct script_wires {
    size_t count;
    const struct script_wire *wires;
};

/* Reads one event; `path` names it ("events[3]"). */
int script_event_read(const cJSON *item, const char *path, const struct site *site,
                      const struct script_wires *wires, struct event *event, struct error *error);

/* object.field as three numbers within +-limit; `fallback` NULL: it must be there. */
int script_read_vector(const cJSON *object, const char *path, const char *field, double limit,
                       const double fallback[3], double out[3], struct error *error);
/* object.field as a wire's index. */
int script_read_wire(const cJSON *object, const char *path, const char *field,
                     const struct script_wires *wires, size_t *wire, struct error *error);

#endif
