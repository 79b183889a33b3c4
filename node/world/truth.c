/* What truly happened at a node, told by the physics that made its samples.
 * Must never look at samples. Called by sampler.c at the making of a sampler. */
#include <math.h>
#include <stdlib.h>

#include "node/world/field.h"
#include "node/world/world.h"
#include "node/world/world_parts.h"

#define SQRT2 1.41421356237309504880
#define SCAN_NS INT64_C(10000000) /* step of the search along a mover's way */
#define ONSET_PART 0.1

static bool senses(const struct world_sampler *sampler, enum quantity quantity)
{
    for (size_t i = 0; i < sampler->channel_count; i++) {
        if (sampler->channels[i].quantity == quantity) {
            return true;
        }
    }
    return false;
}

static int add(struct world_sampler *sampler, const struct world_truth *truth)
{
    if (sampler->truth_count == sampler->truth_size) {
        size_t size = sampler->truth_size ? sampler->truth_size * 2 : 64;
        struct world_truth *list = realloc(sampler->truth, size * sizeof *list);
        if (!list) {
            return -1;
        }
        sampler->truth = list;
        sampler->truth_size = size;
    }
    sampler->truth[sampler->truth_count++] = *truth;
    return 0;
}

/* An entry that begins at full strength at onset_ns. */
static int add_plain(struct world_sampler *sampler, size_t event, enum quantity quantity,
                     int64_t onset_ns, int64_t end_ns, double amplitude)
{
    const struct world_truth truth = {.event = event,
                                      .kind = sampler->world->script->events[event].kind,
                                      .quantity = quantity,
                                      .onset_ns = onset_ns,
                                      .peak_ns = onset_ns,
                                      .end_ns = end_ns,
                                      .amplitude = amplitude};
    if (amplitude == 0.0 || (quantity != QUANTITY_OTHER && !senses(sampler, quantity))) {
        return 0;
    }
    return add(sampler, &truth);
}

static int add_load(struct world_sampler *sampler, size_t which)
{
    const struct script *script = sampler->world->script;
    const struct event *event = &script->events[which];
    double sum[3] = {0.0, 0.0, 0.0};
    for (size_t wire = event->wire; wire != SCRIPT_NO_WIRE; wire = script->wires[wire].fed_by) {
        for (int i = 0; i < 3; i++) {
            sum[i] += SQRT2 * event->amps * sampler->wire_t[wire][i];
        }
    }
    int64_t end_ns =
        event->length_ns == SCRIPT_FOREVER ? INT64_MAX : event->at_ns + event->length_ns;
    return add_plain(sampler, which, QUANTITY_MAGNETIC, event->at_ns, end_ns,
                     sqrt(vec_dot(sum, sum)));
}

static double mover_strength(const struct world_sampler *sampler, const struct mover *mover,
                             int64_t time_ns)
{
    double b[3];
    mover_field(sampler->world, mover, time_ns, sampler->at, b);
    return sqrt(vec_dot(b, b));
}

static int add_dipole(struct world_sampler *sampler, const struct mover *mover)
{
    const struct event *event = &sampler->world->script->events[mover->event];
    int64_t start_ns = path_start_ns(&mover->path);
    int64_t end_ns = path_end_ns(&mover->path);
    struct world_truth truth = {.event = mover->event,
                                .kind = event->kind,
                                .quantity = QUANTITY_MAGNETIC,
                                .onset_ns = start_ns,
                                .end_ns = end_ns};
    if (!senses(sampler, QUANTITY_MAGNETIC) ||
        vec_dot(event->moment_a_m2, event->moment_a_m2) == 0.0) {
        return 0;
    }
    for (int64_t t = start_ns; t <= end_ns; t += SCAN_NS) {
        double strength = mover_strength(sampler, mover, t);
        if (strength > truth.amplitude) {
            truth.amplitude = strength;
            truth.peak_ns = t;
        }
    }
    while (truth.onset_ns < truth.peak_ns &&
           mover_strength(sampler, mover, truth.onset_ns) < ONSET_PART * truth.amplitude) {
        truth.onset_ns += SCAN_NS;
    }
    return truth.amplitude > 0.0 ? add(sampler, &truth) : 0;
}

