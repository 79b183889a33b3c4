/* Counts repeats of the highest and the lowest value seen.
 * Must never call a quiet sensor's usual repetition a flat top. Called by field for each sample.
 */
#include "collector/detect/rail.h"

#define RAIL_REPEATS_MIN 4u

void rail_start(struct rail *rail, double value)
{
    *rail = (struct rail){.last = value, .highest = value, .lowest = value};
    for (unsigned k = 0; k < RAIL_RECENT; k++) {
        rail->recent[k] = value;
    }
}

uint8_t rail_check(struct rail *rail, double value, bool learning)
{
    rail->repeats = value == rail->last ? rail->repeats + 1 : 1;
    rail->last = value;
    rail->highest = value > rail->highest ? value : rail->highest;
    rail->lowest = value < rail->lowest ? value : rail->lowest;
    if (learning) {
        rail->usual_repeats =
            rail->repeats > rail->usual_repeats ? rail->repeats : rail->usual_repeats;
        return 0;
    }
    return rail->repeats >= RAIL_REPEATS_MIN && rail->repeats > 2 * rail->usual_repeats &&
           (value == rail->highest || value == rail->lowest);
}
