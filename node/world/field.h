/* Magnetic fields of simple sources, each a published formula. Lengths in m, currents in A,
 * moments in A m2, fields in T; x and y as in the site file, z up.
 * Must never know of rooms, nodes or time. Called by the sampler, the checks and the tests. */
#ifndef ROOMWAKE_NODE_WORLD_FIELD_H
#define ROOMWAKE_NODE_WORLD_FIELD_H

/* Magnetic constant, CODATA 2022 (Mohr, Newell, Taylor, Tiesinga): 1.25663706127(20)e-6 N A-2. */
#define FIELD_MU0 1.25663706127e-6
/* Nothing comes closer to a source than this; the formulas below end there. */
#define FIELD_NEAREST_M 0.001

static inline double vec_dot(const double a[3], const double b[3])
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

double vec_distance(const double a[3], const double b[3]);

/* Long straight wire, Ampere's law: B = mu0 I / (2 pi r) (any textbook; e.g. Jackson, Classical
 * Electrodynamics, 3rd ed. 1999, sec. 5.2). */
double field_wire_t(double amps, double distance_m);
/* The same as a vector at point `at`: right-hand rule about the unit vector `along`. */
void field_wire(const double at[3], const double on_wire[3], const double along[3], double amps,
                double b[3]);
/* Go and return `spacing_m` apart about `centre`; the unit vector `across` points from the return
 * to the go conductor. Far away mu0 I d / (2 pi r2). */
void field_pair(const double at[3], const double centre[3], const double along[3],
                const double across[3], double spacing_m, double amps, double b[3]);
/* Point dipole: B = mu0 / (4 pi r3) [3 (m.r^) r^ - m] (Jackson 1999, eq. 5.56). */
void field_dipole(const double at[3], const double source[3], const double moment[3], double b[3]);
/* Helmholtz coil of two windings of `turns` each, a radius apart, on its axis z from the middle:
 * the sum of two loops mu0 n I R2 / (2 (R2 + x2)^1.5) (Jackson 1999, sec. 5.5); in the middle
 * (4/5)^1.5 mu0 n I / R. */
double field_helmholtz_t(double turns, double amps, double radius_m, double z_m);
/* Earth's field: total strength, dip below the horizon, and magnetic north as an angle from +x
 * towards +y. */
void field_earth(double total_t, double dip_deg, double north_deg, double b[3]);

#endif
