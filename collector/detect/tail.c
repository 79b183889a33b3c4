/* The noise model's maxima, and the choice between them and a fitted tail.
 * Must never give an infinite or a zero threshold. Called by watch_threshold.
 */
#include "collector/detect/tail.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "collector/detect/vector.h"

/* The shape that maxima of normal noise of some hundred samples show (-1/z^2 at z = 3.5). */
#define NORMAL_SHAPE (-0.08)
#define NORMAL_SHAPE_SD 0.05
#define FITTED_SHAPE_SD 0.1
/* A maximum this many times the fitted level is no noise. */
#define FAR_BEYOND 1.5
/* The largest tenth of the maxima may be disturbances that fell into the quiet spell. */
#define CENSORED_PART 10u
/* 99 % of chi-squared with two degrees of freedom: the fitted tail has two parameters more. */
#define REJECT_NORMAL 9.21
#define SMOOTH_FROM 1.6
/* How seldom noise may prolong a disturbance, and how far below the threshold that leads. */
#define PROLONGED_PART 0.02
#define RELEASE_MIN 0.75
#define RELEASE_MAX 0.95
#define THRESHOLD_MIN 3.0
#define THRESHOLD_MAX 1000.0
/* A fitted level is uncertain, and over that uncertainty the rate is higher on average than at the
 * best fit; so much less is asked (found on simulated nights). */
#define FITTED_PART 0.4
/* Where the tail is bounded, keep this far above the largest ordinary maximum. */
#define ABOVE_SEEN 1.15

/* Expected exceedances of z by one independent noise vector, and minus its derivative. Where
 * neighbours are alike (smooth), a high level is crossed by shorter stretches and so more often for
 * the time spent above it: by z^2 more (Pickands' constant case alpha = 1; from memory). */
static double normal_rate(double z, size_t dims, bool smooth, double *slope)
{
    double beyond = fmin(vector_exceedance(z, dims), 1.0 - 1e-15);
    double rate = -log1p(-beyond);
    *slope = exp(vector_log_density(z, dims)) / (1.0 - beyond);
    if (smooth && z > SMOOTH_FROM) {
        double more = z * z / (SMOOTH_FROM * SMOOTH_FROM);
        *slope = fmax(*slope * more - 2.0 * rate * more / z, 1e-3 * *slope);
        rate *= more;
    }
    return rate;
}

/* What the maxima have to say of how many independent noise vectors a block holds. */
struct normal_sums {
    double used;       /* maxima */
    double log_slopes; /* sums over them */
    double rates;
    double last_rate; /* of the largest that is not censored */
    double censored;
};

static struct normal_sums sum_normal(const struct tail_input *input, size_t censored)
{
    struct normal_sums sums = {.used = (double)(input->blocks - censored),
                               .censored = (double)censored};
    for (size_t i = 0; i < input->blocks - censored; i++) {
        double slope;
        sums.last_rate =
            normal_rate(fmax(input->maxima[i], 1e-6), input->dims, input->smooth, &slope);
        sums.log_slopes += log(fmax(slope, 1e-300));
        sums.rates += sums.last_rate;
    }
    return sums;
}

/* ln likelihood where each maximum is the largest of `count` independent noise vectors. */
static double normal_log_likelihood(const struct normal_sums *sums, double count)
{
    double sum = sums->used * log(count) + sums->log_slopes - count * sums->rates;
    if (sums->censored > 0.0) {
        sum += sums->censored * log(fmax(-expm1(-count * sums->last_rate), 1e-300));
    }
    return sum;
}

/* Golden section over ln count. */
static double fit_count(const struct tail_input *input, size_t censored, double *log_likelihood)
{
    const struct normal_sums sums = sum_normal(input, censored);
    const double golden = 0.6180339887498949;
    double low = log(fmax(1.0, 0.002 * input->block_samples));
    double high = log(20.0 * input->block_samples);
    for (int step = 0; step < 24; step++) {
        double left = high - golden * (high - low);
        double right = low + golden * (high - low);
        if (normal_log_likelihood(&sums, exp(left)) < normal_log_likelihood(&sums, exp(right))) {
            low = left;
        } else {
            high = right;
        }
    }
    double count = exp(0.5 * (low + high));
    *log_likelihood = normal_log_likelihood(&sums, count);
    return count;
}

/* The level that independent noise exceeds `wanted` times on average. */
static double normal_quantile(const struct tail_input *input, double wanted)
{
    double low = 0.0;
    double high = 38.0;
    for (int step = 0; step < 40; step++) {
        double middle = 0.5 * (low + high);
        double slope;
        if (normal_rate(middle, input->dims, input->smooth, &slope) > wanted) {
            low = middle;
        } else {
            high = middle;
        }
    }
    return high;
}

