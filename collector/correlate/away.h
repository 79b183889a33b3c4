/* When a node's onsets are not the building's own: while the team was about by its marks, and while
 * the node learns anew. Neither its onsets then nor that time count in any rate.
 * Must never hold a span that is not wholly known. Filled by correlator, asked by rates and slides.
 */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_AWAY_H
#define ROOMWAKE_COLLECTOR_CORRELATE_AWAY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/model/mark_book.h"
#include "common/error.h"
#include "common/site.h"

/* Nobody presses the button to the second: a mark reaches so far beyond its ends. Our choice. */
#define AWAY_GRACE_NS INT64_C(2000000000)

struct away_span {
    int64_t from_ns;
    int64_t to_ns; /* not before from_ns; INT64_MAX: it goes on */
};

/* One node's, apart from each other and in order of time. */
struct away_list {
    size_t count;
    size_t size;
    struct away_span *spans;
};

struct away;

int away_new(const struct site *site, struct away **away, struct error *error);
void away_free(struct away *away);

/* The spans anew, from the marks as they stand and the spells so far. After an error it holds less
 * than all: the caller gives up. */
int away_set_marks(struct away *away, const struct mark_book *marks, struct error *error);
/* All nodes learn anew from from_ns on; a node does until one of its quantities is watched again.
 * away_set_marks follows. */
int away_open_spell(struct away *away, int64_t from_ns, struct error *error);
void away_close_spell(struct away *away, uint32_t node, int64_t to_ns);

const struct away_list *away_of(const struct away *away, uint32_t node);
bool away_covers(const struct away_list *list, int64_t time_ns);
/* How much of [from_ns, until_ns) is covered. */
int64_t away_between(const struct away_list *list, int64_t from_ns, int64_t until_ns);

/* Time since from_ns less what is covered, and back: the moment at which so much had passed. */
int64_t away_to_live(const struct away_list *list, int64_t from_ns, int64_t time_ns);
int64_t away_from_live(const struct away_list *list, int64_t from_ns, int64_t live_ns);

#endif
