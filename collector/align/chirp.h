/* The base station's own sound for lining up recordings: a linear sweep, so that its place in time
 * is told by one peak (a tone repeats itself at every period). Must never be longer or louder than
 * people bear in a dark room. Called by finder and cmd_chirp.c. */
#ifndef ROOMWAKE_COLLECTOR_ALIGN_CHIRP_H
#define ROOMWAKE_COLLECTOR_ALIGN_CHIRP_H

#include <complex.h>
#include <stddef.h>

#define CHIRP_LENGTH_S 0.5
#define CHIRP_FROM_HZ 1000.0
#define CHIRP_TO_HZ 4000.0
#define CHIRP_EDGE_S 0.02 /* raised cosine at both ends, so that it does not click */

size_t chirp_samples(double rate_hz);
/* The sweep's analytic form at time t from its start, amplitude 1; 0 outside. */
double complex chirp_at(double t_s);

#endif
