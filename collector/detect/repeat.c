/* The largest line of a periodogram by Fisher's g (Proc. R. Soc. A 125 (1929), 54-59).
 * Must never call a single pulse or plain noise a rate. Called by watch for a disturbance.
 */
#include "collector/detect/repeat.h"

#include <math.h>

#define LOWEST_BIN 4u
/* One disturbance in ten thousand may be given a rate by noise; a line may lie between two bins,
 * and to look there too is about three looks. */
#define CHANCE_MAX (1e-4 / 3.0)
/* A line this near to a multiple of the mains (in bins, and in Hz) is the mains's. */
#define NEAR_BINS 1.5
#define NEAR_HZ 1.0
#define MULTIPLES 9
#define REFINE_STEPS 24

double repeat_chance(double share, size_t bins)
{
    double chance = 0.0;
    double choose = 1.0;
    for (size_t j = 1; j <= bins && (double)j * share < 1.0; j++) {
        choose *= (double)(bins - j + 1) / (double)j;
        double term = choose * pow(1.0 - (double)j * share, (double)(bins - 1));
        chance += j % 2 ? term : -term;
        if (term < 1e-12) {
            break;
        }
    }
    return fmin(fmax(chance, 0.0), 1.0);
}

static void take_off_line(double *x, size_t n)
{
    double middle = 0.5 * (double)(n - 1);
    double mean = 0.0;
    double slope = 0.0;
    double squares = 0.0;
    for (size_t i = 0; i < n; i++) {
        double t = (double)i - middle;
        mean += x[i] / (double)n;
        slope += t * x[i];
        squares += t * t;
    }
    for (size_t i = 0; i < n; i++) {
        x[i] -= mean + slope / squares * ((double)i - middle);
    }
}

/* Power of all axes at `bin` cycles in the stretch (Goertzel's recurrence; any real bin). */
static double power_at(double *const x[], size_t dims, size_t n, double bin)
{
    double angle = 2.0 * M_PI * bin / (double)n;
    double twice = 2.0 * cos(angle);
    double power = 0.0;
    for (size_t a = 0; a < dims; a++) {
        double one = 0.0;
        double two = 0.0;
        for (size_t i = 0; i < n; i++) {
            double now = x[a][i] + twice * one - two;
            two = one;
            one = now;
        }
        power += one * one + two * two - twice * one * two;
    }
    return power;
}

static bool is_mains(double hz, double bin_hz, double rate_hz, double mains_hz)
{
    double near = fmax(NEAR_BINS * bin_hz, NEAR_HZ);
    for (int k = 1; k <= MULTIPLES && mains_hz > 0.0; k++) {
        double line = k * mains_hz;
        double alias = fabs(line - rate_hz * floor(line / rate_hz + 0.5));
        if (fabs(hz - alias) <= near) {
            return true;
        }
    }
    return false;
}

/* Golden section between the neighbours of the largest bin. */
static double refine(double *const x[], size_t dims, size_t n, size_t bin)
{
    const double golden = 0.6180339887498949;
    double low = (double)bin - 1.0;
    double high = (double)bin + 1.0;
    for (int step = 0; step < REFINE_STEPS; step++) {
        double left = high - golden * (high - low);
        double right = low + golden * (high - low);
        if (power_at(x, dims, n, left) > power_at(x, dims, n, right)) {
            high = right;
        } else {
            low = left;
        }
    }
    return 0.5 * (low + high);
}

double repeat_find(double *const x[], size_t dims, size_t n, double rate_hz, double mains_hz)
{
    n = n < REPEAT_SAMPLES_MAX ? n : REPEAT_SAMPLES_MAX;
    if (n < REPEAT_SAMPLES_MIN) {
        return 0.0;
    }
    for (size_t a = 0; a < dims; a++) {
        take_off_line(x[a], n);
    }
    double bin_hz = rate_hz / (double)n;
    double total = 0.0;
    double largest = 0.0;
    size_t best = 0;
    size_t bins = 0;
    for (size_t bin = LOWEST_BIN; 2 * bin < n; bin++) {
        if (is_mains((double)bin * bin_hz, bin_hz, rate_hz, mains_hz)) {
            continue;
        }
        double power = power_at(x, dims, n, (double)bin);
        total += power;
        bins++;
        if (power > largest) {
            largest = power;
            best = bin;
        }
    }
    if (bins < 2 || !(total > 0.0)) {
        return 0.0;
    }
    double top = refine(x, dims, n, best);
    double power = power_at(x, dims, n, top);
    /* A single pulse is mostly slower than any line it may seem to have. */
    double slower = 0.0;
    for (size_t bin = 1; bin < LOWEST_BIN; bin++) {
        slower += power_at(x, dims, n, (double)bin);
    }
    double share = fmin(power / total, 1.0);
    return power > slower && repeat_chance(share, bins) <= CHANCE_MAX ? top * bin_hz : 0.0;
}
