/* A disturbance's features: step, mains, shape, repetition, what it leaves behind, its ticking.
 * Must never look at samples before the present run. Called by watch_event.
 */
#include "collector/detect/watch.h"

#include <math.h>

#include "collector/detect/repeat.h"

#define RISEN_PART 0.9
#define HALF_PART 0.5
/* Onsets tick where their spacings agree to this part, or to this much. */
#define EVEN_PART 0.1
#define EVEN_S 0.05
#define TICKS_MIN 3

static const struct history *history_of(const struct watch *watch)
{
    return watch->settings.history;
}

/* Mean of samples [from, to] on axis `a`. */
static double mean_over(const struct watch *watch, size_t a, uint64_t from, uint64_t to)
{
    double sum = 0.0;
    for (uint64_t i = from; i <= to; i++) {
        sum += watch->series[a][i & history_of(watch)->mask];
    }
    return sum / (double)(to - from + 1);
}

static void measure_step(struct watch *watch, uint64_t last)
{
    int64_t onset_ns = watch->open.onset_ns;
    int64_t settle_ns = watch->settings.pace.settle_ns;
    uint64_t late = watch_index_from(watch, last, onset_ns + settle_ns - settle_ns / 4);
    late = late < watch->onset ? watch->onset : late;
    uint64_t early = watch_index_from(watch, watch->onset, onset_ns - settle_ns);
    double step[VECTOR_AXES_MAX] = {0.0};
    for (size_t a = 0; a < watch->dims; a++) {
        double before = early < watch->onset ? mean_over(watch, a, early, watch->onset - 1)
                                             : watch->baseline.location[a];
        step[a] = mean_over(watch, a, late, last) - before;
    }
    watch->open.settle_step = watch->dims == 1 ? step[0] : vector_length(step, watch->dims);
}

static void measure_mains(struct watch *watch, uint64_t last)
{
    const double *amplitude = history_of(watch)->amplitude;
    size_t mask = history_of(watch)->mask;
    if (!amplitude) {
        return;
    }
    uint64_t before = watch->onset > watch->run_start ? watch->onset - 1 : watch->onset;
    watch->open.mains_before = amplitude[before & mask];
    watch->open.mains_after = amplitude[last & mask];
}

static void measure_shape(struct watch *watch)
{
    double peak = watch->open.peak_score;
    int64_t risen_ns = shape_reached_ns(&watch->shape, RISEN_PART * peak);
    double rise_s = (double)(risen_ns - watch->open.onset_ns) * 1e-9;
    watch->open.rise_s = risen_ns != 0 ? fmax(rise_s, 0.0) : 0.0;
    watch->open.half_s = (double)shape_count_above(&watch->shape, HALF_PART * peak) *
                         (double)watch->settings.pace.period_ns * 1e-9;
    struct turn_found turn = turn_find(&watch->turn, watch->baseline.scale, watch->noise_slow);
    bool turns = watch->dims == VECTOR_AXES_MAX;
    watch->open.along_score = turns ? turn.along : 0.0;
    watch->open.across_score = turns ? turn.across : 0.0;
    watch->open.across_least = turns ? turn.least : 0.0;
    watch->open.alike = turn.alike;
}

/* Only over what belongs to it: not the quiet that shows its end. */
static void measure_repeat(struct watch *watch, uint64_t last)
{
    size_t mask = history_of(watch)->mask;
    uint64_t first = watch_index_from(watch, last, watch->open.onset_ns);
    uint64_t past = watch_index_from(watch, last, watch->trigger.last_above_ns + 1);
    if (watch->settings.name != BAND_REST || watch->settings.pace.slow || past <= first) {
        return;
    }
    size_t n = (size_t)(past - first);
    n = n < REPEAT_SAMPLES_MAX ? n : REPEAT_SAMPLES_MAX;
    for (size_t a = 0; a < watch->dims; a++) {
        for (size_t k = 0; k < n; k++) {
            watch->scratch[a][k] = watch->series[a][(first + k) & mask];
        }
    }
    watch->open.repeat_hz =
        repeat_find(watch->scratch, watch->dims, n, 1e9 / (double)watch->settings.pace.period_ns,
                    watch->settings.mains_hz);
}

void watch_measure_repeat(struct watch *watch, uint64_t last)
{
    measure_repeat(watch, last);
    watch->repeat_measured = true;
}

void watch_measure_settled(struct watch *watch, uint64_t last)
{
    measure_step(watch, last);
    measure_mains(watch, last);
    measure_shape(watch);
    measure_repeat(watch, last);
    watch->open.settle_peak_score = watch->open.peak_score;
    watch->open.one_sample = watch->trigger.above_low == 1;
}

void watch_measure_end(struct watch *watch, int64_t end_ns)
{
    uint64_t last = history_of(watch)->end - 1;
    uint64_t from = watch_index_from(watch, last, end_ns + 1);
    double left[VECTOR_AXES_MAX] = {0.0};
    from = from < last ? from : last;
    for (size_t a = 0; a < watch->dims; a++) {
        left[a] = mean_over(watch, a, from, last) - watch->baseline.location[a];
        if (watch->dims == VECTOR_AXES_MAX) {
            watch->open.left_axes[a] = left[a];
        }
    }
    watch->open.left_value = watch->dims == 1 ? left[0] : vector_length(left, watch->dims);
    measure_shape(watch);
    if (!watch->repeat_measured) {
        watch_measure_repeat(watch, last);
    }
    watch->open.one_sample = watch->trigger.above_low == 1;
}

void watch_count_ticks(struct watch *watch)
{
    struct watch_ticks *ticks = &watch->ticks;
    int64_t onset_ns = watch->open.onset_ns;
    double since_s = (double)(onset_ns - ticks->last_ns) * 1e-9;
    if (ticks->count == 0) {
        ticks->count = 1;
    } else {
        double off = fabs(since_s - ticks->spacing_s);
        bool even = ticks->count > 1 && off <= fmax(EVEN_PART * ticks->spacing_s, EVEN_S);
        ticks->count = even ? ticks->count + 1 : 2;
        double gaps = (double)(ticks->count - 1);
        ticks->spacing_s = even ? ticks->spacing_s + (since_s - ticks->spacing_s) / gaps : since_s;
        watch->open.previous_s = since_s;
    }
    ticks->last_ns = onset_ns;
    if (ticks->count >= TICKS_MIN) {
        watch->open.ticks = ticks->count;
        watch->open.tick_s = ticks->spacing_s;
    }
}
