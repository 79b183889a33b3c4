/* The walk test over a night that is being recorded, look by look: a short quiet spell, then ticks
 * as the nodes see the team. Must never write into that night, nor be looked with on a loop: it
 * reads from disk. Used by the terminal (walk_run.c) and by the page (acts_before.c). */
#ifndef ROOMWAKE_COLLECTOR_RECORD_WALK_WATCH_H
#define ROOMWAKE_COLLECTOR_RECORD_WALK_WATCH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/preflight/walk.h"
#include "common/error.h"
#include "common/site.h"
#include "common/text.h"

struct walk_wishes {
    const struct site *site; /* outlives the watch */
    size_t room_count;
    size_t rooms[SITE_ROOMS_MAX]; /* the way, indices in the site */
    double quiet_s;               /* 0: what has been learnt is used */
    double limit_s;               /* then the walk is taken for over */
};

enum walk_stage { WALK_QUIET, WALK_WALKING, WALK_OVER };

struct walk_watch;

/* Refuses a way that is none, as walk_new does. Whoever makes it asks for the quiet spell of
 * quiet_s, at or after now_ns. */
int walk_watch_new(const struct walk_wishes *wishes, const char *night_path, int64_t now_ns,
                   struct walk_watch **watch, struct error *error);
/* NULL is allowed. */
void walk_watch_free(struct walk_watch *watch);

/* About twice a second until it is over. Errors are the night's. */
int walk_watch_look(struct walk_watch *watch, int64_t now_ns, struct error *error);

/* Between two looks, on any thread. */
enum walk_stage walk_watch_stage(const struct walk_watch *watch);
/* When the stage is over at the latest; of the quiet spell its stated end until that is past. */
int64_t walk_watch_until_ns(const struct walk_watch *watch);
bool walk_watch_learnt(const struct walk_watch *watch, uint32_t node);
const struct walk_node *walk_watch_node(const struct walk_watch *watch, uint32_t node);
/* What the team is to do now, or the outcome, in a sentence. */
void walk_watch_say(const struct walk_watch *watch, struct text *out);
/* Of a walk that is over: all seen, in the order walked; and the two orders in sentences. */
bool walk_watch_is_good(const struct walk_watch *watch);
void walk_watch_report(const struct walk_watch *watch, struct text *out);

#endif
