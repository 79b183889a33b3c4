/* Which coincidences are worth waking somebody for: chance below the limit, unexplained, two nodes,
 * no mark; each once. Pure. Must never compute chance nor change anything but the `alert` flag. */
#ifndef ROOMWAKE_COLLECTOR_ALERT_POLICY_H
#define ROOMWAKE_COLLECTOR_ALERT_POLICY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/model/coincidence.h"

#define ALERT_OPEN_MAX 256

/* Caller-owned; alert_policy_init. Holds the last ids that were raised: a mark may still come. */
struct alert_policy {
    double limit_per_night;
    size_t raised_count;
    int64_t raised_ids[ALERT_OPEN_MAX];
};

enum alert_decision {
    ALERT_RAISE,  /* now, for the first time */
    ALERT_HELD,   /* it was raised before, as the same coincidence */
    ALERT_MARKED, /* a mark covers it */
    ALERT_UNDONE, /* it was raised before a mark that covers it was known */
    ALERT_CAUSE,  /* an ordinary cause fits */
    ALERT_ALONE,  /* fewer than two nodes */
    ALERT_LIKELY, /* chance alone brings such ones too often, or the rate is not known */
};

void alert_policy_init(struct alert_policy *policy, double limit_per_night);
/* Judges an early or a final one, or one again, and sets coincidence->alert: true for RAISE and
 * HELD (what was raised stays so, whatever else is learnt of it, but for a mark). */
enum alert_decision alert_policy_judge(struct alert_policy *policy,
                                       struct coincidence *coincidence);
/* "chance alone brings such ones too often" ...; never NULL. */
const char *alert_decision_text(enum alert_decision decision);

#endif
