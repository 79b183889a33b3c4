/* Warmth in closed formulas of time.
 * Must never know of nodes or keep state. Called by felt.c and sampler_slow.c. */
#include "node/world/thermal.h"

#include <math.h>

/* Old walls: a twelfth of the difference is lost with this time constant. Our choice, no source. */
#define COOLING_LAG_S 14400.0
#define COOLING_PART 0.12
#define PERSON_C 0.08

double thermal_building_c(const struct script *script, double t_s)
{
    double part = t_s > 0.0 ? 1.0 - exp(-t_s / COOLING_LAG_S) : 0.0;
    return script->inside_c + COOLING_PART * part * (script->outside_c - script->inside_c);
}

double thermal_heating_c(const struct script_heating *heating, double t_s)
{
    double since = t_s - heating->first_s;
    if (!heating->present || since < 0.0) {
        return 0.0;
    }
    double period = heating->on_s + heating->off_s;
    double turns = floor(since / period);
    double in_turn = since - turns * period;
    double on = exp(-heating->on_s / heating->lag_s);
    double off = exp(-heating->off_s / heating->lag_s);
    /* The start of turn k is x(k) = X (1 - q^k), with q = on * off and X its limit. */
    double limit = heating->rise_c * (1.0 - on) * off / (1.0 - on * off);
    double start = limit * (1.0 - exp(-turns * period / heating->lag_s));
    if (in_turn < heating->on_s) {
        return heating->rise_c - (heating->rise_c - start) * exp(-in_turn / heating->lag_s);
    }
    double top = heating->rise_c - (heating->rise_c - start) * on;
    return top * exp(-(in_turn - heating->on_s) / heating->lag_s);
}

double thermal_front(double since_s, double for_s)
{
    if (since_s <= 0.0) {
        return 0.0;
    }
    if (since_s < for_s) {
        return 1.0 - exp(-since_s / THERMAL_SENSOR_LAG_S);
    }
    double reached = 1.0 - exp(-for_s / THERMAL_SENSOR_LAG_S);
    return reached * exp(-(since_s - for_s) / (3.0 * THERMAL_SENSOR_LAG_S));
}

double thermal_person_c(double since_s, double distance_m)
{
    if (since_s <= 0.0) {
        return 0.0;
    }
    double part = since_s / THERMAL_SENSOR_LAG_S;
    return PERSON_C / (1.0 + distance_m * distance_m) * part * exp(1.0 - part);
}
