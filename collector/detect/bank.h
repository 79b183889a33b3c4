/* What is weak but lasts: sums over 4, 16 and 64 samples and energies over 16 and 64, each with its
 * own threshold. Must never cost more the longer the night is. Called by watch for each sample. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_BANK_H
#define ROOMWAKE_COLLECTOR_DETECT_BANK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/detect/extremes.h"
#include "collector/detect/vector.h"

#define BANK_LEVELS 3u
#define BANK_STATS 5u

enum bank_stat { BANK_SUM_4, BANK_SUM_16, BANK_SUM_64, BANK_ENERGY_16, BANK_ENERGY_64 };

/* A window is two halves, and a look is taken at the end of each half. */
struct bank_level {
    double half[VECTOR_AXES_MAX];   /* in the making */
    double before[VECTOR_AXES_MAX]; /* the half before */
    double energy;
    double energy_before;
    bool primed; /* there is a half before */
};

struct bank {
    size_t dims;
    bool armed; /* thresholds are set; before that `extremes` are as limits are */
    uint32_t count;
    struct bank_level levels[BANK_LEVELS];
    double high[BANK_STATS];      /* thresholds in the statistic's own sigmas */
    double per_limit[BANK_STATS]; /* one over the same as squared sums and as energies; 0: none */
    double most[BANK_STATS];      /* of the present block, as limits are */
    double ratio;                 /* the last looks' largest part of a limit */
    unsigned stat;                /* whose it is */
    struct extremes extremes[BANK_STATS];
};

void bank_init(struct bank *bank, size_t dims);
/* Windows begin anew with the next sample. */
void bank_restart(struct bank *bank);
/* Samples of one window of this statistic. */
uint32_t bank_width(unsigned stat);
/* How often a look is taken, in samples. */
uint32_t bank_stride(unsigned stat);
bool bank_is_energy(unsigned stat);
/* The block is over: its largest are kept, in sigmas. */
void bank_end_block(struct bank *bank, double scale);
/* A disturbance was in it: they are not. */
void bank_drop_block(struct bank *bank);
/* The quiet spell is over: what was kept becomes sigmas of this scale. */
void bank_arm(struct bank *bank, double scale);
/* Limits for the baseline's scale. */
void bank_set_scale(struct bank *bank, double scale);

/* At every second sample. True where a limit is reached. */
bool bank_look(struct bank *bank);

static inline bool bank_take(struct bank *bank, const double deviation[], double squared,
                             size_t dims)
{
    struct bank_level *first = &bank->levels[0];
    for (size_t a = 0; a < dims; a++) {
        first->half[a] += deviation[a];
    }
    first->energy += squared;
    return (++bank->count & 1) == 0 && bank_look(bank);
}

#endif
