/* libebur128's momentary loudness beside the peak of each tenth of a second.
 * Must never gate: a quiet room is what the night is about. Called by record/align. */
#include "collector/align/level.h"

/* Its header calls an enum "error", as ours calls a struct. */
#define error ebur128_error
#include <ebur128.h>
#undef error
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

struct level {
    ebur128_state *loudness;
    double rate_hz;
    size_t channels;
    size_t told;  /* tenths so far */
    size_t taken; /* samples so far */
    size_t until; /* the sample at which the next tenth ends */
    float peak;
    level_told on_tenth;
    void *context;
};

static size_t end_of_tenth(const struct level *level, size_t nth)
{
    return (size_t)llround((double)(nth + 1) * level->rate_hz / LEVEL_RATE_HZ);
}

/* More than two: the library would take them for those of a cinema, some weighted, some left out.
 */
static bool weigh_alike(ebur128_state *loudness, size_t channels)
{
    bool set = true;
    for (unsigned i = 0; channels > 2 && i < channels; i++) {
        set = ebur128_set_channel(loudness, i, EBUR128_LEFT) == EBUR128_SUCCESS && set;
    }
    return set;
}

int level_new(double rate_hz, size_t channels, level_told told, void *context, struct level **out,
              struct error *error)
{
    struct level *level = calloc(1, sizeof *level);
    if (level) {
        level->loudness = ebur128_init((unsigned)channels, (unsigned long)rate_hz, EBUR128_MODE_M);
    }
    if (!level || !level->loudness || !weigh_alike(level->loudness, channels)) {
        level_free(level);
        return error_set(error, ERROR_MEMORY, "align: out of memory");
    }
    level->channels = channels;
    level->rate_hz = rate_hz;
    level->on_tenth = told;
    level->context = context;
    level->until = end_of_tenth(level, 0);
    *out = level;
    return 0;
}

void level_free(struct level *level)
{
    if (level) {
        if (level->loudness) {
            ebur128_destroy(&level->loudness);
        }
        free(level);
    }
}

static int tell(struct level *level, struct error *error)
{
    double loudness = -INFINITY;
    if (ebur128_loudness_momentary(level->loudness, &loudness) != EBUR128_SUCCESS) {
        return error_set(error, ERROR_MEMORY, "align: loudness can't be had");
    }
    double own_s = (double)level->until / level->rate_hz;
    double peak = 20.0 * log10(fmax((double)level->peak, 1e-12));
    level->peak = 0.0F;
    level->until = end_of_tenth(level, ++level->told);
    return level->on_tenth(level->context, own_s, fmax(loudness, LEVEL_FLOOR_DB),
                           fmax(peak, LEVEL_FLOOR_DB), error);
}

int level_push(struct level *level, const float *samples, size_t count, struct error *error)
{
    while (count > 0) {
        size_t part = level->until - level->taken;
        part = part < count ? part : count;
        if (ebur128_add_frames_float(level->loudness, samples, part) != EBUR128_SUCCESS) {
            return error_set(error, ERROR_MEMORY, "align: loudness can't be had");
        }
        for (size_t i = 0; i < part * level->channels; i++) {
            level->peak = fmaxf(level->peak, fabsf(samples[i]));
        }
        samples += part * level->channels;
        count -= part;
        level->taken += part;
        if (level->taken == level->until && tell(level, error) != 0) {
            return -1;
        }
    }
    return 0;
}
