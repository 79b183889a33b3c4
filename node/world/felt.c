/* What one node feels of a script's events: when each reaches it, and how strongly.
 * Must never do I/O. Called by sampler.c at the making of a sampler. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "common/clock.h"
#include "node/world/field.h"
#include "node/world/rng.h"
#include "node/world/world.h"
#include "node/world/world_parts.h"

#define PI 3.14159265358979323846
#define FRONT_TAIL_NS INT64_C(300000000000) /* thermometers have recovered after this */
#define HOUR_NS INT64_C(3600000000000)

double felt_envelope(const struct felt_pulse *pulse, int64_t time_ns)
{
    double since = (double)(time_ns - pulse->start_ns) / (double)NS_PER_S;
    if (since < 0.0) {
        return 0.0;
    }
    if (since < pulse->rise_s) {
        return 0.5 - 0.5 * cos(PI * since / pulse->rise_s);
    }
    since -= pulse->rise_s + pulse->hold_s;
    if (since <= 0.0) {
        return 1.0;
    }
    return since < pulse->fall_s ? 0.5 + 0.5 * cos(PI * since / pulse->fall_s) : 0.0;
}

static int feel_pulse(struct felt *felt, const struct world_sampler *sampler, size_t which)
{
    const struct event *event = &sampler->world->script->events[which];
    struct felt_pulse *pulse = &felt->pulses[felt->pulse_spans.count];
    bool everywhere = event->kind == EVENT_GEOMAGNETIC;
    double distance = everywhere ? 0.0 : vec_distance(sampler->at, event->at_m);
    int64_t delay =
        event->speed_m_s > 0.0 ? llround(distance / event->speed_m_s * (double)NS_PER_S) : 0;
    *pulse = (struct felt_pulse){.event = which,
                                 .start_ns = event->at_ns + delay,
                                 .rise_s = event->rise_s,
                                 .hold_s = (double)(event_end_ns(event) - event->at_ns) /
                                           (double)NS_PER_S,
                                 .fall_s = event->fall_s};
    if (vec_dot(event->moment_a_m2, event->moment_a_m2) > 0.0) {
        field_dipole(sampler->at, event->at_m, event->moment_a_m2, pulse->field_t);
    } else if (distance <= event->reach_m) {
        memcpy(pulse->field_t, event->field_t, sizeof pulse->field_t);
    }
    pulse->counts = distance <= event->reach_m ? event->counts : 0.0;
    double length_s = pulse->rise_s + pulse->hold_s + pulse->fall_s;
    return span_list_add(&felt->pulse_spans, pulse->start_ns,
                         pulse->start_ns + llround(length_s * (double)NS_PER_S),
                         felt->pulse_spans.count);
}

static int feel_call(struct felt *felt, const struct world_sampler *sampler, size_t which)
{
    const struct event *event = &sampler->world->script->events[which];
    double place[3];
    path_room_middle(sampler->world->site, event->rooms[0], 1.0, place);
    double distance = vec_distance(sampler->at, place);
    /* Power falls with the square of the distance. */
    felt->calls[felt->call_spans.count] =
        (struct felt_call){.event = which,
                           .start_ns = event->at_ns,
                           .counts = event->counts / fmax(distance * distance, 0.25)};
    return span_list_add(&felt->call_spans, event->at_ns, event_end_ns(event),
                         felt->call_spans.count);
}

static int feel_front(struct felt *felt, const struct world_sampler *sampler,
                      const struct mover *mover)
{
    const struct event *event = &sampler->world->script->events[mover->event];
    int64_t arrival;
    double distance;
    if (!path_closest(&mover->path, sampler->room, sampler->at, &arrival, &distance)) {
        return 0;
    }
    int64_t length = event_end_ns(event) - event->at_ns;
    felt->fronts[felt->front_spans.count] =
        (struct felt_front){.event = mover->event,
                            .start_ns = arrival,
                            .drop_c = event->drop_c,
                            .for_s = (double)length / (double)NS_PER_S};
    return span_list_add(&felt->front_spans, arrival, arrival + length + FRONT_TAIL_NS,
                         felt->front_spans.count);
}

static int feel_pass(struct felt *felt, const struct world_sampler *sampler,
                     const struct mover *mover)
{
    int64_t at_ns;
    double distance;
    if (!path_closest(&mover->path, sampler->room, sampler->at, &at_ns, &distance)) {
        return 0;
    }
    felt->passes[felt->pass_spans.count] =
        (struct felt_pass){.at_ns = at_ns, .distance_m = distance};
    return span_list_add(&felt->pass_spans, at_ns, at_ns + FRONT_TAIL_NS, felt->pass_spans.count);
}

static int feel_events(struct felt *felt, const struct world_sampler *sampler)
{
    const struct script *script = sampler->world->script;
    for (size_t i = 0; i < script->event_count; i++) {
        const struct event *event = &script->events[i];
        int status = 0;
        if (event->kind == EVENT_PULSE || event->kind == EVENT_GEOMAGNETIC) {
            status = feel_pulse(felt, sampler, i);
        } else if (event->kind == EVENT_PHONE) {
            status = feel_call(felt, sampler, i);
        } else if (event->kind == EVENT_OUTAGE && event->node == sampler->node) {
            status = span_list_add(&felt->outages, event->at_ns, event_end_ns(event), i);
        } else if (event->kind == EVENT_STUCK && event->node == sampler->node) {
            status = span_list_add(&felt->stuck, event->at_ns, event_end_ns(event), i);
        }
        if (status) {
            return -1;
        }
    }
    for (size_t i = 0; i < sampler->world->mover_count; i++) {
        const struct mover *mover = &sampler->world->movers[i];
        enum event_kind kind = script->events[mover->event].kind;
        if ((kind == EVENT_DRAUGHT && feel_front(felt, sampler, mover)) ||
            (kind == EVENT_WALK && feel_pass(felt, sampler, mover))) {
            return -1;
        }
    }
    return 0;
}

