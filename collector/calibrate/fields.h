/* The field that a known current makes, and the earth's reference to compare with.
 * Must never hold a tolerance: whoever measures knows how well the coil was made.
 * Magnetic constant: CODATA 2022, 1.25663706127e-6 N/A^2. */
#ifndef ROOMWAKE_COLLECTOR_CALIBRATE_FIELDS_H
#define ROOMWAKE_COLLECTOR_CALIBRATE_FIELDS_H

#define FIELDS_MU0 1.25663706127e-6

/* In the middle of a Helmholtz pair (two coils of `turns` each, radius_m, their planes radius_m
 * apart): (4/5)^(3/2) mu0 turns current / radius; T. Follows from Biot and Savart, e.g. Jackson,
 * Classical Electrodynamics, 3rd ed. (1998), problem 5.7. */
double fields_helmholtz_t(double turns, double radius_m, double current_a);
/* distance_m from the middle of a long straight wire: mu0 current / (2 pi distance); T. Jackson,
 * sec. 5.2, equation 5.6. */
double fields_wire_t(double distance_m, double current_a);
/* What a wire of finite length lacks of it, as a share: 1 - (1 + (2 distance / length)^2)^(-1/2).
 */
double fields_wire_lack(double distance_m, double length_m);

#endif
