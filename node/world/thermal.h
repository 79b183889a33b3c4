/* Warmth in closed formulas of time: night cooling, a heater that switches, a passing cold front,
 * a passing person. Temperatures in degrees Celsius, times in s.
 * Must never know of nodes or keep state. Called by the world's samplers. */
#ifndef ROOMWAKE_NODE_WORLD_THERMAL_H
#define ROOMWAKE_NODE_WORLD_THERMAL_H

#include "node/world/script.h"

/* How slowly a bare thermometer follows the air; packages take seconds to minutes (common
 * practice, no source). */
#define THERMAL_SENSOR_LAG_S 8.0

/* The building's own course, the same in all rooms: exponential cooling towards outside. */
double thermal_building_c(const struct script *script, double t_s);
/* What the heating adds: the room's air as a first-order lag behind a heater that is on and off in
 * turn since first_s. */
double thermal_heating_c(const struct script_heating *heating, double t_s);
/* What a thermometer shows of a step of size 1 that lasts for_s, since_s after it began, through
 * its own lag; afterwards the room recovers three times as slowly. */
double thermal_front(double since_s, double for_s);
/* What it shows of a person who passed it since_s ago at distance_m. */
double thermal_person_c(double since_s, double distance_m);

#endif
