/* A run of samples, axis by axis: its resolution, its flat tops, and on into the history.
 * Must never depend on how blocks were cut. Called by field.
 */
#include "collector/detect/field_take.h"

#include <math.h>
#include <string.h>

/* So many samples show a channel's resolution. */
#define QUANTUM_SAMPLES 4096u

/* The smallest difference among the last few samples says how finely the channel resolves: noise
 * can't be told below that. More than one back, since mains may swing widely from each to the next.
 */
static void learn_quantum(struct field *field, size_t a, double value)
{
    struct rail *rail = &field->rails[a];
    for (size_t k = 0; k < RAIL_RECENT; k++) {
        double change = fabs(value - rail->recent[k]);
        if (change > 0.0 && (field->quantum == 0.0 || change < field->quantum)) {
            field->quantum = change;
        }
    }
    rail->recent[field->samples_learnt % RAIL_RECENT] = value;
}

static void learn_resolution(struct field *field, const double *const values[], size_t from,
                             size_t n)
{
    for (size_t i = 0; i < n && field->samples_learnt < QUANTUM_SAMPLES; i++) {
        for (size_t a = 0; a < field->settings.axes; a++) {
            learn_quantum(field, a, values[a][from + i]);
        }
        field->samples_learnt++;
    }
}

/* Samples of the quiet spell among n, which come first. */
static size_t count_learning(const struct field *field, const int64_t *times, size_t n)
{
    if (times[n - 1] < field->learn_until_ns) {
        return n;
    }
    size_t count = 0;
    while (times[count] < field->learn_until_ns) {
        count++;
    }
    return count;
}

void field_check_rails(struct field *field, const int64_t *times, const double *const values[],
                       size_t from, size_t n, uint8_t clipped[])
{
    size_t learning = count_learning(field, times + from, n);
    learn_resolution(field, values, from, learning);
    memset(clipped, 0, n);
    for (size_t a = 0; a < field->settings.axes; a++) {
        struct rail *rail = &field->rails[a];
        rail_check(rail, values[a] + from, learning, true, clipped);
        rail_check(rail, values[a] + from + learning, n - learning, false, clipped + learning);
    }
}

void field_keep_rest(struct field *field, const int64_t *times, const double *const values[],
                     size_t from, size_t n, const uint8_t clipped[])
{
    struct history *history = &field->history;
    size_t slot = history->end & history->mask;
    memcpy(history->times + slot, times + from, n * sizeof *times);
    memcpy(history->clipped + slot, clipped, n);
    for (size_t a = 0; a < history->axes; a++) {
        double *rest = history->rest[a] + slot;
        for (size_t i = 0; i < n; i++) {
            rest[i] = values[a][from + i] - field->reference[a];
        }
    }
    edge_take_off(&field->edge, history->rest, history->axes, slot, n);
    history->end += n;
}