static int add_views(struct world_sampler *sampler, const struct mover *mover)
{
    struct people_view views[PATH_LEGS_MAX];
    double distance;
    size_t count = people_views(&mover->path, sampler->room, sampler->at,
                                sampler->world->script->motion_range_m, views);
    if (!count || !senses(sampler, QUANTITY_MOTION)) {
        return 0;
    }
    struct world_truth truth = {.event = mover->event,
                                .kind = EVENT_WALK,
                                .quantity = QUANTITY_MOTION,
                                .onset_ns = views[0].enter_ns,
                                .end_ns = views[count - 1].leave_ns,
                                .amplitude = 1.0};
    (void)path_closest(&mover->path, sampler->room, sampler->at, &truth.peak_ns, &distance);
    return add(sampler, &truth);
}

static int add_pulses(struct world_sampler *sampler)
{
    const struct felt *felt = &sampler->felt;
    for (size_t i = 0; i < felt->pulse_spans.count; i++) {
        const struct span *span = &felt->pulse_spans.spans[i];
        const struct felt_pulse *pulse = &felt->pulses[span->index];
        double field = sqrt(vec_dot(pulse->field_t, pulse->field_t));
        if (add_plain(sampler, pulse->event, QUANTITY_MAGNETIC, span->start_ns, span->end_ns,
                      field) ||
            add_plain(sampler, pulse->event, QUANTITY_ELECTRIC, span->start_ns, span->end_ns,
                      pulse->counts)) {
            return -1;
        }
    }
    return 0;
}

static int add_air(struct world_sampler *sampler)
{
    const struct felt *felt = &sampler->felt;
    for (size_t i = 0; i < felt->call_spans.count; i++) {
        const struct span *span = &felt->call_spans.spans[i];
        const struct felt_call *call = &felt->calls[span->index];
        if (add_plain(sampler, call->event, QUANTITY_ELECTRIC, span->start_ns, span->end_ns,
                      call->counts)) {
            return -1;
        }
    }
    for (size_t i = 0; i < felt->front_spans.count; i++) {
        const struct felt_front *front = &felt->fronts[felt->front_spans.spans[i].index];
        int64_t end_ns = front->start_ns + llround(front->for_s * 1e9);
        if (add_plain(sampler, front->event, QUANTITY_TEMPERATURE, front->start_ns, end_ns,
                      -front->drop_c)) {
            return -1;
        }
    }
    return 0;
}

static int add_faults(struct world_sampler *sampler)
{
    const struct felt *felt = &sampler->felt;
    for (size_t i = 0; i < felt->outages.count; i++) {
        const struct span *span = &felt->outages.spans[i];
        if (add_plain(sampler, span->index, QUANTITY_OTHER, span->start_ns, span->end_ns, 1.0)) {
            return -1;
        }
    }
    for (size_t i = 0; i < felt->stuck.count; i++) {
        const struct span *span = &felt->stuck.spans[i];
        const struct event *event = &sampler->world->script->events[span->index];
        if (add_plain(sampler, span->index, quantity_from_name(event->channel), span->start_ns,
                      span->end_ns, 1.0)) {
            return -1;
        }
    }
    return 0;
}

static int by_onset(const void *a, const void *b)
{
    const struct world_truth *left = a;
    const struct world_truth *right = b;
    if (left->onset_ns != right->onset_ns) {
        return left->onset_ns < right->onset_ns ? -1 : 1;
    }
    if (left->event != right->event) {
        return left->event < right->event ? -1 : 1;
    }
    return (left->quantity > right->quantity) - (left->quantity < right->quantity);
}

int truth_collect(struct world_sampler *sampler)
{
    const struct world *world = sampler->world;
    for (size_t i = 0; i < world->script->event_count; i++) {
        if (world->script->events[i].kind == EVENT_LOAD && add_load(sampler, i)) {
            return -1;
        }
    }
    for (size_t i = 0; i < world->mover_count; i++) {
        const struct mover *mover = &world->movers[i];
        enum event_kind kind = world->script->events[mover->event].kind;
        if ((kind == EVENT_WALK && add_views(sampler, mover)) ||
            (kind != EVENT_DRAUGHT && add_dipole(sampler, mover))) {
            return -1;
        }
    }
    if (add_pulses(sampler) || add_air(sampler) || add_faults(sampler)) {
        return -1;
    }
    if (sampler->truth_count > 1) {
        qsort(sampler->truth, sampler->truth_count, sizeof *sampler->truth, by_onset);
    }
    return 0;
}
