/* What is fresh at a level is what four looks of the level before added up.
 * Must never cost more the longer the night is. Called by watch for each sample.
 */
#include "collector/detect/bank.h"

#include <math.h>
#include <string.h>

/* Each look keeps exp(-1/4) of what was there. */
#define KEEP 0.77880078307140487
/* A sum's variance, in samples' of a stride: 1 / (1 - KEEP^2). */
#define SUM_STRIDES 2.5414940825367984
/* An energy's mean, in a stride's: 1 / (1 - KEEP). */
#define ENERGY_STRIDES 4.5208120324834145
/* Degrees of freedom of the chi-squared that an energy is like, in a stride's: (1 + KEEP) / (1 -
 * KEEP). */
#define FREEDOM_STRIDES 8.0416240649668290
#define ENERGY_FROM 1u /* shorter ones are too much like single samples to be worth their part */
#define FIRST_STRIDE 2u
#define MEMORY_STRIDES 4u
/* Looks from which their mean says something; what is beyond so many means is left out. */
#define MOMENTS_MIN 64.0
#define SUM_MOST 16.0
#define ENERGY_MOST 4.0

void bank_restart(struct bank *bank)
{
    bank->count = 0;
    bank->ratio = 0.0;
    memset(bank->levels, 0, sizeof bank->levels);
}

bool bank_is_energy(unsigned stat)
{
    return stat >= BANK_ENERGY;
}

unsigned bank_level_of(unsigned stat)
{
    return bank_is_energy(stat) ? stat - BANK_ENERGY + ENERGY_FROM : stat;
}

uint32_t bank_stride(unsigned stat)
{
    return FIRST_STRIDE << (2 * bank_level_of(stat));
}

uint32_t bank_width(unsigned stat)
{
    return 2 * MEMORY_STRIDES * bank_stride(stat);
}

/* What white noise of sigma 1 gives: a sum's squared length on each axis, an energy; and the
 * degrees of freedom of the chi-squared that an energy is like. */
static void assume_white(struct bank *bank)
{
    for (unsigned stat = 0; stat < BANK_STATS; stat++) {
        double stride = bank_stride(stat);
        double dims = (double)bank->dims;
        bool energy = bank_is_energy(stat);
        bank->usual[stat] = energy ? ENERGY_STRIDES * stride * dims : SUM_STRIDES * stride;
        bank->freedom[stat] = FREEDOM_STRIDES * stride * dims;
    }
}

void bank_init(struct bank *bank, size_t dims)
{
    memset(bank, 0, sizeof *bank);
    bank->dims = dims;
    bank->level_count = BANK_LEVELS;
    assume_white(bank);
}

/* Noise is seldom white: at a level that it swells at it swells more, and a tail drawn too narrow
 * by a tenth is passed seven times as often. So what the quiet spell showed counts where it is
 * wider. */
static void learn_usual(struct bank *bank, double scale)
{
    for (unsigned stat = 0; stat < BANK_STATS; stat++) {
        const struct bank_moments *moments = &bank->moments[stat];
        if (moments->count < MOMENTS_MIN) {
            continue;
        }
        double mean = moments->sum / moments->count;
        double variance = fmax(moments->squares / moments->count - mean * mean, 1e-300);
        /* One sigma wider than it seems: a spread from so few is uncertain (a normal one's by 1 /
         * sqrt(2 n), and four looks are hardly more than one). */
        double wider = 1.0 + sqrt(2.0 / moments->count);
        if (bank_is_energy(stat)) {
            bank->usual[stat] = mean / (scale * scale);
            double shown = 2.0 * mean * mean / (wider * wider * variance);
            bank->freedom[stat] = fmin(bank->freedom[stat], shown);
        } else {
            double each = wider * wider * mean / ((double)bank->dims * scale * scale);
            bank->usual[stat] = fmax(bank->usual[stat], each);
        }
    }
}

/* Chi-squared over its degrees of freedom, its cube root made normal (Wilson and Hilferty, Proc.
 * Nat. Acad. Sci. 17 (1931), 684-688). */
