/* A small house for the tests of the simulated building: three rooms in a row, a node in each.
 * Must never be included by product code. Each test program gets its own copy. */
#ifndef ROOMWAKE_TESTS_UNIT_WORLD_HOUSE_H
#define ROOMWAKE_TESTS_UNIT_WORLD_HOUSE_H

#include "tests/unit/test.h"

#include "common/clock.h"
#include "node/world/world.h"

#define HOUSE_CHANNELS                                                                             \
    "\"channels\":[{\"name\":\"magnetic.x\",\"unit\":\"T\",\"rate_hz\":250},"                      \
    "{\"name\":\"magnetic.y\",\"unit\":\"T\",\"rate_hz\":250},"                                    \
    "{\"name\":\"magnetic.z\",\"unit\":\"T\",\"rate_hz\":250},"                                    \
    "{\"name\":\"electric\",\"unit\":\"count\",\"rate_hz\":250},"                                  \
    "{\"name\":\"temperature\",\"unit\":\"Cel\",\"rate_hz\":1},"                                   \
    "{\"name\":\"motion\",\"unit\":\"/\",\"rate_hz\":0},"                                          \
    "{\"name\":\"vibration.z\",\"unit\":\"m/s2\",\"rate_hz\":100}]"

enum { HOUSE_X, HOUSE_Y, HOUSE_Z, HOUSE_ELECTRIC, HOUSE_TEMPERATURE, HOUSE_MOTION, HOUSE_FLOOR };

static const char house_site_text[] =
    "{\"site\":\"row\",\"title\":\"Three rooms\",\"mains_hz\":50,\"baseline_s\":15,"
    "\"rooms\":[{\"id\":\"hall\",\"title\":\"Hall\",\"floor\":0,"
    "\"outline_m\":[[0,0],[4,0],[4,4],[0,4]]},"
    "{\"id\":\"passage\",\"title\":\"Passage\",\"floor\":0,"
    "\"outline_m\":[[4,0],[8,0],[8,4],[4,4]]},"
    "{\"id\":\"kitchen\",\"title\":\"Kitchen\",\"floor\":0,"
    "\"outline_m\":[[8,0],[12,0],[12,4],[8,4]]}],"
    "\"doors\":[{\"between\":[\"hall\",\"passage\"],\"at_m\":[4,2]},"
    "{\"between\":[\"passage\",\"kitchen\"],\"at_m\":[8,2]}],"
    "\"nodes\":[{\"id\":\"n1\",\"room\":\"hall\",\"position_m\":[3,3,1]," HOUSE_CHANNELS "},"
    "{\"id\":\"n2\",\"room\":\"passage\",\"position_m\":[6,3,1]," HOUSE_CHANNELS "},"
    "{\"id\":\"n3\",\"room\":\"kitchen\",\"position_m\":[9,3,1]," HOUSE_CHANNELS "}]}";

/* A script without noise, offsets or wander, so that readings are the bare physics; `rest` goes
 * on after the settings and begins with a comma, or is "". */
#define HOUSE_QUIET(rest)                                                                          \
    "{\"version\":1,\"seed\":7,\"length_s\":600,"                                                  \
    "\"mains\":{\"wander_hz\":0,\"wobble\":0},"                                                    \
    "\"noise\":{\"magnetic_counts\":0,\"electric_counts\":0,\"slow\":0,\"offset_t\":0,"            \
    "\"gain_error\":0,\"drift_t_per_c\":0}" rest "}"

struct house {
    struct site *site;
    struct script *script;
    struct world *world;
    struct world_sampler *samplers[3];
};

static inline void house_build(struct house *house, const char *script)
{
    struct error error = {0};
    *house = (struct house){0};
    if (site_parse(house_site_text, strlen(house_site_text), "site", &house->site, &error) ||
        script_parse(script, strlen(script), "script", house->site, &house->script, &error) ||
        world_new(house->site, house->script, &house->world, &error)) {
        fail_msg("%s", error.text);
    }
    for (size_t i = 0; i < 3; i++) {
        if (world_sampler_new(house->world, i, &house->samplers[i], &error)) {
            fail_msg("%s", error.text);
        }
    }
}

static inline void house_free(struct house *house)
{
    for (size_t i = 0; i < 3; i++) {
        world_sampler_free(house->samplers[i]);
    }
    world_free(house->world);
    script_free(house->script);
    site_free(house->site);
}

/* The first truth of a kind and quantity at a node, or NULL. */
static inline const struct world_truth *house_truth(const struct house *house, size_t node,
                                                    enum event_kind kind, enum quantity quantity)
{
    size_t count;
    const struct world_truth *truth = world_sampler_truth(house->samplers[node], &count);
    for (size_t i = 0; i < count; i++) {
        if (truth[i].kind == kind && truth[i].quantity == quantity) {
            return &truth[i];
        }
    }
    return NULL;
}

/* The amplitude at frequency_hz of `count` counts at rate_hz, in counts. */
static inline double house_amplitude(const int32_t *counts, size_t count, double frequency_hz,
                                     double rate_hz)
{
    double c = 0.0;
    double s = 0.0;
    for (size_t i = 0; i < count; i++) {
        double turn = 2.0 * 3.14159265358979323846 * frequency_hz * (double)i / rate_hz;
        c += counts[i] * cos(turn);
        s += counts[i] * sin(turn);
    }
    return 2.0 * sqrt(c * c + s * s) / (double)count;
}

#endif
