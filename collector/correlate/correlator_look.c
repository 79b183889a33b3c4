/* The second look at what was final and unexplained: a contact's first spike or one room's first
 * warm breath has a cause that shows only with what comes after it. Must never take back a cause,
 * nor change what was seen or its chance. Part of correlator.c, split by idea. */
#include "collector/correlate/correlator_inside.h"

#include "collector/correlate/cause.h"

/* So long after its last onset: as far as any cause looks ahead (heating). */
#define LOOK_AFTER_NS INT64_C(151000000000)

int64_t correlator_look_ns(const struct coincidence *coincidence, int64_t now_ns)
{
    const struct disturbance *last = &coincidence->members[coincidence->member_count - 1];
    int64_t look_ns = last->onset_ns + LOOK_AFTER_NS;
    return coincidence->verdict.ordinary == CAUSE_UNEXPLAINED && look_ns > now_ns ? look_ns : 0;
}

/* What still lasted when it was final is known whole by now. */
static void take_ends(const struct correlator *correlator, struct coincidence *coincidence)
{
    const struct disturbance *known[RECENT_MAX];
    const struct disturbance *last = &coincidence->members[coincidence->member_count - 1];
    size_t count = recent_between(rates_recent(correlator->rates), coincidence->start_ns,
                                  last->onset_ns, known);
    for (size_t i = 0; i < coincidence->member_count; i++) {
        for (size_t j = 0; j < count; j++) {
            if (known[j]->id == coincidence->members[i].id) {
                coincidence->members[i] = *known[j];
            }
        }
    }
}

int correlator_look_again(struct correlator *correlator, struct error *error)
{
    struct coincidence *told = correlator->told;
    size_t nth = kept_take_look(&correlator->kept);
    kept_get(&correlator->kept, nth, told);
    if (told->verdict.ordinary != CAUSE_UNEXPLAINED) {
        return 0;
    }
    take_ends(correlator, told);
    int64_t mark_id = told->mark_id;
    causes_judge(correlator->site, correlator_marks_of(correlator), correlator->marks.count,
                 correlator->rates, told);
    if (told->verdict.ordinary == CAUSE_UNEXPLAINED && told->mark_id == mark_id) {
        return 0;
    }
    told->again = true;
    if (kept_set(&correlator->kept, nth, told, error)) {
        return -1;
    }
    correlator_count_members(correlator, told);
    correlator->sink.coincidence(correlator->sink.context, told);
    return 0;
}
