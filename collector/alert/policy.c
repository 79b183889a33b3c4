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

static bool was_raised(const struct alert_policy *policy, int64_t id)
{
    for (size_t i = 0; i < policy->raised_count; i++) {
        if (policy->raised_ids[i] == id) {
            return true;
        }
    }
    return false;
}

static void remember(struct alert_policy *policy, int64_t id)
{
    if (policy->raised_count == ALERT_OPEN_MAX) {
        policy->raised_count--; /* the oldest goes */
        memmove(policy->raised_ids, policy->raised_ids + 1,
                policy->raised_count * sizeof policy->raised_ids[0]);
    }
    policy->raised_ids[policy->raised_count++] = id;
}

enum alert_decision alert_policy_judge(struct alert_policy *policy, struct coincidence *coincidence)
{
    bool raised_before = was_raised(policy, coincidence->id);
    enum alert_decision decision = judge(policy->limit_per_night, coincidence);
    if (raised_before) {
        decision = decision == ALERT_MARKED ? ALERT_UNDONE : ALERT_HELD;
    } else if (decision == ALERT_RAISE) {
        remember(policy, coincidence->id);
    }
    coincidence->alert = decision == ALERT_RAISE || decision == ALERT_HELD;
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
    case ALERT_UNDONE:
        return "raised before, but a mark covers it";
    case ALERT_CAUSE:
        return "an ordinary cause fits";
    case ALERT_ALONE:
        return "fewer than two nodes saw it";
    case ALERT_LIKELY:
        return "chance alone brings such ones too often";
    }
    return "not raised";
}
