/* What world.c, felt.c, sampler*.c and truth.c share: the insides of a world and of a sampler.
 * Must never be included from outside node/world. */
#ifndef ROOMWAKE_NODE_WORLD_WORLD_PARTS_H
#define ROOMWAKE_NODE_WORLD_WORLD_PARTS_H

#include "node/world/supply.h"
#include "node/world/path.h"
#include "node/world/people.h"
#include "node/world/sensor.h"
#include "node/world/span.h"

/* Slow things are evaluated at the ends of slots of absolute time and run straight in between, so
 * that the outcome does not depend on how reads are cut; slots are short while something moves. */
#define WORLD_SLOT_NS INT64_C(200000000)
#define WORLD_SLOT_MOVING_NS INT64_C(20000000)
/* What a mover carries comes and goes over this time at the ends of its way. */
#define WORLD_FADE_NS INT64_C(1000000000)

struct world_truth; /* world.h */

/* Something on its way: walker, magnet or draught. */
struct mover {
    size_t event;
    struct path path;
};

struct world {
    const struct site *site;
    const struct script *script;
    struct supply supply;
    double earth_t[3];
    uint64_t wander_key; /* of the natural field, the same for all */
    size_t mover_count;
    struct mover *movers;
    struct span_list moving; /* walkers and magnets, by index into movers */
};

/* What one node feels of an event that has a beginning, a height and an end. */
struct felt_pulse {
    size_t event;
    int64_t start_ns;
    double field_t[3];
    double counts;
    double rise_s;
    double hold_s;
    double fall_s;
};
struct felt_call {
    size_t event;
    int64_t start_ns;
    double counts;
};
struct felt_front {
    size_t event;
    int64_t start_ns;
    double drop_c;
    double for_s;
};
struct felt_pass {
    int64_t at_ns;
    double distance_m;
};

/* All that one node feels; each list's spans index its array. */
struct felt {
    struct span_list pulse_spans;
    struct felt_pulse *pulses;
    struct span_list call_spans;
    struct felt_call *calls;
    struct span_list front_spans;
    struct felt_front *fronts;
    struct span_list pass_spans;
    struct felt_pass *passes;
    struct span_list outages; /* index: event */
    struct span_list stuck;   /* index: event */
    size_t edge_count;
    struct people_edge *edges;
};

struct sampled_channel {
    struct sensor sensor;
    double axis[3]; /* magnetic, vibration: the direction it senses */
    double resting; /* magnetic: its zero; others: their level at rest */
    double drift_t_per_c;
    double slow_noise; /* in the channel's unit */
    uint64_t slow_key;
    int64_t next_ns; /* where a following read would start */
    uint64_t next_number;
};

struct world_sampler {
    const struct world *world;
    size_t node;
    size_t room;
    double at[3];
    double wire_t[SCRIPT_WIRES_MAX][3]; /* field of 1 A */
    double pickup_counts;               /* mains on its antenna, peak */
    size_t channel_count;
    struct channel channels[NODE_CHANNELS_MAX];
    struct sampled_channel sampled[NODE_CHANNELS_MAX];
    struct felt felt;
    size_t truth_count;
    size_t truth_size;
    struct world_truth *truth;
};

/* When an event's own length is over; far away for "to the end". */
int64_t event_end_ns(const struct event *event);
/* A mover's dipole field at a point. */
void mover_field(const struct world *world, const struct mover *mover, int64_t time_ns,
                 const double at[3], double b[3]);
/* Raised-cosine rise, hold, raised-cosine fall: 0 to 1. */
double felt_envelope(const struct felt_pulse *pulse, int64_t time_ns);

/* felt.c: -1 is out of memory. */
int felt_init(struct felt *felt, const struct world_sampler *sampler);
void felt_free(struct felt *felt);

/* truth.c: fills sampler->truth; -1 is out of memory. */
int truth_collect(struct world_sampler *sampler);

/* sampler_slow.c: what changes little within a slot, and the mains' phasors (peak values, real and
 * imaginary, for each harmonic). */
double sampler_slow(const struct world_sampler *sampler, size_t channel, int64_t time_ns);
void sampler_phasors(const struct world_sampler *sampler, size_t channel, int64_t time_ns,
                     double phasors[SUPPLY_HARMONICS]);
double sampler_temperature_c(const struct world_sampler *sampler, int64_t time_ns);
/* sampler_fast.c: adds what may change from one sample to the next, at times t0 + i * period. */
void sampler_add_fast(const struct world_sampler *sampler, size_t channel, int64_t t0_ns,
                      double period_ns, double *values, size_t count);

#endif
