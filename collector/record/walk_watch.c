/* Follows notices, then disturbances, of the night that is being recorded.
 * Must never take for an answer what came before the team was told to walk. Called by walk_run.c
 * and acts_before.c. */
#include "collector/record/walk_watch.h"

#include <stdlib.h>
#include <string.h>

#include "collector/night/reader.h"
#include "common/clock.h"

/* A quantity that has not learnt so long after the spell's stated length is not waited for: it may
 * be extended to twice that. */
#define LEARN_MORE 2.2
#define LEARN_LATER_S 20.0

struct walk_watch {
    struct walk_wishes wishes;
    char *night;
    struct night_reader *reader;
    struct walk *walk;
    enum walk_stage stage;
    int64_t begun_ns; /* notices from here on are of our spell */
    int64_t stated_ns;
    int64_t last_ns; /* of this stage */
    bool timed_out;
    bool good;
    struct text report;
    bool *learnt; /* by node */
};

static int walk_from(struct walk_watch *watch, int64_t now_ns, struct error *error)
{
    walk_free(watch->walk);
    watch->walk = NULL;
    return walk_new(watch->wishes.site, watch->wishes.rooms, watch->wishes.room_count,
                    now_ns - NS_PER_S, &watch->walk, error);
}

static int begin_walking(struct walk_watch *watch, int64_t now_ns, struct error *error)
{
    watch->stage = WALK_WALKING;
    watch->last_ns = now_ns + (int64_t)(watch->wishes.limit_s * 1e9);
    return walk_from(watch, now_ns, error);
}

int walk_watch_new(const struct walk_wishes *wishes, const char *night_path, int64_t now_ns,
                   struct walk_watch **out, struct error *error)
{
    struct walk_watch *watch = calloc(1, sizeof *watch);
    if (watch) {
        watch->wishes = *wishes;
        watch->begun_ns = now_ns;
        watch->stated_ns = now_ns + (int64_t)(wishes->quiet_s * 1e9);
        watch->last_ns = now_ns + (int64_t)((wishes->quiet_s * LEARN_MORE + LEARN_LATER_S) * 1e9);
        watch->night = strdup(night_path);
        watch->learnt = calloc(wishes->site->node_count + 1, sizeof *watch->learnt);
    }
    if (!watch || !watch->night || !watch->learnt) {
        walk_watch_free(watch);
        return error_set(error, ERROR_MEMORY, "walk: out of memory");
    }
    int failed = wishes->quiet_s > 0.0 ? walk_from(watch, now_ns, error)
                                       : begin_walking(watch, now_ns, error);
    if (failed != 0) {
        walk_watch_free(watch);
        return -1;
    }
    *out = watch;
    return 0;
}

void walk_watch_free(struct walk_watch *watch)
{
    if (watch) {
        night_reader_close(watch->reader);
        walk_free(watch->walk);
        text_free(&watch->report);
        free(watch->night);
        free(watch->learnt);
        free(watch);
    }
}

static int take_notice(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                       const char *text)
{
    struct walk_watch *watch = context;
    (void)quantity;
    (void)text;
    if (node < watch->wishes.site->node_count && time_ns >= watch->begun_ns) {
        watch->learnt[node] = true;
    }
    return 0;
}

static bool all_learnt(const struct walk_watch *watch)
{
    for (uint32_t node = 0; node < watch->wishes.site->node_count; node++) {
        if (walk_get_node(watch->walk, node)->expected && !watch->learnt[node]) {
            return false;
        }
    }
    return true;
}

static int take_disturbance(void *context, const struct disturbance *disturbance)
{
    struct walk_watch *watch = context;
    if (disturbance->node < watch->wishes.site->node_count) {
        (void)walk_take(watch->walk, disturbance);
    }
    return 0;
}

/* Until each node of the way has learnt something, or will not. */
static int look_at_quiet(struct walk_watch *watch, int analysis, int64_t now_ns,
                         struct error *error)
{
    if (night_each_notice(watch->reader, analysis, take_notice, watch, error) != 0) {
        return -1;
    }
    return all_learnt(watch) || now_ns >= watch->last_ns ? begin_walking(watch, now_ns, error) : 0;
}

static int look_at_walk(struct walk_watch *watch, int analysis, int64_t now_ns, struct error *error)
{
    if (night_each_disturbance(watch->reader, analysis, take_disturbance, watch, error) != 0) {
        return -1;
    }
    watch->timed_out = !walk_is_done(watch->walk) && now_ns >= watch->last_ns;
    if (walk_is_done(watch->walk) || watch->timed_out) {
        watch->stage = WALK_OVER;
        watch->good = walk_report(watch->walk, &watch->report);
    }
    return watch->report.failed ? error_set(error, ERROR_MEMORY, "walk: out of memory") : 0;
}

int walk_watch_look(struct walk_watch *watch, int64_t now_ns, struct error *error)
{
    struct night_info info;
    if (!watch->reader && night_reader_open(watch->night, &watch->reader, error) != 0) {
        return -1;
    }
    if (watch->stage == WALK_OVER || night_read_info(watch->reader, &info, error) != 0) {
        return watch->stage == WALK_OVER ? 0 : -1;
    }
    return watch->stage == WALK_QUIET ? look_at_quiet(watch, info.analysis, now_ns, error)
                                      : look_at_walk(watch, info.analysis, now_ns, error);
}

enum walk_stage walk_watch_stage(const struct walk_watch *watch)
{
    return watch->stage;
}

int64_t walk_watch_until_ns(const struct walk_watch *watch)
{
    return watch->stage == WALK_QUIET ? watch->stated_ns : watch->last_ns;
}

bool walk_watch_learnt(const struct walk_watch *watch, uint32_t node)
{
    return watch->learnt[node];
}

const struct walk_node *walk_watch_node(const struct walk_watch *watch, uint32_t node)
{
    return walk_get_node(watch->walk, node);
}

static void say_way(const struct walk_watch *watch, struct text *out)
{
    (void)text_append_format(out, "Now walk, a few seconds in each room: ");
    for (size_t i = 0; i < watch->wishes.room_count; i++) {
        (void)text_append_format(out, "%s%s", i ? ", " : "",
                                 watch->wishes.site->rooms[watch->wishes.rooms[i]].id);
    }
    (void)text_append_format(out, ".");
}

void walk_watch_say(const struct walk_watch *watch, struct text *out)
{
    switch (watch->stage) {
    case WALK_QUIET:
        (void)text_append_format(out,
                                 "Stand still for %.0f s, outside the rooms of the walk: the nodes "
                                 "learn what is usual.",
                                 watch->wishes.quiet_s);
        break;
    case WALK_WALKING:
        say_way(watch, out);
        break;
    case WALK_OVER:
        if (watch->timed_out) {
            (void)text_append_format(out, "The %.0f s for the walk are over. ",
                                     watch->wishes.limit_s);
        }
        (void)text_append_format(out, "%s",
                                 watch->good
                                     ? "GO: every node saw you, in the order in which you walked."
                                     : "NO GO: the walk and what the nodes saw do not agree.");
        break;
    }
}

bool walk_watch_is_good(const struct walk_watch *watch)
{
    return watch->good;
}

void walk_watch_report(const struct walk_watch *watch, struct text *out)
{
    (void)text_append(out, watch->report.bytes ? watch->report.bytes : "", watch->report.length);
}
