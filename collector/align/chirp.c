/* The sweep itself.
 * Must never depend on a machine's sampling rate. Called by finder and cmd_chirp.c. */
#include "collector/align/chirp.h"

#include <math.h>

#define PI 3.14159265358979323846

size_t chirp_samples(double rate_hz)
{
    return (size_t)ceil(CHIRP_LENGTH_S * rate_hz);
}

double complex chirp_at(double t_s)
{
    if (!(t_s >= 0.0 && t_s < CHIRP_LENGTH_S)) {
        return 0.0;
    }
    double edge_s = fmin(t_s, CHIRP_LENGTH_S - t_s);
    double loud = edge_s < CHIRP_EDGE_S ? 0.5 - 0.5 * cos(PI * edge_s / CHIRP_EDGE_S) : 1.0;
    double slope = (CHIRP_TO_HZ - CHIRP_FROM_HZ) / CHIRP_LENGTH_S;
    double turns = CHIRP_FROM_HZ * t_s + 0.5 * slope * t_s * t_s;
    return loud * cexp(I * (2.0 * PI * turns));
}
