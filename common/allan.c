/* Second and third differences of phase, summed as NIST SP 1065 does.
 * Must never allocate. Called by the report. */
#include "common/allan.h"

#include <math.h>

static double second_difference(const double *x, size_t i, size_t m)
{
    return x[i + 2 * m] - 2 * x[i + m] + x[i];
}

static double third_difference(const double *x, size_t i, size_t m)
{
    return x[i + 3 * m] - 3 * x[i + 2 * m] + 3 * x[i + m] - x[i];
}

static double allan(const double *x, size_t count, double tau_s, size_t m, size_t step)
{
    double sum = 0;
    size_t terms = 0;
    for (size_t i = 0; i + 2 * m < count; i += step) {
        double difference = second_difference(x, i, m);
        sum += difference * difference;
        terms++;
    }
    return sqrt(sum / (2 * tau_s * tau_s * (double)terms));
}

/* The inner sum of m second differences slides: one is added, one is taken away. */
static double modified(const double *x, size_t count, double tau_s, size_t m)
{
    double inner = 0;
    double sum = 0;
    size_t terms = count - 3 * m + 1;
    for (size_t i = 0; i < m; i++) {
        inner += second_difference(x, i, m);
    }
    for (size_t j = 0; j < terms; j++) {
        sum += inner * inner;
        if (j + 1 < terms) {
            inner += second_difference(x, j + m, m) - second_difference(x, j, m);
        }
    }
    return sqrt(sum / (2 * (double)m * (double)m * tau_s * tau_s * (double)terms));
}

static double hadamard(const double *x, size_t count, double tau_s, size_t m)
{
    double sum = 0;
    size_t terms = count - 3 * m;
    for (size_t i = 0; i < terms; i++) {
        double difference = third_difference(x, i, m);
        sum += difference * difference;
    }
    return sqrt(sum / (6 * tau_s * tau_s * (double)terms));
}

static size_t least_count(enum allan_kind kind, size_t m)
{
    switch (kind) {
    case ALLAN_PLAIN:
    case ALLAN_OVERLAPPED:
        return 2 * m + 1;
    case ALLAN_MODIFIED:
    case ALLAN_TIME:
        return 3 * m;
    case ALLAN_HADAMARD:
        break;
    }
    return 3 * m + 1;
}

int allan_deviation(enum allan_kind kind, const double *phases_s, size_t count, double tau0_s,
                    size_t m, double *deviation)
{
    /* m within the count first, so that three times m can't wrap around. */
    if (m == 0 || m > count || least_count(kind, m) > count || !(tau0_s > 0)) {
        return -1;
    }
    double tau_s = tau0_s * (double)m;
    switch (kind) {
    case ALLAN_PLAIN:
        *deviation = allan(phases_s, count, tau_s, m, m);
        return 0;
    case ALLAN_OVERLAPPED:
        *deviation = allan(phases_s, count, tau_s, m, 1);
        return 0;
    case ALLAN_MODIFIED:
        *deviation = modified(phases_s, count, tau_s, m);
        return 0;
    case ALLAN_TIME:
        *deviation = tau_s * modified(phases_s, count, tau_s, m) / sqrt(3);
        return 0;
    case ALLAN_HADAMARD:
        *deviation = hadamard(phases_s, count, tau_s, m);
        return 0;
    }
    return -1;
}
