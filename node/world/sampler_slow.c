/* The part of a reading that changes little within a slot of time, and the mains' strength.
 * Must never depend on where a read began. Called by sampler.c. */
#include <math.h>

#include "common/clock.h"
#include "node/world/field.h"
#include "node/world/rng.h"
#include "node/world/thermal.h"
#include "node/world/world.h"
#include "node/world/world_parts.h"

#define SQRT2 1.41421356237309504880
/* The natural field's quiet wander, rms and feature length: our choice, no source. */
#define NATURAL_T 3e-9
#define NATURAL_S 300.0
/* A body shadows and couples an antenna within about a metre. */
#define BODY_PICKUP 0.3
#define BODY_COUNTS 6.0
/* The supply sags by this part for each ampere. */
#define SAG_PER_A 0.002
#define PICKUP_THIRD 0.05
#define PICKUP_FIFTH 0.03

static double seconds(int64_t time_ns)
{
    return (double)time_ns / (double)NS_PER_S;
}

/* Wander at 2 s, 20 s and 200 s: a stand-in for the 1/f noise of cheap parts. */
static double slow_noise(const struct sampled_channel *sampled, double t_s)
{
    if (sampled->slow_noise <= 0.0) {
        return 0.0;
    }
    return sampled->slow_noise * (rng_smooth(sampled->slow_key, t_s / 2.0) +
                                  rng_smooth(sampled->slow_key + 1, t_s / 20.0) +
                                  rng_smooth(sampled->slow_key + 2, t_s / 200.0));
}

/* How near bodies are, 0 for none: each counts exp(-d2 / 1 m2). */
static double bodies(const struct world_sampler *sampler, int64_t time_ns)
{
    const struct world *world = sampler->world;
    double sum = 0.0;
    for (size_t at = span_list_next(&world->moving, 0, time_ns, time_ns); at < world->moving.count;
         at = span_list_next(&world->moving, at + 1, time_ns, time_ns)) {
        const struct mover *mover = &world->movers[world->moving.spans[at].index];
        double place[3];
        path_place(&mover->path, time_ns, place);
        double distance = vec_distance(place, sampler->at);
        sum += exp(-distance * distance);
    }
    return sum;
}

double sampler_temperature_c(const struct world_sampler *sampler, int64_t time_ns)
{
    const struct world *world = sampler->world;
    const struct felt *felt = &sampler->felt;
    double t = seconds(time_ns);
    uint64_t key = rng_key(world->script->seed, rng_key_text(0, "room"), sampler->room);
    double c = thermal_building_c(world->script, t) + rng_gaussian(key, 0) +
               0.02 * rng_smooth(key + 1, t / 120.0) +
               thermal_heating_c(&world->script->heating, t);
    for (size_t at = span_list_next(&felt->front_spans, 0, time_ns, time_ns);
         at < felt->front_spans.count;
         at = span_list_next(&felt->front_spans, at + 1, time_ns, time_ns)) {
        const struct felt_front *front = &felt->fronts[felt->front_spans.spans[at].index];
        c -= front->drop_c * thermal_front(seconds(time_ns - front->start_ns), front->for_s);
    }
    for (size_t at = span_list_next(&felt->pass_spans, 0, time_ns, time_ns);
         at < felt->pass_spans.count;
         at = span_list_next(&felt->pass_spans, at + 1, time_ns, time_ns)) {
        const struct felt_pass *pass = &felt->passes[felt->pass_spans.spans[at].index];
        c += thermal_person_c(seconds(time_ns - pass->at_ns), pass->distance_m);
    }
    return c;
}

