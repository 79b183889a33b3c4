/* Two formulas of magnetostatics.
 * Must never be used inside the wire or far from the coils' middle. Called by levels.c's users. */
#include "collector/calibrate/fields.h"

#include <math.h>

double fields_helmholtz_t(double turns, double radius_m, double current_a)
{
    return 0.8 * sqrt(0.8) * FIELDS_MU0 * turns * current_a / radius_m;
}

double fields_wire_t(double distance_m, double current_a)
{
    return FIELDS_MU0 * current_a / (2.0 * M_PI * distance_m);
}

double fields_wire_lack(double distance_m, double length_m)
{
    double ratio = 2.0 * distance_m / length_m;
    return 1.0 - 1.0 / sqrt(1.0 + ratio * ratio);
}
