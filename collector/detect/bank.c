/* Halves of windows add up to the next level's halves.
 * Must never cost more the longer the night is. Called by watch for each sample.
 */
#include "collector/detect/bank.h"

#include <math.h>
#include <string.h>

static const uint32_t widths[BANK_STATS] = {4, 16, 64, 16, 64};

void bank_init(struct bank *bank, size_t dims)
{
    memset(bank, 0, sizeof *bank);
    bank->dims = dims;
    for (unsigned stat = 0; stat < BANK_STATS; stat++) {
        bank->per_limit[stat] = 0.0;
    }
}

void bank_restart(struct bank *bank)
{
    bank->count = 0;
    bank->ratio = 0.0;
    memset(bank->levels, 0, sizeof bank->levels);
}

uint32_t bank_width(unsigned stat)
{
    return widths[stat];
}

uint32_t bank_stride(unsigned stat)
{
    return widths[stat] / 2;
}

bool bank_is_energy(unsigned stat)
{
    return stat >= BANK_ENERGY_16;
}

/* Degrees of freedom of an energy. */
static double freedom(const struct bank *bank, unsigned stat)
{
    return (double)(widths[stat] * bank->dims);
}

/* Chi-squared over its degrees of freedom, its cube root made normal (Wilson and Hilferty, Proc.
 * Nat. Acad. Sci. 17 (1931), 684-688). */
static double sigmas_of(const struct bank *bank, unsigned stat, double most, double scale)
{
    if (!bank_is_energy(stat)) {
        return sqrt(most / widths[stat]) / scale;
    }
    double n = freedom(bank, stat);
    double spread = 2.0 / (9.0 * n);
    return (cbrt(most / (n * scale * scale)) - 1.0 + spread) / sqrt(spread);
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
        if (bank_is_energy(stat)) {
            double n = freedom(bank, stat);
            double spread = 2.0 / (9.0 * n);
            double root = 1.0 - spread + bank->high[stat] * sqrt(spread);
            bank->per_limit[stat] = 1.0 / (n * scale * scale * root * root * root);
        } else {
            double high = bank->high[stat] * scale;
            bank->per_limit[stat] = 1.0 / (high * high * widths[stat]);
        }
    }
}

static inline void compare(struct bank *bank, unsigned stat, double value)
{
    if (value > bank->most[stat]) {
        bank->most[stat] = value;
    }
    double ratio = value * bank->per_limit[stat];
    if (ratio > bank->ratio) {
        bank->ratio = ratio;
        bank->stat = stat;
    }
}

/* A half is complete at this level: a look at the window, and on to the next half. */
static inline void finish_half(struct bank *bank, unsigned level, size_t dims)
{
    struct bank_level *now = &bank->levels[level];
    struct bank_level *above = level + 1 < BANK_LEVELS ? now + 1 : NULL;
    double squared = 0.0;
    for (size_t a = 0; a < dims; a++) {
        double sum = now->half[a] + now->before[a];
        squared += sum * sum;
        if (above) {
            above->half[a] += now->half[a];
        }
        now->before[a] = now->half[a];
        now->half[a] = 0.0;
    }
    double energy = now->energy + now->energy_before;
    if (above) {
        above->energy += now->energy;
    }
    now->energy_before = now->energy;
    now->energy = 0.0;
    if (now->primed) {
        compare(bank, level, squared);
        if (level > 0) {
            compare(bank, BANK_ENERGY_16 + level - 1, energy);
        }
    }
    now->primed = true;
}

static inline void look(struct bank *bank, size_t dims)
{
    finish_half(bank, 0, dims);
    if ((bank->count & 7) == 0) {
        finish_half(bank, 1, dims);
        if ((bank->count & 31) == 0) {
            finish_half(bank, 2, dims);
        }
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
