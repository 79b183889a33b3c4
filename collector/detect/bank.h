/* What is weak but lasts: sums and energies that forget within 8, 32, 128 and 512 samples, each
 * with its own threshold. Must never cost more the longer the night is. Called by watch for each
 * sample. A sum that forgets (Roberts, Technometrics 1 (1959), 239-250) fits a pulse of whatever
 * length from half to four times its memory to within 2 dB of that pulse's own filter. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_BANK_H
#define ROOMWAKE_COLLECTOR_DETECT_BANK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/detect/extremes.h"
#include "collector/detect/vector.h"

#define BANK_LEVELS 4u
#define BANK_STATS 6u

enum bank_stat {
    BANK_SUM,                             /* and one more a level */
    BANK_ENERGY = BANK_SUM + BANK_LEVELS, /* of level 1, and one more of level 2 */
};

/* A look is taken four times within a level's memory. */
struct bank_level {
    double fresh[VECTOR_AXES_MAX]; /* since the last look */
    double fresh_energy;
    double sum[VECTOR_AXES_MAX];
    double energy;
};

struct bank_moments {
    double count;
    double sum;
    double squares;
};

struct bank {
    size_t dims;
    bool armed; /* thresholds are set; before that `extremes` are as limits are */
    uint32_t count;
    struct bank_level levels[BANK_LEVELS];
    double high[BANK_STATS];      /* thresholds in the statistic's own sigmas */
    double per_limit[BANK_STATS]; /* one over the same as squared sums and as energies; 0: none */
    double most[BANK_STATS];      /* of the present block, as limits are */
    unsigned level_count;         /* those that are looked at: all, or up to the one that raised */
    double usual[BANK_STATS];     /* for a scale of 1 */
    double freedom[BANK_STATS];   /* of energies */
    struct bank_moments moments[BANK_STATS]; /* of the quiet spell */
    double ratio;                            /* the last looks' largest part of a limit */
    unsigned stat;                           /* whose it is */
    struct extremes extremes[BANK_STATS];
};

void bank_init(struct bank *bank, size_t dims);
/* All is forgotten. */
void bank_restart(struct bank *bank);
/* How many samples back it looks: what is before them counts for less than a seventh. */
uint32_t bank_width(unsigned stat);
/* How often a look is taken, in samples. */
uint32_t bank_stride(unsigned stat);
bool bank_is_energy(unsigned stat);
/* Of the ladder, from 0. */
unsigned bank_level_of(unsigned stat);
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
        first->fresh[a] += deviation[a];
    }
    first->fresh_energy += squared;
    return (++bank->count & 1) == 0 && bank_look(bank);
}

#endif
