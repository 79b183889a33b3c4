/* The simulated building: a site and a script in, what every sensor reads at any moment out.
 * Must never do I/O, read a clock or keep a position in time: each node, in its own process, in any
 * order, finds the same building. Shared by the simulate driver, tests and benchmarks. */
#ifndef ROOMWAKE_NODE_WORLD_WORLD_H
#define ROOMWAKE_NODE_WORLD_WORLD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/channel.h"
#include "common/error.h"
#include "common/site.h"
#include "node/world/script.h"

struct world;
struct world_sampler;

/* `site` and `script` must outlive the world, the world its samplers. All times below are ns since
 * the scenario's start; before it the building is at rest. */
int world_new(const struct site *site, const struct script *script, struct world **world,
              struct error *error);
void world_free(struct world *world);

/* What one node of the site senses. Samplers don't know of each other. */
int world_sampler_new(const struct world *world, size_t node, struct world_sampler **sampler,
                      struct error *error);
void world_sampler_free(struct world_sampler *sampler);

/* The node's channels as in the site, with the steps of the simulated sensors. */
const struct channel *world_sampler_channels(const struct world_sampler *sampler, size_t *count);

/* Raw counts at t0_ns + i * period_ps / 1000. Reads that follow on each other give the same counts
 * however they are cut. Any channel may be read at any rate, motion too. */
void world_sampler_read(struct world_sampler *sampler, size_t channel, int64_t t0_ns,
                        int64_t period_ps, int32_t *counts, size_t count);

/* The value before noise and quantisation, in the channel's unit: for tests. */
double world_sampler_value(const struct world_sampler *sampler, size_t channel, int64_t time_ns);

struct world_change {
    int64_t time_ns;
    int32_t count;
};

/* The changes of the motion sensor in (after_ns, until_ns], at most `size` of them; ask again from
 * the last one's time while it returns `size`. */
size_t world_sampler_changes(const struct world_sampler *sampler, int64_t after_ns,
                             int64_t until_ns, struct world_change *changes, size_t size);
/* The motion sensor's level at a moment. */
int32_t world_sampler_motion(const struct world_sampler *sampler, int64_t time_ns);

/* Whether the node is without power at this moment; then *until_ns is when that ends. */
bool world_sampler_silent(const struct world_sampler *sampler, int64_t time_ns, int64_t *until_ns);

/* What truly happened at this node: one entry for each event and quantity that it reached, in order
 * of onset. Amplitude in the quantity's unit: the length of the peak deviation vector (magnetic;
 * for loads the peak of the alternating current's field), counts (electric), Cel (temperature), 1
 * (motion: onset is when the sensor's view is entered, peak the closest approach). Magnetic onset
 * of what moves: when a tenth of the peak is reached. quantity OTHER: the node's own outage. */
struct world_truth {
    size_t event; /* index into the script's events */
    enum event_kind kind;
    enum quantity quantity;
    int64_t onset_ns;
    int64_t peak_ns;
    int64_t end_ns; /* INT64_MAX: stays */
    double amplitude;
};
const struct world_truth *world_sampler_truth(const struct world_sampler *sampler, size_t *count);

#endif