static double magnetic_slow(const struct world_sampler *sampler,
                            const struct sampled_channel *sampled, int64_t time_ns)
{
    const struct world *world = sampler->world;
    double t = seconds(time_ns);
    double field[3];
    for (int i = 0; i < 3; i++) {
        field[i] = world->earth_t[i] +
                   NATURAL_T * rng_smooth(world->wander_key + (uint64_t)i, t / NATURAL_S);
    }
    for (size_t at = span_list_next(&world->moving, 0, time_ns, time_ns); at < world->moving.count;
         at = span_list_next(&world->moving, at + 1, time_ns, time_ns)) {
        double b[3];
        mover_field(world, &world->movers[world->moving.spans[at].index], time_ns, sampler->at, b);
        for (int i = 0; i < 3; i++) {
            field[i] += b[i];
        }
    }
    double drift = sampled->drift_t_per_c *
                   (sampler_temperature_c(sampler, time_ns) - world->script->inside_c);
    return vec_dot(field, sampled->axis) + sampled->resting + drift;
}

/* Everyday levels that no event touches: a slow wander about a resting value. */
static double level_slow(const struct sampled_channel *sampled, enum quantity quantity, double t)
{
    uint64_t key = sampled->slow_key + 7;
    switch (quantity) {
    case QUANTITY_SOUND:
        return 32.0 + 1.5 * rng_smooth(key, t / 20.0);
    case QUANTITY_PRESSURE:
        return 101300.0 + 40.0 * rng_smooth(key, t / 1800.0);
    case QUANTITY_HUMIDITY:
        return 55.0 + 1.5 * rng_smooth(key, t / 1800.0);
    case QUANTITY_BATTERY:
        return 4.1 - 1.5e-5 * fmax(t, 0.0);
    default:
        return sampled->resting;
    }
}

double sampler_slow(const struct world_sampler *sampler, size_t channel, int64_t time_ns)
{
    const struct sampled_channel *sampled = &sampler->sampled[channel];
    double t = seconds(time_ns);
    double noise = slow_noise(sampled, t);
    switch (sampler->channels[channel].quantity) {
    case QUANTITY_MAGNETIC:
        return magnetic_slow(sampler, sampled, time_ns) + noise;
    case QUANTITY_ELECTRIC:
        return sampled->resting + sampled->sensor.step * BODY_COUNTS * bodies(sampler, time_ns) +
               noise;
    case QUANTITY_TEMPERATURE:
        return sampler_temperature_c(sampler, time_ns);
    case QUANTITY_MOTION:
        return 0.0;
    default:
        return level_slow(sampled, sampler->channels[channel].quantity, t) + noise;
    }
}

static void magnetic_phasors(const struct world_sampler *sampler, const double axis[3],
                             int64_t time_ns, double phasors[SUPPLY_HARMONICS])
{
    const struct supply *supply = &sampler->world->supply;
    for (size_t wire = 0; wire < supply->script->wire_count; wire++) {
        double gain = SQRT2 * vec_dot(sampler->wire_t[wire], axis);
        for (int h = 0; h < SUPPLY_HARMONICS; h++) {
            phasors[h] += gain * supply_wire_amps(supply, wire, supply_harmonic[h], time_ns);
        }
    }
}

void sampler_phasors(const struct world_sampler *sampler, size_t channel, int64_t time_ns,
                     double phasors[SUPPLY_HARMONICS])
{
    static const double pickup[SUPPLY_HARMONICS] = {1.0, PICKUP_THIRD, PICKUP_FIFTH};
    for (int h = 0; h < SUPPLY_HARMONICS; h++) {
        phasors[h] = 0.0;
    }
    switch (sampler->channels[channel].quantity) {
    case QUANTITY_MAGNETIC:
        magnetic_phasors(sampler, sampler->sampled[channel].axis, time_ns, phasors);
        break;
    case QUANTITY_ELECTRIC: {
        double sag =
            fmax(1.0 - SAG_PER_A * supply_total_amps(&sampler->world->supply, time_ns), 0.0);
        double body = 1.0 + BODY_PICKUP * bodies(sampler, time_ns);
        double peak = sampler->pickup_counts * sampler->sampled[channel].sensor.step * sag * body;
        for (int h = 0; h < SUPPLY_HARMONICS; h++) {
            phasors[h] = peak * pickup[h];
        }
        break;
    }
    default:
        break;
    }
}
