/* Whether samples repeat themselves at a rate, as a radio's frames do.
 * Must never call a single pulse or plain noise a rate. Called by watch for a disturbance. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_REPEAT_H
#define ROOMWAKE_COLLECTOR_DETECT_REPEAT_H

#include <stdbool.h>
#include <stddef.h>

#define REPEAT_SAMPLES_MIN 24u
#define REPEAT_SAMPLES_MAX 512u

/* Fisher's test: the chance that the largest of `bins` equally likely shares of noise is `share` or
 * more. */
double repeat_chance(double share, size_t bins);

/* The strongest line of the periodogram, all axes together, where it stands out and is no multiple
 * of mains_hz (0: no mains); 0 where there is none. Between four repeats in the stretch and half
 * the rate, so what is faster shows at its alias. The samples' means and slopes are taken off them:
 * they are changed. n is cut at REPEAT_SAMPLES_MAX. */
double repeat_find(double *const x[], size_t dims, size_t n, double rate_hz, double mains_hz);

#endif
