/* Where alerts go: one small table of functions an outlet, one file each.
 * Must never hold an alert back from the others: an outlet that fails says so in the log. */
#ifndef ROOMWAKE_COLLECTOR_ALERT_OUTLET_H
#define ROOMWAKE_COLLECTOR_ALERT_OUTLET_H

#include <stddef.h>
#include <stdio.h>
#include <uv.h>

#include "collector/model/coincidence.h"
#include "common/error.h"
#include "common/site.h"

/* What an outlet gets; valid during the call. */
struct alert {
    const struct coincidence *coincidence;
    const char *line; /* the sentence, without a newline */
    const char *json; /* the `alert` message */
    size_t json_length;
};

struct outlet;

struct outlet_kind {
    const char *name;
    void (*raise)(struct outlet *outlet, const struct alert *alert);
    /* Asynchronous; calls outlet->on_closed when the memory may go. */
    void (*close)(struct outlet *outlet);
    void (*free)(struct outlet *outlet);
};

/* The head of every outlet. */
struct outlet {
    const struct outlet_kind *kind;
    void (*on_closed)(void *context);
    void *context;
};

void outlet_raise(struct outlet *outlet, const struct alert *alert);
/* on_closed may be called at once. Then outlet_free. NULL is allowed in both. */
void outlet_close(struct outlet *outlet, void (*on_closed)(void *context), void *context);
void outlet_free(struct outlet *outlet);

/* Prints the line and flushes. `stream` stays the caller's. */
int outlet_print_new(FILE *stream, struct outlet **outlet, struct error *error);
/* Runs `/bin/sh -c COMMAND` with the JSON on its standard input: at most 4 at once, each killed
 * after 30 s. */
#define OUTLET_COMMANDS_MAX 4
#define OUTLET_COMMAND_MS 30000
int outlet_command_new(uv_loop_t *loop, const char *command, struct outlet **outlet,
                       struct error *error);
/* Publishes to the site's `alert` topic through the function given, which returns -1 where that is
 * not possible now: then the newest alert waits for outlet_mqtt_up. */
typedef int (*outlet_publish)(void *context, const char *topic, const void *payload, size_t length);
int outlet_mqtt_new(const struct site *site, outlet_publish publish, void *context,
                    struct outlet **outlet, struct error *error);
/* The broker is there (again). */
void outlet_mqtt_up(struct outlet *outlet);

#endif
