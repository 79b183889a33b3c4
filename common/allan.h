/* How steady a clock is over a span: the deviations of NIST SP 1065 (W. J. Riley, 2008). Pure.
 * Must never be given time stamps: only phase, the seconds that a clock is ahead of another.
 * Used for the line on a crystal's stability in reports. */
#ifndef ROOMWAKE_COMMON_ALLAN_H
#define ROOMWAKE_COMMON_ALLAN_H

#include <stddef.h>

enum allan_kind {
    ALLAN_PLAIN,      /* ADEV from every m-th phase, sec. 5.2.2 */
    ALLAN_OVERLAPPED, /* overlapping ADEV, sec. 5.2.4 */
    ALLAN_MODIFIED,   /* MDEV, sec. 5.2.5 */
    ALLAN_TIME,       /* TDEV, sec. 5.2.6; in seconds */
    ALLAN_HADAMARD,   /* overlapping Hadamard deviation, sec. 5.2.10 */
};

/* Evenly spaced phases tau0_s apart, over m of these spaces. 0: *deviation is set. -1: m is 0, the
 * phases are too few for it, or tau0_s is not above 0. */
int allan_deviation(enum allan_kind kind, const double *phases_s, size_t count, double tau0_s,
                    size_t m, double *deviation);

#endif
