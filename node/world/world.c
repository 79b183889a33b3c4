/* Puts a site and a script together into a building whose movers and currents are laid out in time.
 * Must never do I/O or read a clock. Called by the simulate driver, tests and benchmarks. */
#include "node/world/world.h"

#include <math.h>
#include <stdlib.h>

#include "common/clock.h"
#include "node/world/field.h"
#include "node/world/rng.h"
#include "node/world/world_parts.h"

#define PI 3.14159265358979323846
#define FAR_AWAY_NS INT64_C(400000000000000)
#define DRAUGHT_HEIGHT_M 0.5

int64_t event_end_ns(const struct event *event)
{
    return event->at_ns + (event->length_ns > FAR_AWAY_NS ? FAR_AWAY_NS : event->length_ns);
}

static bool event_moves(const struct event *event)
{
    return event->kind == EVENT_WALK || event->kind == EVENT_MAGNET || event->kind == EVENT_DRAUGHT;
}

static void lay_path(const struct site *site, const struct event *event, struct path *path)
{
    if (event->point_count) {
        path_along_points(event->points_m, event->point_count, event->speed_m_s, event->at_ns,
                          path);
    } else {
        double height_m = event->kind == EVENT_DRAUGHT ? DRAUGHT_HEIGHT_M : event->height_m;
        path_through_rooms(site, event->rooms, event->room_count, height_m, event->speed_m_s,
                           event->at_ns, path);
    }
}

static int lay_movers(struct world *world)
{
    const struct script *script = world->script;
    size_t count = 0;
    for (size_t i = 0; i < script->event_count; i++) {
        count += event_moves(&script->events[i]);
    }
    world->movers = calloc(count + 1, sizeof *world->movers);
    if (!world->movers) {
        return -1;
    }
    for (size_t i = 0; i < script->event_count; i++) {
        const struct event *event = &script->events[i];
        if (!event_moves(event)) {
            continue;
        }
        struct mover *mover = &world->movers[world->mover_count];
        mover->event = i;
        lay_path(world->site, event, &mover->path);
        if (event->kind != EVENT_DRAUGHT &&
            span_list_add(&world->moving, path_start_ns(&mover->path), path_end_ns(&mover->path),
                          world->mover_count)) {
            return -1;
        }
        world->mover_count++;
    }
    span_list_sort(&world->moving);
    return 0;
}

int world_new(const struct site *site, const struct script *script, struct world **world,
              struct error *error)
{
    struct world *made = calloc(1, sizeof *made);
    if (!made) {
        return error_set(error, ERROR_MEMORY, "world: out of memory");
    }
    made->site = site;
    made->script = script;
    made->wander_key = rng_key(script->seed, rng_key_text(0, "natural"), 0);
    field_earth(script->earth_t, script->dip_deg, script->north_deg, made->earth_t);
    if (supply_init(&made->supply, script, error)) {
        world_free(made);
        return -1;
    }
    if (lay_movers(made)) {
        world_free(made);
        return error_set(error, ERROR_MEMORY, "world: out of memory");
    }
    *world = made;
    return 0;
}

void world_free(struct world *world)
{
    if (world) {
        if (world->supply.script) {
            supply_free(&world->supply);
        }
        span_list_free(&world->moving);
        free(world->movers);
        free(world);
    }
}

/* 0 at the ends of the way, 1 from WORLD_FADE_NS (a quarter of a short way) on. */
static double fade(const struct path *path, int64_t time_ns)
{
    int64_t start = path_start_ns(path);
    int64_t end = path_end_ns(path);
    int64_t length = (end - start) / 4 < WORLD_FADE_NS ? (end - start) / 4 : WORLD_FADE_NS;
    int64_t inside = time_ns - start < end - time_ns ? time_ns - start : end - time_ns;
    if (inside <= 0) {
        return 0.0;
    }
    return inside >= length ? 1.0 : 0.5 - 0.5 * cos(PI * (double)inside / (double)length);
}

void mover_field(const struct world *world, const struct mover *mover, int64_t time_ns,
                 const double at[3], double b[3])
{
    const struct event *event = &world->script->events[mover->event];
    double place[3];
    path_place(&mover->path, time_ns, place);
    field_dipole(at, place, event->moment_a_m2, b);
    double strength = fade(&mover->path, time_ns);
    for (int i = 0; i < 3; i++) {
        b[i] *= strength;
    }
}
