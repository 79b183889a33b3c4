/* Location and scale: the quiet spell's median length and block extremes, then slow following.
 * Must never learn from a disturbance, nor allocate once made. Called by watch.
 */
#include "collector/detect/baseline.h"

#include <stdlib.h>
#include <string.h>

#include "collector/detect/robust.h"

#define LENGTHS_MAX 16384u
#define CLIP_SIGMAS 3.0
/* d P(length > s * median) / d ln s at s = 1 is about this for one to three axes. */
#define RESTORING 0.43
/* While learning the scale follows this much faster: it only bounds a sample's influence then. */
#define LEARNING_HASTE 20.0
#define STEP_MOST 0.1

int baseline_init(struct baseline *baseline, const struct baseline_tuning *tuning)
{
    memset(baseline, 0, sizeof *baseline);
    baseline->tuning = *tuning;
    baseline->learning = true;
    baseline->memory.stride = 1;
    baseline->memory.lengths = malloc(LENGTHS_MAX * sizeof *baseline->memory.lengths);
    return baseline->memory.lengths ? 0 : -1;
}

void baseline_free(struct baseline *baseline)
{
    free(baseline->memory.lengths);
    baseline->memory.lengths = NULL;
}

void baseline_set_scale(struct baseline *baseline, double scale)
{
    baseline->scale = scale > baseline->scale_floor ? scale : baseline->scale_floor;
    double median = baseline->scale * vector_median_length(baseline->tuning.dims);
    baseline->median_squared = median * median;
    double clip = CLIP_SIGMAS * baseline->scale;
    baseline->clip_squared = clip * clip;
}

void baseline_move(struct baseline *baseline, const double location[])
{
    for (size_t a = 0; a < baseline->tuning.dims; a++) {
        baseline->location[a] = location[a];
        baseline->slope[a] = 0.0;
        baseline->sum[a] = 0.0;
    }
    baseline->count = 0;
    baseline->above = 0;
    baseline->batch_max_squared = 0.0;
}

void baseline_start(struct baseline *baseline, const double *const axes[], size_t n,
                    double *scratch)
{
    size_t dims = baseline->tuning.dims;
    double middle[VECTOR_AXES_MAX] = {0.0};
    vector_middle(axes, dims, n, scratch, middle);
    baseline_move(baseline, middle);
    for (size_t i = 0; i < n; i++) {
        double deviation[VECTOR_AXES_MAX] = {0.0};
        for (size_t a = 0; a < dims; a++) {
            deviation[a] = axes[a][i] - middle[a];
        }
        scratch[i] = vector_length(deviation, dims);
    }
    baseline_set_scale(baseline, robust_median(scratch, n) / vector_median_length(dims));
}

static void keep_length(struct baseline_memory *memory, double length)
{
    if (memory->skipped + 1 < memory->stride) {
        memory->skipped++;
        return;
    }
    memory->skipped = 0;
    if (memory->count == LENGTHS_MAX) {
        memory->count /= 2;
        for (size_t i = 0; i < memory->count; i++) {
            memory->lengths[i] = memory->lengths[2 * i + 1];
        }
        memory->stride *= 2;
    }
    memory->lengths[memory->count++] = (float)fmin(length, 1e38);
}

void baseline_learn(struct baseline *baseline, const double deviation[], double length_squared)
{
    keep_length(&baseline->memory, sqrt(length_squared));
    baseline_take(baseline, deviation, length_squared, baseline->tuning.dims);
}

static void end_block(struct baseline *baseline, double maximum)
{
    struct baseline_memory *memory = &baseline->memory;
    extremes_add(&memory->extremes, maximum);
    memory->block_fill = 0;
    memory->block_max_squared = 0.0;
}

/* While learning the scale is not known yet: maxima wait for it in the unit itself. */
static void keep_extreme(struct baseline *baseline)
{
    struct baseline_memory *memory = &baseline->memory;
    if (baseline->batch_max_squared > memory->block_max_squared) {
        memory->block_max_squared = baseline->batch_max_squared;
    }
    memory->block_fill += baseline->count;
    baseline->batch_max_squared = 0.0;
    if (memory->block_fill >= baseline->tuning.block_samples) {
        double unit = baseline->learning ? 1.0 : baseline->scale;
        end_block(baseline, sqrt(memory->block_max_squared) / unit);
    }
}

void baseline_spoil_block(struct baseline *baseline)
{
    end_block(baseline, INFINITY);
}

static float median_float(const float *values, size_t n)
{
    /* Halves the range of values until one is left: no copy, no recursion, exact to a float. */
    float low = values[0];
    float high = values[0];
    for (size_t i = 1; i < n; i++) {
        low = fminf(low, values[i]);
        high = fmaxf(high, values[i]);
    }
    for (int step = 0; step < 200 && low < high; step++) {
        float middle = low + 0.5f * (high - low);
        if (middle <= low || middle >= high) {
            break;
        }
        size_t below = 0;
        for (size_t i = 0; i < n; i++) {
            below += values[i] <= middle;
        }
        if (2 * below >= n) {
            high = middle;
        } else {
            low = middle;
        }
    }
    return high;
}

double baseline_learnt_scale(const struct baseline *baseline)
{
    const struct baseline_memory *memory = &baseline->memory;
    if (memory->count == 0) {
        return baseline->scale;
    }
    double median = (double)median_float(memory->lengths, memory->count);
    return fmax(median / vector_median_length(baseline->tuning.dims), baseline->scale_floor);
}

size_t baseline_finish_learning(struct baseline *baseline)
{
    struct baseline_memory *memory = &baseline->memory;
    baseline->learning = false;
    if (memory->count > 0) {
        baseline_set_scale(baseline, baseline_learnt_scale(baseline));
    }
    extremes_divide(&memory->extremes, baseline->scale);
    return memory->count;
}

static void move_location(struct baseline *baseline)
{
    const struct baseline_tuning *tuning = &baseline->tuning;
    double batch = (double)tuning->batch;
    double gain = batch < tuning->location_samples ? batch / tuning->location_samples : 1.0;
    for (size_t a = 0; a < tuning->dims; a++) {
        double mean = baseline->sum[a] / batch;
        baseline->sum[a] = 0.0;
        if (tuning->trend) {
            baseline->location[a] += 2.0 * gain * mean + baseline->slope[a] * batch;
            baseline->slope[a] += gain * gain * mean / batch;
        } else {
            baseline->location[a] += gain * mean;
        }
    }
}

/* A batch's part of a change of the scale. */
static double bounded(double step)
{
    return step > STEP_MOST ? STEP_MOST : (step < -STEP_MOST ? -STEP_MOST : step);
}

void baseline_follow(struct baseline *baseline)
{
    double batch = (double)baseline->tuning.batch;
    move_location(baseline);
    keep_extreme(baseline);
    /* As many lengths should lie above the median as below. */
    double surplus = 2.0 * (double)baseline->above - batch;
    double haste = baseline->learning ? LEARNING_HASTE : 1.0;
    double step = haste * surplus / (2.0 * RESTORING * baseline->tuning.scale_samples);
    baseline_set_scale(baseline, baseline->scale * (1.0 + bounded(step)));
    baseline->count = 0;
    baseline->above = 0;
}
