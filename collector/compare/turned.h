/* Whether something comes back at the same clock time in several nights: the most nights that have
 * it within one window of the clock, against the same nights with their times turned round at
 * random. Must never take a night's own cluster for a repeat: a night counts once. Pure; used by
 * record/compare. */
#ifndef ROOMWAKE_COLLECTOR_COMPARE_TURNED_H
#define ROOMWAKE_COLLECTOR_COMPARE_TURNED_H

#include <stddef.h>
#include <stdint.h>

#include "common/error.h"

#define TURNED_NIGHTS_MAX 64
#define TURNED_DAY_S 86400.0
#define TURNED_TIMES 9999

struct turned_night {
    double start_clock_s;  /* since local midnight, when watching began */
    double length_s;       /* watched; above 0 */
    const double *after_s; /* each event, since watching began, 0 to length_s */
    size_t count;
};

struct turned_result {
    size_t nights;       /* most that have an event within one window; 0: no event at all */
    uint64_t which;      /* a bit a night */
    double from_clock_s; /* the first and the last event in it, since midnight */
    double to_clock_s;
    double p_value; /* sets of nights as good as this or better by chance; 1 where nights < 2 */
    size_t turns;   /* that were made */
};

/* Each turn moves all events of a night by one random amount round within what was watched, so that
 * what comes in rows within a night stays in rows, and a night's own hours stay its own. The most
 * over all windows is compared with the most over all windows: no clock time is picked. The p-value
 * is (1 + g) / (1 + TURNED_TIMES), or h / n where h = 50 as good were found in n turns (Besag and
 * Clifford 1991, Biometrika 78:301). window_s: above 0, below a day. ERROR_MEMORY, ERROR_RANGE. */
int turned_test(const struct turned_night *nights, size_t count, double window_s,
                struct turned_result *result, struct error *error);

#endif
