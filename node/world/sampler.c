/* One node's sensors in the simulated building: values slot by slot, then counts.
 * Must never depend on where a read began or on other nodes. Called by the simulate driver, tests
 * and benchmarks through world.h. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "common/clock.h"
#include "node/world/field.h"
#include "node/world/rng.h"
#include "node/world/world.h"
#include "node/world/world_parts.h"

#define TWO_PI 6.28318530717958647692
#define PS_PER_NS 1000
#define CHUNK 256
#define GRAVITY_M_S2 9.81
#define ANTENNA_REST_COUNTS 512.0 /* biased to the middle of its converter */
#define NEAREST_WIRE_M 0.3

/* A stretch of time within which everything slow runs straight and no load switches. */
struct segment {
    int64_t start_ns;
    int64_t end_ns;
    double slow[2]; /* at start and end */
    double phasors[2][SUPPLY_HARMONICS];
    double cycles[2];
    bool humming;
};

static int64_t floor_to(int64_t time_ns, int64_t slot_ns)
{
    int64_t rest = time_ns % slot_ns;
    return time_ns - (rest < 0 ? rest + slot_ns : rest);
}

static void segment_bounds(const struct world_sampler *sampler, int64_t time_ns,
                           struct segment *segment)
{
    const struct span_list *moving = &sampler->world->moving;
    int64_t last_ns;
    int64_t next_ns;
    segment->start_ns = floor_to(time_ns, WORLD_SLOT_NS);
    segment->end_ns = segment->start_ns + WORLD_SLOT_NS;
    if (span_list_next(moving, 0, segment->start_ns, segment->end_ns) < moving->count) {
        segment->start_ns = floor_to(time_ns, WORLD_SLOT_MOVING_NS);
        segment->end_ns = segment->start_ns + WORLD_SLOT_MOVING_NS;
    }
    supply_switch_bounds(&sampler->world->supply, time_ns, &last_ns, &next_ns);
    segment->start_ns = last_ns > segment->start_ns ? last_ns : segment->start_ns;
    segment->end_ns = next_ns < segment->end_ns ? next_ns : segment->end_ns;
}

static void segment_at(const struct world_sampler *sampler, size_t channel, int64_t time_ns,
                       struct segment *segment)
{
    segment_bounds(sampler, time_ns, segment);
    /* A switch at the very end belongs to the next segment. */
    const int64_t ends[2] = {segment->start_ns, segment->end_ns - 1};
    segment->humming = false;
    for (int i = 0; i < 2; i++) {
        segment->slow[i] = sampler_slow(sampler, channel, ends[i]);
        sampler_phasors(sampler, channel, ends[i], segment->phasors[i]);
        for (int h = 0; h < SUPPLY_HARMONICS; h++) {
            segment->humming = segment->humming || segment->phasors[i][h] != 0.0;
        }
    }
    if (segment->humming) {
        segment->cycles[0] = supply_cycles(&sampler->world->supply, segment->start_ns);
        segment->cycles[1] = supply_cycles(&sampler->world->supply, segment->end_ns);
    }
}

/* Adds the mains: each harmonic a phasor that turns by one complex product a sample. */
static void add_hum(const struct segment *segment, double part, double part_step, double *values,
                    size_t count)
{
    double cycles = segment->cycles[0] + part * (segment->cycles[1] - segment->cycles[0]);
    double cycles_step = part_step * (segment->cycles[1] - segment->cycles[0]);
    cycles -= floor(cycles);
    for (int h = 0; h < SUPPLY_HARMONICS; h++) {
        double start = segment->phasors[0][h];
        double slope = segment->phasors[1][h] - start;
        if (start == 0.0 && slope == 0.0) {
            continue;
        }
        double turn = TWO_PI * supply_harmonic[h];
        double c = cos(turn * cycles);
        double s = sin(turn * cycles);
        double c_step = cos(turn * cycles_step);
        double s_step = sin(turn * cycles_step);
        double amplitude = start + slope * part;
        double amplitude_step = slope * part_step;
        for (size_t i = 0; i < count; i++) {
            values[i] += amplitude * c;
            double c_next = c * c_step - s * s_step;
            s = s * c_step + c * s_step;
            c = c_next;
            amplitude += amplitude_step;
        }
    }
}

static void fill(const struct world_sampler *sampler, size_t channel, const struct segment *segment,
                 int64_t t0_ns, double period_ns, double *values, size_t count)
{
    double length = (double)(segment->end_ns - segment->start_ns);
    double part = (double)(t0_ns - segment->start_ns) / length;
    double part_step = period_ns / length;
    double slope = segment->slow[1] - segment->slow[0];
    for (size_t i = 0; i < count; i++) {
        values[i] = segment->slow[0] + slope * (part + (double)i * part_step);
    }
    if (segment->humming) {
        add_hum(segment, part, part_step, values, count);
    }
    sampler_add_fast(sampler, channel, t0_ns, period_ns, values, count);
}

static int64_t sample_time(int64_t t0_ns, int64_t period_ps, size_t i)
{
    return t0_ns + ((int64_t)i * period_ps + PS_PER_NS / 2) / PS_PER_NS;
}

