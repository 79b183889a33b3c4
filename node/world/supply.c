/* Supply phase and currents of the simulated building.
 * Must never know of nodes. Called by world.c, the samplers and the truth list. */
#include "node/world/supply.h"

#include <math.h>
#include <stdlib.h>

#include "common/clock.h"
#include "node/world/rng.h"

#define TWO_PI 6.28318530717958647692

const int supply_harmonic[SUPPLY_HARMONICS] = {1, 3, 5};

/* The wander is three slow waves of equal strength, so that its phase has a closed formula. */
static const double wander_period_s[3] = {47.0, 193.0, 811.0};

/* A switch of one load, before they are summed. */
struct change {
    int64_t at_ns;
    size_t wire;
    double amps;
};

struct change_list {
    size_t count;
    size_t size;
    struct change *changes;
};

static int add_change(struct change_list *list, int64_t at_ns, size_t wire, double amps)
{
    if (list->count == list->size) {
        size_t size = list->size ? list->size * 2 : 64;
        struct change *changes = realloc(list->changes, size * sizeof *changes);
        if (!changes) {
            return -1;
        }
        list->changes = changes;
        list->size = size;
    }
    list->changes[list->count++] = (struct change){.at_ns = at_ns, .wire = wire, .amps = amps};
    return 0;
}

/* A load goes on its wire and on those that feed it. */
static int add_load(struct change_list *list, const struct script *script, size_t wire, double amps,
                    int64_t on_ns, int64_t off_ns)
{
    for (; wire != SCRIPT_NO_WIRE; wire = script->wires[wire].fed_by) {
        if (add_change(list, on_ns, wire, amps) ||
            (off_ns != SCRIPT_FOREVER && add_change(list, off_ns, wire, -amps))) {
            return -1;
        }
    }
    return 0;
}

static int add_cycle(struct change_list *list, const struct script *script, size_t which)
{
    const struct script_cycle *cycle = &script->cycles[which];
    uint64_t key = rng_key(script->seed, rng_key_text(0, "cycle"), which);
    int64_t at_ns = llround(cycle->first_s * (double)NS_PER_S);
    for (uint64_t turn = 0; at_ns < script->length_ns; turn++) {
        double on_s = cycle->on_s * (1.0 + cycle->jitter * (2.0 * rng_uniform(key, 2 * turn) - 1));
        double off_s =
            cycle->off_s * (1.0 + cycle->jitter * (2.0 * rng_uniform(key, 2 * turn + 1) - 1));
        int64_t off_ns = at_ns + llround(on_s * (double)NS_PER_S);
        if (add_load(list, script, cycle->wire, cycle->amps, at_ns, off_ns)) {
            return -1;
        }
        at_ns = off_ns + llround(off_s * (double)NS_PER_S);
    }
    return 0;
}

static int by_time(const void *a, const void *b)
{
    const struct change *left = a;
    const struct change *right = b;
    if (left->at_ns != right->at_ns) {
        return left->at_ns < right->at_ns ? -1 : 1;
    }
    return (left->wire > right->wire) - (left->wire < right->wire);
}

static int collect(struct change_list *list, const struct script *script)
{
    for (size_t i = 0; i < script->cycle_count; i++) {
        if (add_cycle(list, script, i)) {
            return -1;
        }
    }
    for (size_t i = 0; i < script->event_count; i++) {
        const struct event *event = &script->events[i];
        int64_t off_ns =
            event->length_ns == SCRIPT_FOREVER ? SCRIPT_FOREVER : event->at_ns + event->length_ns;
        if (event->kind == EVENT_LOAD &&
            add_load(list, script, event->wire, event->amps, event->at_ns, off_ns)) {
            return -1;
        }
    }
    if (list->count > 1) {
        qsort(list->changes, list->count, sizeof *list->changes, by_time);
    }
    return 0;
}

