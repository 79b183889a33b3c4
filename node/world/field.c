/* Fields of a wire, a pair, a dipole, a coil, and of the Earth.
 * Must never know of rooms, nodes or time. Called by the sampler, the checks and the tests. */
#include "node/world/field.h"

#include <math.h>

#define PI 3.14159265358979323846

double vec_distance(const double a[3], const double b[3])
{
    double x = a[0] - b[0];
    double y = a[1] - b[1];
    double z = a[2] - b[2];
    return sqrt(x * x + y * y + z * z);
}

double field_wire_t(double amps, double distance_m)
{
    return FIELD_MU0 * amps / (2.0 * PI * fmax(distance_m, FIELD_NEAREST_M));
}

void field_wire(const double at[3], const double on_wire[3], const double along[3], double amps,
                double b[3])
{
    double r[3] = {at[0] - on_wire[0], at[1] - on_wire[1], at[2] - on_wire[2]};
    double lengthwise = vec_dot(r, along);
    for (int i = 0; i < 3; i++) {
        r[i] -= lengthwise * along[i];
    }
    double distance = fmax(sqrt(vec_dot(r, r)), FIELD_NEAREST_M);
    double scale = field_wire_t(amps, distance) / distance;
    b[0] = scale * (along[1] * r[2] - along[2] * r[1]);
    b[1] = scale * (along[2] * r[0] - along[0] * r[2]);
    b[2] = scale * (along[0] * r[1] - along[1] * r[0]);
}

void field_pair(const double at[3], const double centre[3], const double along[3],
                const double across[3], double spacing_m, double amps, double b[3])
{
    double go[3];
    double back[3];
    for (int i = 0; i < 3; i++) {
        go[i] = centre[i] + 0.5 * spacing_m * across[i];
        back[i] = centre[i] - 0.5 * spacing_m * across[i];
    }
    double other[3];
    field_wire(at, go, along, amps, b);
    field_wire(at, back, along, -amps, other);
    for (int i = 0; i < 3; i++) {
        b[i] += other[i];
    }
}

void field_dipole(const double at[3], const double source[3], const double moment[3], double b[3])
{
    double r[3] = {at[0] - source[0], at[1] - source[1], at[2] - source[2]};
    double distance = sqrt(vec_dot(r, r));
    if (distance < FIELD_NEAREST_M) {
        r[0] = FIELD_NEAREST_M;
        r[1] = 0.0;
        r[2] = 0.0;
        distance = FIELD_NEAREST_M;
    }
    double scale = FIELD_MU0 / (4.0 * PI * distance * distance * distance);
    double along = 3.0 * vec_dot(moment, r) / (distance * distance);
    for (int i = 0; i < 3; i++) {
        b[i] = scale * (along * r[i] - moment[i]);
    }
}

static double loop_t(double turns, double amps, double radius_m, double x_m)
{
    double square = radius_m * radius_m + x_m * x_m;
    return FIELD_MU0 * turns * amps * radius_m * radius_m / (2.0 * square * sqrt(square));
}

double field_helmholtz_t(double turns, double amps, double radius_m, double z_m)
{
    return loop_t(turns, amps, radius_m, z_m - 0.5 * radius_m) +
           loop_t(turns, amps, radius_m, z_m + 0.5 * radius_m);
}

void field_earth(double total_t, double dip_deg, double north_deg, double b[3])
{
    double dip = dip_deg * PI / 180.0;
    double north = north_deg * PI / 180.0;
    b[0] = total_t * cos(dip) * cos(north);
    b[1] = total_t * cos(dip) * sin(north);
    b[2] = -total_t * sin(dip);
}