/* How many samples from i on lie before end_ns, at least 1, at most CHUNK. */
static size_t samples_before(int64_t t0_ns, int64_t period_ps, size_t i, size_t count,
                             int64_t end_ns)
{
    size_t low = 1;
    size_t high = count - i < CHUNK ? count - i : CHUNK;
    while (low < high) {
        size_t middle = low + (high - low + 1) / 2;
        if (sample_time(t0_ns, period_ps, i + middle - 1) < end_ns) {
            low = middle;
        } else {
            high = middle - 1;
        }
    }
    return low;
}

double world_sampler_value(const struct world_sampler *sampler, size_t channel, int64_t time_ns)
{
    struct segment segment;
    double value;
    segment_at(sampler, channel, time_ns, &segment);
    fill(sampler, channel, &segment, time_ns, 0.0, &value, 1);
    return value;
}

static void hold_stuck(const struct world_sampler *sampler, size_t channel, int64_t t0_ns,
                       int64_t period_ps, int32_t *counts, size_t count)
{
    const struct span_list *stuck = &sampler->felt.stuck;
    int64_t last_ns = sample_time(t0_ns, period_ps, count - 1);
    for (size_t at = span_list_next(stuck, 0, t0_ns, last_ns); at < stuck->count;
         at = span_list_next(stuck, at + 1, t0_ns, last_ns)) {
        const struct span *span = &stuck->spans[at];
        const struct event *event = &sampler->world->script->events[span->index];
        if (strcmp(event->channel, sampler->channels[channel].name) != 0) {
            continue;
        }
        int32_t held = sensor_count(&sampler->sampled[channel].sensor,
                                    world_sampler_value(sampler, channel, span->start_ns - 1));
        for (size_t i = 0; i < count; i++) {
            int64_t time_ns = sample_time(t0_ns, period_ps, i);
            if (time_ns >= span->start_ns && time_ns < span->end_ns) {
                counts[i] = held;
            }
        }
    }
}

/* The number of the noise that belongs to the first sample: reads that follow on each other count
 * on, others count from time 0. */
static uint64_t first_number(const struct sampled_channel *sampled, int64_t t0_ns,
                             int64_t period_ps)
{
    if (period_ps <= 0) {
        return (uint64_t)t0_ns;
    }
    if (llabs(t0_ns - sampled->next_ns) <= period_ps / PS_PER_NS / 4) {
        return sampled->next_number;
    }
    return (uint64_t)llround((double)t0_ns * PS_PER_NS / (double)period_ps);
}

void world_sampler_read(struct world_sampler *sampler, size_t channel, int64_t t0_ns,
                        int64_t period_ps, int32_t *counts, size_t count)
{
    struct sampled_channel *sampled = &sampler->sampled[channel];
    uint64_t number = first_number(sampled, t0_ns, period_ps);
    double period_ns = (double)period_ps / PS_PER_NS;
    double values[CHUNK];
    for (size_t i = 0; i < count;) {
        struct segment segment;
        int64_t time_ns = sample_time(t0_ns, period_ps, i);
        segment_at(sampler, channel, time_ns, &segment);
        do {
            size_t n = samples_before(t0_ns, period_ps, i, count, segment.end_ns);
            fill(sampler, channel, &segment, time_ns, period_ns, values, n);
            sensor_read(&sampled->sensor, number + i, values, counts + i, n);
            i += n;
            time_ns = sample_time(t0_ns, period_ps, i);
        } while (i < count && time_ns < segment.end_ns);
    }
    if (count) {
        hold_stuck(sampler, channel, t0_ns, period_ps, counts, count);
        sampled->next_ns = sample_time(t0_ns, period_ps, count);
        sampled->next_number = number + count;
    }
}

/* The first edge after time_ns. */
static size_t edge_after(const struct felt *felt, int64_t time_ns)
{
    size_t low = 0;
    size_t high = felt->edge_count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (felt->edges[middle].time_ns <= time_ns) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low;
}

size_t world_sampler_changes(const struct world_sampler *sampler, int64_t after_ns,
                             int64_t until_ns, struct world_change *changes, size_t size)
{
    const struct felt *felt = &sampler->felt;
    size_t count = 0;
    for (size_t at = edge_after(felt, after_ns);
         at < felt->edge_count && count < size && felt->edges[at].time_ns <= until_ns; at++) {
        changes[count++] = (struct world_change){.time_ns = felt->edges[at].time_ns,
                                                 .count = felt->edges[at].level};
    }
    return count;
}

int32_t world_sampler_motion(const struct world_sampler *sampler, int64_t time_ns)
{
    size_t at = edge_after(&sampler->felt, time_ns);
    return at ? sampler->felt.edges[at - 1].level : 0;
}

bool world_sampler_silent(const struct world_sampler *sampler, int64_t time_ns, int64_t *until_ns)
{
    const struct span_list *outages = &sampler->felt.outages;
    bool silent = false;
    for (size_t at = span_list_next(outages, 0, time_ns, time_ns); at < outages->count;
         at = span_list_next(outages, at + 1, time_ns, time_ns)) {
        if (time_ns < outages->spans[at].end_ns) {
            *until_ns = outages->spans[at].end_ns;
            silent = true;
        }
    }
    return silent;
}