/* The noise model's quantile, a little higher where the scale itself is uncertain: with the scale
 * off by s the rate is off by exp(z^2 s), whose mean is exp(z^4 s^2 / 2). */
static double normal_threshold(const struct tail_input *input, double count)
{
    double wanted = fmin(fmax(input->onsets_per_block / count, 1e-300), 0.5);
    double z = normal_quantile(input, wanted);
    double scale_sd = 1.17 / sqrt((double)(input->scale_count > 0 ? input->scale_count : 1));
    return z * (1.0 + 0.5 * z * z * scale_sd * scale_sd);
}

/* Below this part of the threshold it counts as over: noise alone should seldom prolong it. */
static double release_part(const struct tail_input *input)
{
    double raised = input->onsets_per_block / input->block_samples;
    double prolonged = PROLONGED_PART / fmax(input->hold_samples, 1.0);
    double part = normal_quantile(input, prolonged) / normal_quantile(input, fmin(raised, 0.5));
    return fmin(fmax(part, RELEASE_MIN), RELEASE_MAX);
}

static int compare_doubles(const void *left, const void *right)
{
    double a = *(const double *)left;
    double b = *(const double *)right;
    return (a > b) - (a < b);
}

/* The noise has a tail of its own. What lies far beyond even that is a disturbance of the quiet
 * spell; all else belongs to the tail. */
static void choose_fitted(const struct tail_input *input, size_t censored,
                          const struct tail_gev *first, struct tail_choice *choice)
{
    size_t n = input->blocks;
    double blocks = -1.0 / expm1(-FITTED_PART * input->onsets_per_block);
    double beyond = FAR_BEYOND * fmax(tail_return_level(first, blocks), input->maxima[n / 2]);
    size_t far = 0;
    while (far < censored && input->maxima[n - 1 - far] > beyond) {
        far++;
    }
    struct tail_gev gev;
    if (tail_fit(input->maxima, n, far, NORMAL_SHAPE, FITTED_SHAPE_SD, &gev) != 0) {
        gev = *first;
    }
    choice->kind = TAIL_FITTED;
    choice->gev = gev;
    choice->threshold =
        fmax(tail_return_level(&gev, blocks), ABOVE_SEEN * input->maxima[n - censored - 1]);
}

static void choose_long(const struct tail_input *input, struct tail_choice *choice)
{
    size_t n = input->blocks;
    size_t censored = n / CENSORED_PART;
    double normal_likelihood;
    double count = fit_count(input, censored, &normal_likelihood);
    choice->kind = TAIL_NORMAL;
    choice->threshold = normal_threshold(input, count);
    struct tail_gev gev;
    if (tail_fit(input->maxima, n, censored, NORMAL_SHAPE, NORMAL_SHAPE_SD, &gev) != 0) {
        choice->threshold = normal_threshold(input, input->block_samples);
        return;
    }
    double gain = tail_log_likelihood(&gev, input->maxima, n, censored) - normal_likelihood;
    if (2.0 * gain > REJECT_NORMAL) {
        choose_fitted(input, censored, &gev, choice);
    }
}

/* Blocks with disturbances come last when sorted; what is beyond the censored part says no more. */
static size_t count_clean(const struct tail_input *input)
{
    size_t clean = input->blocks;
    while (clean > 0 && isinf(input->maxima[clean - 1])) {
        clean--;
    }
    return clean;
}

static size_t count_useful(const struct tail_input *input, size_t clean)
{
    size_t most = clean + clean / (CENSORED_PART - 1);
    return most < input->blocks ? most : input->blocks;
}

void tail_choose(const struct tail_input *given, struct tail_choice *choice)
{
    struct tail_input copy = *given;
    const struct tail_input *input = &copy;
    memset(choice, 0, sizeof *choice);
    qsort(copy.maxima, copy.blocks, sizeof *copy.maxima, compare_doubles);
    size_t clean = count_clean(&copy);
    copy.blocks = count_useful(&copy, clean);
    if (input->blocks < TAIL_BLOCKS_MIN) {
        choice->kind = TAIL_SHORT;
        choice->threshold = normal_threshold(input, input->block_samples);
    } else {
        choose_long(input, choice);
    }
    choice->threshold =
        fmin(fmax(choice->threshold, fmax(input->least, THRESHOLD_MIN)), THRESHOLD_MAX);
    choice->release = release_part(input) * choice->threshold;
    for (size_t i = 0; i < input->blocks; i++) {
        choice->outliers += input->maxima[i] > choice->threshold;
    }
}
