/* The incomplete gamma function and what follows from it.
 * Must never keep state. Called by place, slides_book and the checks. */
#include "collector/correlate/poisson.h"

#include <float.h>
#include <math.h>

#define TERMS_MAX 100000
#define HALVINGS 200

/* As lgamma, which tells the sign in a variable that all threads share. */
static double log_gamma(double a)
{
    int sign = 0;
    return lgamma_r(a, &sign);
}

/* P(a, x) by its series, for x < a + 1. */
static double lower_series(double a, double x)
{
    double term = 1.0 / a;
    double sum = term;
    for (int i = 1; i < TERMS_MAX && fabs(term) > fabs(sum) * DBL_EPSILON; i++) {
        term *= x / (a + i);
        sum += term;
    }
    return sum * exp(a * log(x) - x - log_gamma(a));
}

/* Q(a, x) by its continued fraction (Lentz's way), for x >= a + 1. */
static double upper_fraction(double a, double x)
{
    double b = x + 1.0 - a;
    double c = 1.0 / DBL_MIN;
    double d = 1.0 / b;
    double value = d;
    for (int i = 1; i < TERMS_MAX; i++) {
        double numerator = -i * (i - a);
        b += 2.0;
        d = numerator * d + b;
        d = 1.0 / (fabs(d) < DBL_MIN ? DBL_MIN : d);
        c = b + numerator / c;
        c = fabs(c) < DBL_MIN ? DBL_MIN : c;
        value *= d * c;
        if (fabs(d * c - 1.0) < DBL_EPSILON) {
            break;
        }
    }
    return value * exp(a * log(x) - x - log_gamma(a));
}

double poisson_gamma_upper(double a, double x)
{
    if (!(x > 0.0)) {
        return 1.0;
    }
    return x < a + 1.0 ? 1.0 - lower_series(a, x) : upper_fraction(a, x);
}

double poisson_chi_square_tail(double x, size_t freedom)
{
    return freedom ? poisson_gamma_upper(0.5 * (double)freedom, 0.5 * x) : 1.0;
}

/* The x at which Q(a, x) has fallen to `tail`. */
static double gamma_quantile(double a, double tail)
{
    double low = 0.0;
    double high = a + 1.0;
    while (poisson_gamma_upper(a, high) > tail) {
        high *= 2.0;
    }
    for (int i = 0; i < HALVINGS && high - low > high * DBL_EPSILON; i++) {
        double middle = 0.5 * (low + high);
        if (poisson_gamma_upper(a, middle) > tail) {
            low = middle;
        } else {
            high = middle;
        }
    }
    return 0.5 * (low + high);
}

void poisson_limits(uint64_t count, double confidence, double *low, double *high)
{
    double tail = 0.5 * (1.0 - confidence);
    *low = count ? gamma_quantile((double)count, 1.0 - tail) : 0.0;
    *high = gamma_quantile((double)count + 1.0, tail);
}

struct dispersion poisson_dispersion(const uint32_t *counts, size_t count)
{
    struct dispersion dispersion = {0.0, 1.0};
    double mean = 0.0;
    for (size_t i = 0; i < count; i++) {
        mean += (double)counts[i] / (double)count;
    }
    if (count < 2 || !(mean > 0.0)) {
        return dispersion;
    }
    for (size_t i = 0; i < count; i++) {
        dispersion.index += ((double)counts[i] - mean) * ((double)counts[i] - mean) / mean;
    }
    dispersion.p_value = poisson_chi_square_tail(dispersion.index, count - 1);
    return dispersion;
}
