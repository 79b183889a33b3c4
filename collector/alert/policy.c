/* The rules of an alert, in the order in which they are asked.
 * Must never raise the same coincidence twice.
 * Called by the finding sink for every coincidence, early and final. */
#include "collector/alert/policy.h"

#include <math.h>
#include <string.h>

void alert_policy_init(struct alert_policy *policy, double limit_per_night)
{
    *policy = (struct alert_policy){.limit_per_night = limit_per_night};
}

static enum alert_decision judge(double limit_per_night, const struct coincidence *coincidence)
{
    if (coincidence->node_count < 2) {
        return ALERT_ALONE;
    }
    if (coincidence->mark_id != 0) {
        return ALERT_MARKED;
    }
    if (coincidence->verdict.cause != CAUSE_UNEXPLAINED) {
        return ALERT_CAUSE;
    }
    /* A rate that is no number is not below the limit. */
    return isfinite(coincidence->chance.per_night) &&
                   coincidence->chance.per_night < limit_per_night
               ? ALERT_RAISE
               : ALERT_LIKELY;
}

/* The place of an id among the open ones; open_count where it is not there. */
static size_t find_open(const struct alert_policy *policy, int64_t id)
{
    size_t at = 0;
    while (at < policy->open_count && policy->open_ids[at] != id) {
        at++;
    }
    return at;
}

static void forget_open(struct alert_policy *policy, size_t at)
{
    policy->open_count--;
    memmove(policy->open_ids + at, policy->open_ids + at + 1,
            (policy->open_count - at) * sizeof policy->open_ids[0]);
}

static void remember_open(struct alert_policy *policy, int64_t id)
{
    if (policy->open_count == ALERT_OPEN_MAX) {
        forget_open(policy, 0); /* the oldest: so many at once never stay open long */
    }
    policy->open_ids[policy->open_count++] = id;
}

enum alert_decision alert_policy_judge(struct alert_policy *policy, struct coincidence *coincidence)
{
    size_t at = find_open(policy, coincidence->id);
    bool raised_before = at < policy->open_count;
    enum alert_decision decision =
        raised_before ? ALERT_HELD : judge(policy->limit_per_night, coincidence);
    coincidence->alert = decision == ALERT_RAISE || decision == ALERT_HELD;
    if (raised_before && coincidence->final) {
        forget_open(policy, at);
    } else if (decision == ALERT_RAISE && !coincidence->final) {
        remember_open(policy, coincidence->id);
    }
    return decision;
}

const char *alert_decision_text(enum alert_decision decision)
{
    switch (decision) {
    case ALERT_RAISE:
        return "raised";
    case ALERT_HELD:
        return "raised before";
    case ALERT_MARKED:
        return "a mark covers it";
    case ALERT_CAUSE:
        return "an ordinary cause fits";
    case ALERT_ALONE:
        return "fewer than two nodes saw it";
    case ALERT_LIKELY:
        return "chance alone brings such ones too often";
    }
    return "not raised";
}
