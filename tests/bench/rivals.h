/* Simple detectors to be measured against: a fixed level, a running mean, short over long average.
 * Must never be used by product code. Used by bench_weak and check_rivals. */
#ifndef ROOMWAKE_TESTS_BENCH_RIVALS_H
#define ROOMWAKE_TESTS_BENCH_RIVALS_H

#include <math.h>
#include <stddef.h>

/* Recursive short over long average of squares (Allen, Bull. Seismol. Soc. Am. 68 (1978),
 * 1521-1532; Withers et al., 88 (1998), 95-106): 0 for the first n_long samples; the very first is
 * not averaged. */
static inline void rival_sta_lta(const double *x, size_t n, double n_short, double n_long,
                                 double *ratio)
{
    double short_mean = 0.0;
    double long_mean = 1e-99;
    for (size_t i = 0; i < n; i++) {
        double square = i > 0 ? x[i] * x[i] : 0.0;
        short_mean += (square - short_mean) / n_short;
        long_mean += (square - long_mean) / n_long;
        ratio[i] = (double)i < n_long ? 0.0 : short_mean / long_mean;
    }
}

/* |mean of the last `width` samples|, 0 before there are so many. */
static inline void rival_mean(const double *x, size_t n, size_t width, double *level)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        sum += x[i] - (i >= width ? x[i - width] : 0.0);
        level[i] = i + 1 >= width ? fabs(sum) / (double)width : 0.0;
    }
}

/* One-sided sums of Page (Biometrika 41 (1954), 100-115): up and down, with allowance k. */
static inline void rival_cusum(const double *x, size_t n, double target, double k, double *high,
                               double *low)
{
    double up = 0.0;
    double down = 0.0;
    for (size_t i = 0; i < n; i++) {
        up = fmax(0.0, up + x[i] - target - k);
        down = fmax(0.0, down + target - k - x[i]);
        high[i] = up;
        low[i] = down;
    }
}

#endif
