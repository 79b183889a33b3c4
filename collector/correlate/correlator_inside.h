/* What the correlator's files share. Must never be included elsewhere. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_CORRELATOR_INSIDE_H
#define ROOMWAKE_COLLECTOR_CORRELATE_CORRELATOR_INSIDE_H

#include "collector/correlate/chain.h"
#include "collector/correlate/correlator.h"
#include "collector/correlate/kept.h"
#include "collector/correlate/queue.h"
#include "collector/correlate/rates.h"
#include "collector/correlate/slides_book.h"
#include "collector/model/mark_book.h"

struct correlator {
    const struct site *site;
    struct correlator_sink sink;
    struct layout *layout;
    struct rates *rates;
    struct slides_book *slides;
    struct queue queue;
    struct entry *entries; /* all that are held by a cluster or have not ended */
    size_t closes_to_come; /* queue places kept free for them, so that a close can't fail */
    struct cluster **open; /* windows that are not over, in order of their first onset */
    size_t open_count;
    size_t open_size;
    struct chain_book book;
    struct mark_book marks; /* known by now */
    struct away *away;
    struct kept kept;        /* final ones */
    int64_t clock_sd_max_ns; /* the worst clock among the onsets so far */
    int64_t last_disturbance_id;
    int64_t last_coincidence_id;
    struct coincidence *told; /* large, so kept here */
};

/* correlator_marks.c. The marks as they stand: */
static inline const struct mark *const *correlator_marks_of(const struct correlator *correlator)
{
    return (const struct mark *const *)correlator->marks.marks;
}
/* Its members count in no rate while a mark covers it. */
void correlator_count_members(struct correlator *correlator, const struct coincidence *coincidence);
/* `mark` is taken over. */
int correlator_take_mark(struct correlator *correlator, struct mark *mark, struct error *error);
int correlator_take_spell(struct correlator *correlator, int64_t from_ns, struct error *error);

/* correlator_look.c. When a final one is judged a second time; 0: never. */
int64_t correlator_look_ns(const struct coincidence *coincidence, int64_t now_ns);
/* The one whose time has come. */
int correlator_look_again(struct correlator *correlator, struct error *error);

#endif
