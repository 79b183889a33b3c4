/* The night as the page shows it: the latest lines in a bounded ring, each with an id, and how the
 * recording and each node stand. Must never wait for a reader nor grow with their number.
 * Fed by the session beside the terminal; read by stream.c. */
#ifndef ROOMWAKE_COLLECTOR_WEB_LIVE_H
#define ROOMWAKE_COLLECTOR_WEB_LIVE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/model/coincidence.h"
#include "common/block.h"
#include "common/error.h"
#include "common/message.h"
#include "common/site.h"
#include "common/text.h"

/* So many lines are kept; who missed more is told to begin again. */
#define WEB_LIVE_LINES 400u
/* And so many bundles of fresh samples: a few seconds. */
#define WEB_LIVE_FRESH 64u
/* A longer line is cut, and says so by "..." at its end. */
#define WEB_LIVE_TEXT_MAX 2000u

struct web_live;

/* `site` and `context` must outlive it. now_ns gives site time. */
int web_live_new(const struct site *site, int64_t (*now_ns)(void *context), void *context,
                 struct web_live **live, struct error *error);
void web_live_free(struct web_live *live);
/* Called after each change; NULL: nobody. */
void web_live_listen(struct web_live *live, void (*changed)(void *context), void *context);

/* What is told. NULL for `live` is allowed in all of them: a night without a page. The first takes
 * a struct web_live, so that it fits where lines are listened to. */
void web_live_line(void *live, int64_t time_ns, const char *head, const char *text);
void web_live_hello(struct web_live *live, uint32_t node);
void web_live_state(struct web_live *live, uint32_t node, const struct message_state *state);
void web_live_noticed(struct web_live *live, uint32_t node);
void web_live_waited_for(struct web_live *live, uint32_t node, bool waited_for);
void web_live_disk(struct web_live *live, const struct error *failure);
void web_live_broker(struct web_live *live, bool up, const char *why);
void web_live_end(struct web_live *live);
/* The night's start, from which the times in events count; before anything is told. */
void web_live_begin(struct web_live *live, int64_t base_ns);
/* Samples in site time, and disturbances as they begin and end: told to who reads now, not kept;
 * what is disturbed now is part of how all stands. */
void web_live_blocks(struct web_live *live, uint32_t node, const struct channel *channels,
                     const struct block *blocks, size_t count);
void web_live_disturbed(struct web_live *live, const struct disturbance *disturbance);
/* A finding as it is known now: an event like a line. */
void web_live_finding(struct web_live *live, const struct coincidence *coincidence);
/* How what the team does before and in the night stands (JSON): an event of its own without an id,
 * told when it changes and to whoever comes. */
void web_live_acts(struct web_live *live, const char *json);
int64_t web_live_base_ns(const struct web_live *live);
int64_t web_live_now_ns(const struct web_live *live);

/* The lines are numbered from 1; kept are those from web_live_first up to before web_live_next. */
uint64_t web_live_first(const struct web_live *live);
uint64_t web_live_next(const struct web_live *live);
/* The event of a line that is kept, as it goes over the wire. Valid until the next line. */
const struct text *web_live_event(const struct web_live *live, uint64_t number);
/* The number after the line whose id a reader has ("" or NULL: it has none, so the first). false:
 * what it missed is not kept any more, or the id is of another night. */
bool web_live_after(const struct web_live *live, const char *id, uint64_t *number);
/* Whether anybody reads; fresh samples are not put together for nobody. */
void web_live_watch(struct web_live *live, bool watched);
/* Bundles what came since the last flush into one event; events are numbered as lines are. */
void web_live_flush(struct web_live *live);
uint64_t web_live_fresh_first(const struct web_live *live);
uint64_t web_live_fresh_next(const struct web_live *live);
const struct text *web_live_fresh_event(const struct web_live *live, uint64_t number);
/* Changes whenever the event below says something new (but for how long ago a node was heard). */
uint64_t web_live_version(const struct web_live *live);
/* Appends how all stands now, as an event without an id. */
int web_live_standing(const struct web_live *live, struct text *out);
/* The same for the acts. */
uint64_t web_live_acts_version(const struct web_live *live);
void web_live_acts_event(const struct web_live *live, struct text *out);

#endif
