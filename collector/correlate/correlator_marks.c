/* What marks and quiet spells by hand change in the correlator: covers, rates, and what earlier
 * coincidences are called. Must never change what was seen. Part of correlator.c, split by idea. */
#include "collector/correlate/correlator_inside.h"

#include <stdlib.h>

#include "collector/correlate/cause.h"

int correlator_mark(struct correlator *correlator, const struct mark *mark, struct error *error)
{
    struct event event = {.time_ns = mark->noted_ns, .kind = EVENT_MARK};
    event.of.mark = malloc(sizeof *event.of.mark);
    if (!event.of.mark) {
        return error_set(error, ERROR_MEMORY, "correlator: out of memory for a mark");
    }
    *event.of.mark = *mark;
    if (queue_reserve(&correlator->queue, correlator->closes_to_come + 1, error)) {
        free(event.of.mark);
        return -1;
    }
    return queue_push(&correlator->queue, &event, error);
}

int correlator_spell(struct correlator *correlator, int64_t from_ns, struct error *error)
{
    struct event event = {.time_ns = from_ns, .kind = EVENT_SPELL};
    if (queue_reserve(&correlator->queue, correlator->closes_to_come + 1, error)) {
        return -1;
    }
    return queue_push(&correlator->queue, &event, error);
}

void correlator_count_members(struct correlator *correlator, const struct coincidence *coincidence)
{
    for (size_t i = 0; i < coincidence->member_count; i++) {
        rates_set_marked(correlator->rates, &coincidence->members[i], coincidence->mark_id != 0);
    }
}

/* A mark that comes late, or is corrected, changes what earlier coincidences are called; never what
 * was seen, nor the chance that it was given. */
static int look_back(struct correlator *correlator, struct error *error)
{
    for (size_t i = 0; i < correlator->kept.count; i++) {
        struct coincidence *told = correlator->told;
        kept_get(&correlator->kept, i, told);
        if (!causes_mark(correlator->site, correlator_marks_of(correlator), correlator->marks.count,
                         told)) {
            continue;
        }
        told->again = true;
        if (kept_set(&correlator->kept, i, told, error)) {
            return -1;
        }
        correlator_count_members(correlator, told);
        correlator->sink.coincidence(correlator->sink.context, told);
    }
    return 0;
}

int correlator_take_mark(struct correlator *correlator, struct mark *mark, struct error *error)
{
    int status = mark_book_take(&correlator->marks, mark, error);
    free(mark);
    if (status || away_set_marks(correlator->away, &correlator->marks, error)) {
        return error_wrap(error, "correlator");
    }
    rates_recount(correlator->rates);
    return look_back(correlator, error);
}

int correlator_take_spell(struct correlator *correlator, int64_t from_ns, struct error *error)
{
    if (away_open_spell(correlator->away, from_ns, error) ||
        away_set_marks(correlator->away, &correlator->marks, error)) {
        return -1;
    }
    rates_recount(correlator->rates);
    return 0;
}