const struct channel *world_sampler_channels(const struct world_sampler *sampler, size_t *count)
{
    *count = sampler->channel_count;
    return sampler->channels;
}

const struct world_truth *world_sampler_truth(const struct world_sampler *sampler, size_t *count)
{
    *count = sampler->truth_count;
    return sampler->truth;
}

static void set_axis(double axis[3], const char *channel_name)
{
    char quantity[IDENT_SIZE];
    char name[IDENT_SIZE];
    channel_name_split(channel_name, quantity, name);
    axis[0] = strcmp(name, "x") == 0;
    axis[1] = strcmp(name, "y") == 0;
    axis[2] = strcmp(name, "z") == 0;
}

static int init_channel(struct world_sampler *sampler, size_t channel, struct error *error)
{
    const struct script *script = sampler->world->script;
    struct channel *told = &sampler->channels[channel];
    struct sampled_channel *sampled = &sampler->sampled[channel];
    uint64_t key = rng_key(script->seed, rng_key_text(0, told->name), sampler->node + 1);
    if (sensor_init(&sampled->sensor, told, key, error)) {
        return -1;
    }
    if (told->rate_hz <= 0.0 && told->quantity != QUANTITY_MOTION) {
        return error_set(error, ERROR_RANGE, "channel \"%s\": only motion may have rate_hz 0",
                         told->name);
    }
    set_axis(sampled->axis, told->name);
    sampled->next_ns = INT64_MIN / 2;
    sampled->slow_key = rng_key(key, 1, 0);
    switch (told->quantity) {
    case QUANTITY_MAGNETIC:
        sampled->sensor.noise_counts = script->noise_magnetic_counts;
        sampled->sensor.gain = 1.0 + script->gain_error * (2.0 * rng_uniform(key, 1) - 1.0);
        sampled->resting = script->offset_t * (2.0 * rng_uniform(key, 2) - 1.0);
        sampled->drift_t_per_c = script->drift_t_per_c * rng_gaussian(key, 3);
        break;
    case QUANTITY_ELECTRIC:
        sampled->sensor.noise_counts = script->noise_electric_counts;
        sampled->resting =
            sampled->sensor.step * (ANTENNA_REST_COUNTS + 5.0 * rng_gaussian(key, 1));
        break;
    case QUANTITY_VIBRATION:
        sampled->resting = GRAVITY_M_S2 * sampled->axis[2];
        break;
    default:
        break;
    }
    sampled->slow_noise = script->noise_slow * sampled->sensor.noise_counts * sampled->sensor.step;
    sampled->sensor.key = rng_key(key, 2, 0);
    return 0;
}

/* What an ampere on each wire makes at the node, and how much of the supply its antenna hears. */
static void init_wires(struct world_sampler *sampler)
{
    const struct script *script = sampler->world->script;
    for (size_t i = 0; i < script->wire_count; i++) {
        const struct script_wire *wire = &script->wires[i];
        double *b = sampler->wire_t[i];
        if (wire->spacing_m > 0.0) {
            field_pair(sampler->at, wire->through_m, wire->along, wire->across, wire->spacing_m,
                       1.0, b);
        } else {
            field_wire(sampler->at, wire->through_m, wire->along, 1.0, b);
        }
        double off[3] = {sampler->at[0] - wire->through_m[0], sampler->at[1] - wire->through_m[1],
                         sampler->at[2] - wire->through_m[2]};
        double lengthwise = vec_dot(off, wire->along);
        double distance = sqrt(fmax(vec_dot(off, off) - lengthwise * lengthwise, 0.0));
        sampler->pickup_counts += script->pickup_counts / fmax(distance, NEAREST_WIRE_M);
    }
}

int world_sampler_new(const struct world *world, size_t node, struct world_sampler **sampler,
                      struct error *error)
{
    if (node >= world->site->node_count) {
        return error_set(error, ERROR_NOT_FOUND, "no node number %zu in the site", node);
    }
    const struct site_node *entry = &world->site->nodes[node];
    struct world_sampler *made = calloc(1, sizeof *made);
    if (!made) {
        return error_set(error, ERROR_MEMORY, "sampler: out of memory");
    }
    made->world = world;
    made->node = node;
    made->room = entry->room;
    path_node_place(world->site, node, made->at);
    made->channel_count = entry->channel_count;
    memcpy(made->channels, entry->channels, entry->channel_count * sizeof *made->channels);
    init_wires(made);
    for (size_t i = 0; i < made->channel_count; i++) {
        if (init_channel(made, i, error)) {
            world_sampler_free(made);
            return error_wrap(error, "node \"%s\"", entry->id);
        }
    }
    if (felt_init(&made->felt, made) || truth_collect(made)) {
        world_sampler_free(made);
        return error_set(error, ERROR_MEMORY, "sampler: out of memory");
    }
    *sampler = made;
    return 0;
}

void world_sampler_free(struct world_sampler *sampler)
{
    if (sampler) {
        felt_free(&sampler->felt);
        free(sampler->truth);
        free(sampler);
    }
}
