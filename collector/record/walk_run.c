/* Prints what the walk's watch has newly seen. Must never write into the night but by asking its
 * recorder for a quiet spell. Called by cmd_walk.c. */
#include "collector/record/walk_run.h"

#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "collector/record/tell.h"

#define STEP_NS 500000000L

struct stroll {
    const struct walk_settings *settings;
    struct station_child station;
    struct walk_watch *watch;
    bool *printed; /* by node: its tick */
    struct error *error;
};

static int print_stage(const struct stroll *stroll)
{
    struct text words = {0};
    if (walk_watch_stage(stroll->watch) == WALK_OVER) {
        walk_watch_report(stroll->watch, &words);
    }
    walk_watch_say(stroll->watch, &words);
    int result = words.failed ? error_set(stroll->error, ERROR_MEMORY, "walk: out of memory") : 0;
    if (result == 0) {
        printf("%s\n", words.bytes);
        (void)fflush(stdout);
    }
    text_free(&words);
    return result;
}

static void print_unlearnt(const struct stroll *stroll)
{
    const struct site *site = stroll->settings->wishes.site;
    for (uint32_t node = 0; node < site->node_count; node++) {
        if (walk_watch_node(stroll->watch, node)->expected &&
            !walk_watch_learnt(stroll->watch, node)) {
            printf("  %s has learnt nothing: it may not answer\n", site->nodes[node].id);
        }
    }
}

static void print_seen(struct stroll *stroll)
{
    const struct site *site = stroll->settings->wishes.site;
    for (uint32_t node = 0; node < site->node_count; node++) {
        const struct walk_node *seen = walk_watch_node(stroll->watch, node);
        if (seen->seen_ns != 0 && !stroll->printed[node]) {
            stroll->printed[node] = true;
            printf("  %s (%s) saw %s%s\n", site->nodes[node].id,
                   site->rooms[site->nodes[node].room].id, seen->saw,
                   seen->expected ? "" : ", though it is not on the way");
        }
    }
    (void)fflush(stdout);
}

static int stroll_on(struct stroll *stroll)
{
    const struct timespec step = {0, STEP_NS};
    enum walk_stage before = walk_watch_stage(stroll->watch);
    if (print_stage(stroll) != 0) {
        return -1;
    }
    while (walk_watch_stage(stroll->watch) != WALK_OVER) {
        (void)nanosleep(&step, NULL);
        if (walk_watch_look(stroll->watch, running_now_ns(&stroll->station.running),
                            stroll->error) != 0) {
            return -1;
        }
        enum walk_stage now = walk_watch_stage(stroll->watch);
        if (before == WALK_QUIET && now == WALK_WALKING) {
            print_unlearnt(stroll);
        } else {
            print_seen(stroll);
        }
        if (now != before && print_stage(stroll) != 0) {
            return -1;
        }
        before = now;
    }
    return 0;
}

static int ask_for_quiet(const struct stroll *stroll)
{
    struct message_said said;
    double quiet_s = stroll->settings->wishes.quiet_s;
    const struct message_baseline baseline = {.length_ns = (int64_t)(quiet_s * 1e9)};
    const struct running *running = &stroll->station.running;
    return quiet_s > 0.0
               ? tell_baseline(running->broker, running->site, &baseline, &said, stroll->error)
               : 0;
}

static int walk_about(struct stroll *stroll, bool *good)
{
    const struct running *running = &stroll->station.running;
    if (walk_watch_new(&stroll->settings->wishes, running->night, running_now_ns(running),
                       &stroll->watch, stroll->error) != 0) {
        return -1;
    }
    int result = ask_for_quiet(stroll) != 0 || stroll_on(stroll) != 0 ? -1 : 0;
    *good = result == 0 && walk_watch_is_good(stroll->watch);
    walk_watch_free(stroll->watch);
    return result;
}

int walk_run(const struct walk_settings *settings, bool *good, struct error *error)
{
    struct stroll stroll = {.settings = settings, .error = error};
    int result = -1;
    *good = false;
    stroll.printed = calloc(settings->wishes.site->node_count + 1, sizeof *stroll.printed);
    if (!stroll.printed) {
        return error_set(error, ERROR_MEMORY, "walk: out of memory");
    }
    if (station_child_begin(&settings->station, &stroll.station, error) == 0) {
        bool own = stroll.station.child != 0;
        result = walk_about(&stroll, good);
        station_child_end(&stroll.station);
        if (own) {
            printf("What the nodes sent meanwhile is kept in %s.\n", stroll.station.running.night);
        }
    }
    free(stroll.printed);
    return result;
}
