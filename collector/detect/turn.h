/* Whether a field turned as it rose and fell, or alternated: sums over the disturbance, no samples
 * kept. Must never grow with the disturbance. Filled by watch for a sample while a disturbance
 * lasts. A source that only grows and fades on one spot moves the field along one line; one that is
 * carried past turns it (a dipole's field: Jackson, Classical Electrodynamics, 3rd ed. 1999,
 * eq. 5.56). */
#ifndef ROOMWAKE_COLLECTOR_DETECT_TURN_H
#define ROOMWAKE_COLLECTOR_DETECT_TURN_H

#include <stdbool.h>
#include <stdint.h>

struct turn {
    double sums[6]; /* xx, yy, zz, xy, xz, yz of each sample with the one before it */
    double squares; /* of each sample with itself, all axes */
    double before[3];
    uint64_t count; /* samples so far */
};

/* Root mean squares, in units of the noise. */
struct turn_found {
    double along;  /* in the direction in which it moved most */
    double across; /* in the next one; 0: not beyond what noise does */
    double least;  /* what would have been beyond it */
    double alike;  /* neighbouring samples: 1 what changes slowly, 0 noise, -1 what alternates */
};

void turn_restart(struct turn *turn);
void turn_take(struct turn *turn, const double deviation[3]);
/* `scale`: the noise's sigma on one axis; `slow`: what turn_slow_part says of the noise. */
struct turn_found turn_find(const struct turn *turn, double scale, double slow);
/* Of noise alone: how much of its square is alike in neighbouring samples, with room to spare; at
 * least what is always allowed for. */
double turn_slow_part(const struct turn *turn, double scale);

#endif
