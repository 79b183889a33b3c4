/* Counts that are or are not Poisson, and the tails that go with them.
 * Must never be asked outside the ranges it names. Called by place, slides_book and the checks. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_POISSON_H
#define ROOMWAKE_COLLECTOR_CORRELATE_POISSON_H

#include <stddef.h>
#include <stdint.h>

/* Regularized upper incomplete gamma function Q(a, x), a > 0, x >= 0: series and continued fraction
 * (Abramowitz & Stegun 1964, 6.5.29 and 6.5.31). */
double poisson_gamma_upper(double a, double x);
/* Probability that chi-square with so many degrees of freedom exceeds x. */
double poisson_chi_square_tail(double x, size_t freedom);
/* Limits of the mean at this two-sided confidence (Garwood 1936, Biometrika 28:437). */
void poisson_limits(uint64_t count, double confidence, double *low, double *high);

/* Index of dispersion: sum (x - m)^2 / m, as chi-square with n - 1 degrees of freedom where the
 * counts are Poisson of one rate. */
struct dispersion {
    double index;
    double p_value; /* 1 where there is nothing to tell */
};
struct dispersion poisson_dispersion(const uint32_t *counts, size_t count);

#endif
