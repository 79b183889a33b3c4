/* The preflight over a night that is being recorded, look by look: which nodes are there, and at
 * the end go or no go for each. Must never write into that night, nor be looked with on a loop: it
 * reads from disk. Used by the terminal (preflight_run.c) and by the page (acts_before.c). */
#ifndef ROOMWAKE_COLLECTOR_RECORD_PREFLIGHT_WATCH_H
#define ROOMWAKE_COLLECTOR_RECORD_PREFLIGHT_WATCH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/preflight/preflight.h"
#include "common/error.h"
#include "common/site.h"
#include "common/text.h"

struct preflight_wishes {
    const struct site *site; /* outlives the watch */
    double night_s;          /* how long the night will be */
    double wait_s;           /* at most so long for the nodes */
    double look_s;           /* how much of each is looked at */
};

/* The base station's own end. */
struct preflight_base {
    bool go;
    char text[PREFLIGHT_LINE_SIZE];
};

struct preflight_watch;

int preflight_watch_new(const struct preflight_wishes *wishes, const char *night_path,
                        int64_t now_ns, struct preflight_watch **watch, struct error *error);
/* NULL is allowed. */
void preflight_watch_free(struct preflight_watch *watch);

/* About twice a second until it is over; the last look judges. Errors are the night's. */
int preflight_watch_look(struct preflight_watch *watch, int64_t now_ns, struct error *error);

/* Between two looks, on any thread. Reports and base are those of the judgement. */
bool preflight_watch_is_over(const struct preflight_watch *watch);
bool preflight_watch_is_go(const struct preflight_watch *watch);
/* When it will judge at the latest, as far as is known. */
int64_t preflight_watch_until_ns(const struct preflight_watch *watch);
bool preflight_watch_heard(const struct preflight_watch *watch, size_t node);
const struct preflight_report *preflight_watch_report(const struct preflight_watch *watch,
                                                      size_t node);
const struct preflight_base *preflight_watch_base(const struct preflight_watch *watch);
/* How it stands, or the outcome, in a sentence. */
void preflight_watch_say(const struct preflight_watch *watch, struct text *out);

#endif