static double sigmas_of(const struct bank *bank, unsigned stat, double most, double scale)
{
    double part = most / (bank->usual[stat] * scale * scale);
    if (!bank_is_energy(stat)) {
        return sqrt(part);
    }
    double spread = 2.0 / (9.0 * bank->freedom[stat]);
    return (cbrt(part) - 1.0 + spread) / sqrt(spread);
}

void bank_end_block(struct bank *bank, double scale)
{
    for (unsigned stat = 0; stat < BANK_STATS; stat++) {
        double most = bank->most[stat];
        extremes_add(&bank->extremes[stat],
                     bank->armed ? sigmas_of(bank, stat, most, scale) : most);
        bank->most[stat] = 0.0;
    }
}

void bank_drop_block(struct bank *bank)
{
    memset(bank->most, 0, sizeof bank->most);
}

void bank_arm(struct bank *bank, double scale)
{
    bank->armed = true;
    learn_usual(bank, scale);
    for (unsigned stat = 0; stat < BANK_STATS; stat++) {
        struct extremes *extremes = &bank->extremes[stat];
        for (size_t i = 0; i < extremes_kept(extremes); i++) {
            extremes->maxima[i] = sigmas_of(bank, stat, extremes->maxima[i], scale);
        }
    }
}

void bank_set_scale(struct bank *bank, double scale)
{
    for (unsigned stat = 0; stat < BANK_STATS && bank->armed; stat++) {
        double part = bank->high[stat] * bank->high[stat];
        if (bank_is_energy(stat)) {
            double spread = 2.0 / (9.0 * bank->freedom[stat]);
            double root = 1.0 - spread + bank->high[stat] * sqrt(spread);
            part = root * root * root;
        }
        bank->per_limit[stat] = 1.0 / (bank->usual[stat] * scale * scale * part);
    }
}

/* A disturbance of the quiet spell is none of its noise. */
static void note(struct bank_moments *moments, double value, double most)
{
    if (moments->count < MOMENTS_MIN || value * moments->count < most * moments->sum) {
        moments->count += 1.0;
        moments->sum += value;
        moments->squares += value * value;
    }
}

static inline void compare(struct bank *bank, unsigned stat, double value)
{
    if (!bank->armed) {
        note(&bank->moments[stat], value, bank_is_energy(stat) ? ENERGY_MOST : SUM_MOST);
    }
    if (value > bank->most[stat]) {
        bank->most[stat] = value;
    }
    double ratio = value * bank->per_limit[stat];
    if (ratio > bank->ratio) {
        bank->ratio = ratio;
        bank->stat = stat;
    }
}

static inline void look_at(struct bank *bank, unsigned level, size_t dims)
{
    struct bank_level *now = &bank->levels[level];
    struct bank_level *above = level + 1 < BANK_LEVELS ? now + 1 : NULL;
    double squared = 0.0;
    for (size_t a = 0; a < dims; a++) {
        now->sum[a] = KEEP * now->sum[a] + now->fresh[a];
        squared += now->sum[a] * now->sum[a];
        if (above) {
            above->fresh[a] += now->fresh[a];
        }
        now->fresh[a] = 0.0;
    }
    now->energy = KEEP * now->energy + now->fresh_energy;
    if (above) {
        above->fresh_energy += now->fresh_energy;
    }
    now->fresh_energy = 0.0;
    if (level < bank->level_count) {
        compare(bank, BANK_SUM + level, squared);
        if (level >= ENERGY_FROM && level - ENERGY_FROM < BANK_STATS - BANK_ENERGY) {
            compare(bank, BANK_ENERGY + level - ENERGY_FROM, now->energy);
        }
    }
}

/* A level is looked at four times as seldom as the one before. */
static inline void look(struct bank *bank, size_t dims)
{
    uint32_t every = FIRST_STRIDE;
    for (unsigned level = 0; level < BANK_LEVELS && bank->count % every == 0; level++) {
        look_at(bank, level, dims);
        every *= 4;
    }
}

bool bank_look(struct bank *bank)
{
    bank->ratio = 0.0;
    if (bank->dims == 1) {
        look(bank, 1);
    } else {
        look(bank, bank->dims);
    }
    return bank->ratio >= 1.0;
}
