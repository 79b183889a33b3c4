/* Counts repeats of the highest and the lowest value seen.
 * Must never call a quiet sensor's usual repetition a flat top. Called by field.
 */
#include "collector/detect/rail.h"

#define RAIL_REPEATS_MIN 4u
_Static_assert(RAIL_REPEATS_MIN == 4u, "may_be_flat() compares four");

void rail_start(struct rail *rail, double value)
{
    *rail = (struct rail){.last = value, .highest = value, .lowest = value};
    for (unsigned k = 0; k < RAIL_RECENT; k++) {
        rail->recent[k] = value;
    }
}

static uint8_t check(struct rail *rail, double value, bool learning)
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

/* Whether a flat top could be among them: RAIL_REPEATS_MIN equal values in a row, or what began
 * before them. */
static bool may_be_flat(const struct rail *rail, const double *values, size_t n)
{
    bool flat = values[0] == rail->last;
    for (size_t i = RAIL_REPEATS_MIN - 1; i < n; i++) {
        flat |= (values[i] == values[i - 1]) & (values[i - 1] == values[i - 2]) &
                (values[i - 2] == values[i - 3]);
    }
    return flat;
}

/* What check() would leave behind, where none is a flat top. */
static void pass(struct rail *rail, const double *values, size_t n)
{
    double highest = rail->highest;
    double lowest = rail->lowest;
    for (size_t i = 0; i < n; i++) {
        highest = values[i] > highest ? values[i] : highest;
        lowest = values[i] < lowest ? values[i] : lowest;
    }
    rail->highest = highest;
    rail->lowest = lowest;
    rail->last = values[n - 1];
    rail->repeats = 1;
    while (rail->repeats < n && values[n - 1 - rail->repeats] == rail->last) {
        rail->repeats++;
    }
}

void rail_check(struct rail *rail, const double *values, size_t n, bool learning, uint8_t clipped[])
{
    if (n > 0 && !learning && !may_be_flat(rail, values, n)) {
        pass(rail, values, n);
        return;
    }
    for (size_t i = 0; i < n; i++) {
        clipped[i] |= check(rail, values[i], learning);
    }
}
