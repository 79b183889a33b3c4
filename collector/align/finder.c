/* The stream through the low-pass into both detectors.
 * Must never copy the stream. Called by record/align. */
#include "collector/align/finder_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define TARGET_HZ 11025.0
#define KEEP_HZ 4200.0
#define TAPS_A_FACTOR 24
#define LANES 8
#define PI 3.14159265358979323846

struct finder {
    struct finder_lowpass lowpass;
    struct finder_matched *matched;
    struct finder_clap clap;
    struct finder_list lists[FINDER_KINDS];
};

void finder_list_add(struct finder_list *list, const struct finder_arrival *arrival, double apart_s)
{
    for (size_t i = 0; i < list->count; i++) {
        if (fabs(list->arrivals[i].time_s - arrival->time_s) < apart_s) {
            if (arrival->strength > list->arrivals[i].strength) {
                list->arrivals[i] = *arrival;
            }
            return;
        }
    }
    list->arrivals[list->count++] = *arrival;
    if (list->count > FINDER_KEPT) {
        size_t weakest = 0;
        for (size_t i = 1; i < list->count; i++) {
            weakest = list->arrivals[i].strength < list->arrivals[weakest].strength ? i : weakest;
        }
        list->arrivals[weakest] = list->arrivals[--list->count];
    }
}

static int by_time(const void *a, const void *b)
{
    double x = ((const struct finder_arrival *)a)->time_s;
    double y = ((const struct finder_arrival *)b)->time_s;
    return (x > y) - (x < y);
}

void finder_list_sort(struct finder_list *list)
{
    qsort(list->arrivals, list->count, sizeof *list->arrivals, by_time);
}

int finder_lowpass_init(struct finder_lowpass *lowpass, double rate_hz, struct error *error)
{
    memset(lowpass, 0, sizeof *lowpass);
    lowpass->factor = (size_t)fmax(1.0, floor(rate_hz / TARGET_HZ));
    lowpass->taps = TAPS_A_FACTOR * lowpass->factor;
    lowpass->coefficients = calloc(lowpass->taps, sizeof *lowpass->coefficients);
    lowpass->held = calloc(2 * lowpass->taps, sizeof *lowpass->held);
    if (!lowpass->coefficients || !lowpass->held) {
        return error_set(error, ERROR_MEMORY, "align: out of memory");
    }
    const double middle = 0.5 * (double)(lowpass->taps - 1);
    /* Halfway between what is kept and where the thinned stream's fold begins. */
    const double cut = 0.5 * (KEEP_HZ + rate_hz / (double)lowpass->factor - KEEP_HZ) / rate_hz;
    double sum = 0.0;
    for (size_t i = 0; i < lowpass->taps; i++) {
        double x = (double)i - middle;
        double sinc = x == 0.0 ? 2.0 * cut : sin(2.0 * PI * cut * x) / (PI * x);
        double window = 0.54 + 0.46 * cos(PI * x / (middle + 1.0));
        lowpass->coefficients[i] = (float)(sinc * window);
        sum += sinc * window;
    }
    for (size_t i = 0; i < lowpass->taps; i++) {
        lowpass->coefficients[i] = (float)((double)lowpass->coefficients[i] / sum);
    }
    lowpass->until_next = 1;
    lowpass->delay_s = middle / rate_hz;
    return 0;
}

void finder_lowpass_clear(struct finder_lowpass *lowpass)
{
    free(lowpass->coefficients);
    free(lowpass->held);
}

bool finder_lowpass_push(struct finder_lowpass *lowpass, float sample, float *out)
{
    const size_t taps = lowpass->taps;
    lowpass->held[lowpass->at] = sample;
    lowpass->held[lowpass->at + taps] = sample;
    lowpass->at = lowpass->at + 1 == taps ? 0 : lowpass->at + 1;
    if (--lowpass->until_next > 0) {
        return false;
    }
    lowpass->until_next = lowpass->factor;
    const float *window = lowpass->held + lowpass->at;
    float lanes[LANES] = {0.0F};
    for (size_t i = 0; i < taps;
         i += LANES) { /* taps is a multiple: side by side, as sums may be */
        for (size_t j = 0; j < LANES; j++) {
            lanes[j] += window[i + j] * lowpass->coefficients[i + j];
        }
    }
    *out = 0.0F;
    for (size_t j = 0; j < LANES; j++) {
        *out += lanes[j];
    }
    return true;
}

int finder_new(double rate_hz, struct finder **out, struct error *error)
{
    struct finder *finder = calloc(1, sizeof *finder);
    if (!finder) {
        return error_set(error, ERROR_MEMORY, "align: out of memory");
    }
    int result = finder_lowpass_init(&finder->lowpass, rate_hz, error);
    double thin_hz = rate_hz / (double)finder->lowpass.factor;
    if (result == 0) {
        finder_clap_init(&finder->clap, thin_hz, finder->lowpass.delay_s);
        result = finder_matched_new(thin_hz, finder->lowpass.delay_s, &finder->matched, error);
    }
    if (result != 0) {
        finder_free(finder);
        return -1;
    }
    *out = finder;
    return 0;
}

void finder_free(struct finder *finder)
{
    if (finder) {
        finder_lowpass_clear(&finder->lowpass);
        finder_matched_free(finder->matched);
        free(finder);
    }
}

void finder_push(struct finder *finder, const float *samples, size_t count)
{
    float thin = 0.0F;
    for (size_t i = 0; i < count; i++) {
        if (finder_lowpass_push(&finder->lowpass, samples[i], &thin)) {
            finder_matched_push(finder->matched, thin, &finder->lists[FINDER_CHIRP]);
            finder_clap_push(&finder->clap, thin, &finder->lists[FINDER_CLAP]);
        }
    }
}

void finder_finish(struct finder *finder)
{
    finder_matched_finish(finder->matched, &finder->lists[FINDER_CHIRP]);
    for (size_t i = 0; i < FINDER_KINDS; i++) {
        finder_list_sort(&finder->lists[i]);
    }
}

const struct finder_arrival *finder_arrivals(const struct finder *finder, enum finder_kind kind,
                                             size_t *count)
{
    *count = finder->lists[kind].count;
    return finder->lists[kind].arrivals;
}
