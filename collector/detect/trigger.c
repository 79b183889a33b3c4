/* The states of a watched quantity: quiet spell, settling, quiet, up, ending.
 * Must never know what it watches: scores and times in, states out. Called by watch for a sample.
 */
#include "collector/detect/trigger.h"

static void count_above(struct trigger *trigger, int64_t time_ns, double score)
{
    trigger->last_above_ns = time_ns;
    trigger->above_low++;
    trigger->above_high += score >= trigger->high;
}

void trigger_raise(struct trigger *trigger, int64_t time_ns)
{
    trigger->state = TRIGGER_UP;
    trigger->above_low = 0;
    trigger->above_high = 0;
    trigger->last_above_ns = time_ns;
}

void trigger_hold_on(struct trigger *trigger, int64_t time_ns)
{
    trigger->state = TRIGGER_UP;
    trigger->last_above_ns = time_ns;
}

enum trigger_event trigger_step(struct trigger *trigger, int64_t time_ns, double score)
{
    switch (trigger->state) {
    case TRIGGER_LEARNING:
    case TRIGGER_SETTLING:
        return TRIGGER_NONE;
    case TRIGGER_QUIET:
        if (score < trigger->high) {
            return TRIGGER_NONE;
        }
        trigger->state = TRIGGER_UP;
        trigger->above_low = 0;
        trigger->above_high = 0;
        count_above(trigger, time_ns, score);
        return TRIGGER_RAISED;
    case TRIGGER_UP:
    case TRIGGER_ENDING:
        if (score >= trigger->low) {
            trigger->state = TRIGGER_UP;
            count_above(trigger, time_ns, score);
            return TRIGGER_NONE;
        }
        trigger->state = TRIGGER_ENDING;
        if (time_ns - trigger->last_above_ns < trigger->hold_ns) {
            return TRIGGER_NONE;
        }
        trigger->state = TRIGGER_QUIET;
        return TRIGGER_RETURNED;
    }
    return TRIGGER_NONE;
}
