/* How high a threshold must be for a stated rate of false onsets: return levels of block maxima.
 * Must never give an infinite or a zero threshold. Called once a band when its quiet spell ends. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_TAIL_H
#define ROOMWAKE_COLLECTOR_DETECT_TAIL_H

#include <stdbool.h>
#include <stddef.h>

/* Fewer blocks than this say nothing about the tail. */
#define TAIL_BLOCKS_MIN 30u

/* Generalised extreme value distribution; shape 0 is Gumbel's. */
struct tail_gev {
    double location;
    double scale;
    double shape;
};

/* The level exceeded by a block's maximum once in `blocks` (> 1) on average. */
double tail_return_level(const struct tail_gev *gev, double blocks);
/* ln likelihood of maxima sorted upward; the `censored` largest count only as "at least as large as
 * the one before them". -INFINITY where impossible. */
double tail_log_likelihood(const struct tail_gev *gev, const double *sorted, size_t n,
                           size_t censored);
/* Maximum likelihood (Nelder and Mead's simplex, then Newton's steps), maxima sorted upward.
 * shape_sd > 0 draws the shape towards shape_mean as a normal prior would; 0: plain. -1 where all
 * maxima are the same. */
int tail_fit(const double *sorted, size_t n, size_t censored, double shape_mean, double shape_sd,
             struct tail_gev *gev);

enum tail_kind {
    TAIL_SHORT,  /* too few blocks: the noise model's quantile, taking samples as independent */
    TAIL_NORMAL, /* the maxima are what normal noise gives: its quantile, as many independent
                    samples a block as the maxima say */
    TAIL_FITTED, /* they are not: return level of the fitted tail */
};

/* Maxima are lengths of deviation in units of the robust scale, of blocks of block_samples;
 * INFINITY: a disturbance was in it. */
struct tail_input {
    double *maxima; /* reordered */
    size_t blocks;
    double block_samples;
    size_t dims;
    bool smooth;             /* neighbouring samples are much alike: a sliding amplitude */
    double onsets_per_block; /* asked, > 0 */
    double hold_samples;     /* how many must be below `release` in a row for an end */
    size_t seen;             /* no threshold below the maximum that is so-and-so largest; 0: any */
    double least;            /* no threshold below this; 0: the usual least */
    size_t scale_count;      /* how many lengths the scale was estimated from */
};

struct tail_choice {
    enum tail_kind kind;
    double threshold;
    double release;  /* below it, it is over */
    size_t outliers; /* blocks of the quiet spell above the threshold */
    struct tail_gev gev;
};

void tail_choose(const struct tail_input *input, struct tail_choice *choice);

#endif