/* Views in the making. */
struct view_list {
    size_t count;
    size_t size;
    struct people_view *views;
};

static int add_view(struct view_list *list, int64_t enter_ns, int64_t leave_ns)
{
    if (list->count == list->size) {
        size_t size = list->size ? list->size * 2 : 64;
        struct people_view *views = realloc(list->views, size * sizeof *views);
        if (!views) {
            return -1;
        }
        list->views = views;
        list->size = size;
    }
    list->views[list->count++] = (struct people_view){.enter_ns = enter_ns, .leave_ns = leave_ns};
    return 0;
}

static int add_walkers(struct view_list *list, const struct world_sampler *sampler, uint64_t key)
{
    const struct script *script = sampler->world->script;
    int64_t warm_ns = llround(script->motion_warm_up_s * (double)NS_PER_S);
    for (size_t i = 0; i < sampler->world->mover_count; i++) {
        const struct mover *mover = &sampler->world->movers[i];
        struct people_view views[PATH_LEGS_MAX];
        if (script->events[mover->event].kind != EVENT_WALK) {
            continue;
        }
        size_t count =
            people_views(&mover->path, sampler->room, sampler->at, script->motion_range_m, views);
        double latency_s = script->motion_latency_s * (0.5 + rng_uniform(key, mover->event));
        for (size_t k = 0; k < count; k++) {
            int64_t enter = views[k].enter_ns + llround(latency_s * (double)NS_PER_S);
            enter = enter < warm_ns ? warm_ns : enter;
            if (enter <= views[k].leave_ns && add_view(list, enter, views[k].leave_ns)) {
                return -1;
            }
        }
    }
    return 0;
}

/* False pulses: at random at a steady rate, and up to three while warming up. */
static int add_false(struct view_list *list, const struct script *script, uint64_t key)
{
    int64_t warm_ns = llround(script->motion_warm_up_s * (double)NS_PER_S);
    uint64_t warm_pulses = warm_ns > 0 ? rng_bits(key, 1) % 4 : 0;
    for (uint64_t i = 0; i < warm_pulses; i++) {
        int64_t at_ns = llround(rng_uniform(key, 2 + i) * (double)warm_ns);
        if (add_view(list, at_ns, at_ns)) {
            return -1;
        }
    }
    if (script->motion_false_per_hour <= 0.0) {
        return 0;
    }
    int64_t at_ns = warm_ns;
    for (uint64_t i = 16; at_ns < script->length_ns; i++) {
        double wait = -log(rng_uniform(key, i)) / script->motion_false_per_hour;
        at_ns += llround(wait * (double)HOUR_NS);
        if (add_view(list, at_ns, at_ns)) {
            return -1;
        }
    }
    return 0;
}

static int by_enter(const void *a, const void *b)
{
    const struct people_view *left = a;
    const struct people_view *right = b;
    if (left->enter_ns != right->enter_ns) {
        return left->enter_ns < right->enter_ns ? -1 : 1;
    }
    return (left->leave_ns > right->leave_ns) - (left->leave_ns < right->leave_ns);
}

static int feel_motion(struct felt *felt, const struct world_sampler *sampler)
{
    const struct script *script = sampler->world->script;
    uint64_t key = rng_key(script->seed, rng_key_text(0, "motion"), sampler->node);
    struct view_list list = {0};
    int status = add_walkers(&list, sampler, key) || add_false(&list, script, key + 1);
    if (!status) {
        if (list.count > 1) {
            qsort(list.views, list.count, sizeof *list.views, by_enter);
        }
        felt->edges = calloc(2 * list.count + 1, sizeof *felt->edges);
        status = felt->edges == NULL;
    }
    if (!status) {
        felt->edge_count = people_motion_edges(
            list.views, list.count, llround(script->motion_hold_s * (double)NS_PER_S),
            llround(script->motion_blind_s * (double)NS_PER_S), felt->edges);
    }
    free(list.views);
    return status ? -1 : 0;
}

int felt_init(struct felt *felt, const struct world_sampler *sampler)
{
    size_t events = sampler->world->script->event_count + 1;
    felt->pulses = calloc(events, sizeof *felt->pulses);
    felt->calls = calloc(events, sizeof *felt->calls);
    felt->fronts = calloc(events, sizeof *felt->fronts);
    felt->passes = calloc(events, sizeof *felt->passes);
    if (!felt->pulses || !felt->calls || !felt->fronts || !felt->passes ||
        feel_events(felt, sampler) || feel_motion(felt, sampler)) {
        return -1;
    }
    span_list_sort(&felt->pulse_spans);
    span_list_sort(&felt->call_spans);
    span_list_sort(&felt->front_spans);
    span_list_sort(&felt->pass_spans);
    return 0;
}

void felt_free(struct felt *felt)
{
    span_list_free(&felt->pulse_spans);
    span_list_free(&felt->call_spans);
    span_list_free(&felt->front_spans);
    span_list_free(&felt->pass_spans);
    span_list_free(&felt->outages);
    span_list_free(&felt->stuck);
    free(felt->pulses);
    free(felt->calls);
    free(felt->fronts);
    free(felt->passes);
    free(felt->edges);
}