static int sum_up(struct supply *supply, const struct change_list *list)
{
    supply->switch_ns = calloc(list->count + 1, sizeof *supply->switch_ns);
    if (!supply->switch_ns) {
        return -1;
    }
    for (size_t wire = 0; wire < supply->script->wire_count; wire++) {
        supply->steps[wire] = calloc(list->count + 1, sizeof **supply->steps);
        if (!supply->steps[wire]) {
            return -1;
        }
    }
    for (size_t i = 0; i < list->count; i++) {
        const struct change *change = &list->changes[i];
        struct supply_step *steps = supply->steps[change->wire];
        size_t count = supply->step_count[change->wire]++;
        double before = count ? steps[count - 1].amps : 0.0;
        steps[count] = (struct supply_step){.at_ns = change->at_ns, .amps = before + change->amps};
        if (!supply->switch_count || supply->switch_ns[supply->switch_count - 1] != change->at_ns) {
            supply->switch_ns[supply->switch_count++] = change->at_ns;
        }
    }
    return 0;
}

int supply_init(struct supply *supply, const struct script *script, struct error *error)
{
    struct change_list list = {0};
    *supply = (struct supply){.script = script,
                              .key = rng_key(script->seed, rng_key_text(0, "mains"), 0)};
    for (uint64_t i = 0; i < 3; i++) {
        supply->wander_phase[i] = TWO_PI * rng_uniform(supply->key, i);
    }
    int status = collect(&list, script) || sum_up(supply, &list);
    free(list.changes);
    if (status) {
        supply_free(supply);
        return error_set(error, ERROR_MEMORY, "supply: out of memory");
    }
    return 0;
}

void supply_free(struct supply *supply)
{
    for (size_t wire = 0; wire < SCRIPT_WIRES_MAX; wire++) {
        free(supply->steps[wire]);
    }
    free(supply->switch_ns);
    *supply = (struct supply){0};
}

double supply_cycles(const struct supply *supply, int64_t time_ns)
{
    double t = (double)time_ns / (double)NS_PER_S;
    /* Three waves of rms wander / sqrt(3) each: amplitude wander * sqrt(2/3). */
    double amplitude = supply->script->mains_wander_hz * sqrt(2.0 / 3.0);
    double cycles = supply->script->mains_hz * t;
    for (int i = 0; i < 3; i++) {
        double rate = TWO_PI / wander_period_s[i];
        cycles += amplitude / rate *
                  (cos(supply->wander_phase[i]) - cos(rate * t + supply->wander_phase[i]));
    }
    return cycles;
}

double supply_switched_amps(const struct supply *supply, size_t wire, int64_t time_ns)
{
    const struct supply_step *steps = supply->steps[wire];
    size_t low = 0;
    size_t high = supply->step_count[wire];
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (steps[middle].at_ns <= time_ns) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low ? steps[low - 1].amps : 0.0;
}

static double standing_amps(const struct supply *supply, size_t wire, int64_t time_ns)
{
    double t = (double)time_ns / (double)NS_PER_S;
    double wobble = supply->script->standing_wobble * rng_smooth(supply->key + 16 + wire, t / 7.0);
    return supply->script->wires[wire].standing_amps * (1.0 + wobble);
}

double supply_wire_amps(const struct supply *supply, size_t wire, int harmonic, int64_t time_ns)
{
    double standing = standing_amps(supply, wire, time_ns);
    switch (harmonic) {
    case 1:
        return standing + supply_switched_amps(supply, wire, time_ns);
    case 3:
        return standing * supply->script->third;
    case 5:
        return standing * supply->script->fifth;
    default:
        return 0.0;
    }
}

double supply_total_amps(const struct supply *supply, int64_t time_ns)
{
    double total = 0.0;
    for (size_t wire = 0; wire < supply->script->wire_count; wire++) {
        if (supply->script->wires[wire].fed_by == SCRIPT_NO_WIRE) {
            total += supply_wire_amps(supply, wire, 1, time_ns);
        }
    }
    return total;
}

void supply_switch_bounds(const struct supply *supply, int64_t time_ns, int64_t *last_ns,
                          int64_t *next_ns)
{
    size_t low = 0;
    size_t high = supply->switch_count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (supply->switch_ns[middle] <= time_ns) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    *last_ns = low ? supply->switch_ns[low - 1] : INT64_MIN;
    *next_ns = low < supply->switch_count ? supply->switch_ns[low] : INT64_MAX;
}
