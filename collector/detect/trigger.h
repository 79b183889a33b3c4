/* Something happened, and when it was over: one threshold up, a lower one down, and a hold.
 * Must never know what it watches: scores and times in, states out. Called by watch for a sample.
 */
#ifndef ROOMWAKE_COLLECTOR_DETECT_TRIGGER_H
#define ROOMWAKE_COLLECTOR_DETECT_TRIGGER_H

#include <stdint.h>

enum trigger_state {
    TRIGGER_LEARNING, /* the quiet spell: nothing is raised */
    TRIGGER_SETTLING, /* after a gap: the level is looked at anew */
    TRIGGER_QUIET,
    TRIGGER_UP,
    TRIGGER_ENDING, /* below the lower threshold, for less than the hold */
};

enum trigger_event {
    TRIGGER_NONE,
    TRIGGER_RAISED,
    TRIGGER_RETURNED,
};

struct trigger {
    enum trigger_state state;
    double high;
    double low;
    int64_t hold_ns;
    int64_t last_above_ns; /* last sample not below `low` */
    uint64_t above_low;    /* samples since raised */
    uint64_t above_high;
};

/* Raised by something other than a score. */
void trigger_raise(struct trigger *trigger, int64_t time_ns);
/* It has not returned after all. */
void trigger_hold_on(struct trigger *trigger, int64_t time_ns);
enum trigger_event trigger_step(struct trigger *trigger, int64_t time_ns, double score);

#endif
