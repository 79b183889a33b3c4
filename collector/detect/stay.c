/* Means of parts compared with the first one's: steady as long as they agree.
 * Must never be told a sample twice. Called by watch while a disturbance lasts.
 */
#include "collector/detect/stay.h"

#include <math.h>
#include <string.h>

void stay_restart(struct stay *stay, size_t dims, uint32_t part_samples)
{
    memset(stay, 0, sizeof *stay);
    stay->dims = dims;
    stay->part_samples = part_samples;
}

/* The part that has just been completed begins a stretch of its own. */
static void begin_stretch(struct stay *stay)
{
    stay->parts = 1;
    stay->start_ns = stay->part_start_ns;
    stay->squares = stay->part_squares;
    for (size_t a = 0; a < stay->dims; a++) {
        stay->first[a] = stay->part_sum[a] / stay->part_samples;
        stay->sum[a] = stay->part_sum[a];
    }
}

static bool complete_part(struct stay *stay, double tolerance)
{
    double apart[VECTOR_AXES_MAX] = {0.0};
    for (size_t a = 0; a < stay->dims; a++) {
        apart[a] = stay->part_sum[a] / stay->part_samples - stay->first[a];
    }
    bool steady = stay->parts > 0 && vector_length(apart, stay->dims) <= tolerance;
    if (steady) {
        stay->parts++;
        stay->squares += stay->part_squares;
        for (size_t a = 0; a < stay->dims; a++) {
            stay->sum[a] += stay->part_sum[a];
        }
    } else {
        begin_stretch(stay);
    }
    stay->fill = 0;
    stay->part_squares = 0.0;
    memset(stay->part_sum, 0, sizeof stay->part_sum);
    return steady;
}

bool stay_take(struct stay *stay, int64_t time_ns, const double sample[], double tolerance)
{
    if (stay->fill == 0) {
        stay->part_start_ns = time_ns;
        if (stay->parts == 0) {
            memcpy(stay->origin, sample, stay->dims * sizeof *sample);
        }
    }
    for (size_t a = 0; a < stay->dims; a++) {
        double off = sample[a] - stay->origin[a];
        stay->part_sum[a] += off;
        stay->part_squares += off * off;
    }
    stay->fill++;
    return stay->fill == stay->part_samples && complete_part(stay, tolerance);
}

double stay_level(const struct stay *stay, double level[VECTOR_AXES_MAX])
{
    double n = (double)stay->parts * stay->part_samples;
    double variance = stay->squares / n;
    for (size_t a = 0; a < stay->dims; a++) {
        double mean = stay->sum[a] / n;
        variance -= mean * mean;
        level[a] = stay->origin[a] + mean;
    }
    return sqrt(fmax(variance, 0.0) / (double)stay->dims);
}
