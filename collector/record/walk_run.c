/* Follows the disturbances of the night that is being recorded.
 * Must never write into that night but by asking its recorder for a quiet spell. Called by
 * cmd_walk.c.
 */
#include "collector/record/walk_run.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "collector/night/reader.h"
#include "collector/preflight/walk.h"
#include "collector/record/tell.h"
#include "common/clock.h"

#define STEP_NS 500000000L
/* A quantity that has not learnt so long after the spell's stated length is not waited for: it may
 * be extended to twice that. */
#define LEARN_MORE 2.2

struct stroll {
    const struct walk_settings *settings;
    struct station_child station;
    struct night_reader *reader;
    struct walk *walk;
    int64_t quiet_ns; /* notices from here on are of our spell */
    bool *learnt;     /* by node */
    struct error *error;
};

static void rest(void)
{
    const struct timespec step = {0, STEP_NS};
    (void)nanosleep(&step, NULL);
}

static int take_notice(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                       const char *text)
{
    struct stroll *stroll = context;
    (void)quantity;
    (void)text;
    if (node < stroll->settings->site->node_count && time_ns >= stroll->quiet_ns) {
        stroll->learnt[node] = true;
    }
    return 0;
}

static bool all_learnt(const struct stroll *stroll)
{
    for (uint32_t node = 0; node < stroll->settings->site->node_count; node++) {
        if (walk_get_node(stroll->walk, node)->expected && !stroll->learnt[node]) {
            return false;
        }
    }
    return true;
}

static int newest_analysis(struct stroll *stroll, int *analysis)
{
    struct night_info info;
    if (night_read_info(stroll->reader, &info, stroll->error) != 0) {
        return -1;
    }
    *analysis = info.analysis;
    return 0;
}

/* Until each node of the way has learnt something, or will not. */
static int wait_for_quiet(struct stroll *stroll)
{
    int analysis = 0;
    double limit_s = stroll->settings->quiet_s * LEARN_MORE + 20.0;
    int64_t last_ns = station_child_now_ns(&stroll->station) + (int64_t)(limit_s * 1e9);
    printf(
        "Stand still for %.0f s, outside the rooms of the walk: the nodes learn what is usual.\n",
        stroll->settings->quiet_s);
    (void)fflush(stdout);
    while (!all_learnt(stroll) && station_child_now_ns(&stroll->station) < last_ns) {
        rest();
        if (newest_analysis(stroll, &analysis) != 0 ||
            night_each_notice(stroll->reader, analysis, take_notice, stroll, stroll->error) != 0) {
            return -1;
        }
    }
    for (uint32_t node = 0; node < stroll->settings->site->node_count; node++) {
        if (walk_get_node(stroll->walk, node)->expected && !stroll->learnt[node]) {
            printf("  %s has learnt nothing: it may not answer\n",
                   stroll->settings->site->nodes[node].id);
        }
    }
    return 0;
}

static int take_disturbance(void *context, const struct disturbance *disturbance)
{
    struct stroll *stroll = context;
    const struct site *site = stroll->settings->site;
    if (disturbance->node < site->node_count && walk_take(stroll->walk, disturbance)) {
        const struct site_node *which = &site->nodes[disturbance->node];
        printf("  %s (%s) saw %s%s\n", which->id, site->rooms[which->room].id,
               walk_get_node(stroll->walk, disturbance->node)->saw,
               walk_get_node(stroll->walk, disturbance->node)->expected
                   ? ""
                   : ", though it is not on the way");
        (void)fflush(stdout);
    }
    return 0;
}

static int follow(struct stroll *stroll)
{
    int analysis = 0;
    int64_t last_ns =
        station_child_now_ns(&stroll->station) + (int64_t)(stroll->settings->limit_s * 1e9);
    printf("Now walk, a few seconds in each room: ");
    for (size_t i = 0; i < stroll->settings->room_count; i++) {
        printf("%s%s", i ? ", " : "", stroll->settings->site->rooms[stroll->settings->rooms[i]].id);
    }
    printf(".\n");
    (void)fflush(stdout);
    while (!walk_is_done(stroll->walk) && station_child_now_ns(&stroll->station) < last_ns) {
        rest();
        if (newest_analysis(stroll, &analysis) != 0 ||
            night_each_disturbance(stroll->reader, analysis, take_disturbance, stroll,
                                   stroll->error) != 0) {
            return -1;
        }
    }
    if (!walk_is_done(stroll->walk)) {
        printf("The %.0f s for the walk are over (--limit).\n", stroll->settings->limit_s);
    }
    return 0;
}

static int ask_for_quiet(struct stroll *stroll)
{
    struct message_said said;
    const struct message_baseline baseline = {.length_ns =
                                                  (int64_t)(stroll->settings->quiet_s * 1e9)};
    const struct running *running = &stroll->station.running;
    stroll->quiet_ns = station_child_now_ns(&stroll->station);
    return stroll->settings->quiet_s > 0.0
               ? tell_baseline(running->broker, running->site, &baseline, &said, stroll->error)
               : 0;
}

static int walk_new_from_now(struct stroll *stroll)
{
    walk_free(stroll->walk);
    stroll->walk = NULL;
    return walk_new(stroll->settings->site, stroll->settings->rooms, stroll->settings->room_count,
                    station_child_now_ns(&stroll->station) - NS_PER_S, &stroll->walk,
                    stroll->error);
}

static int stroll_on(struct stroll *stroll, bool *good)
{
    struct text text = {0};
    if (walk_new_from_now(stroll) != 0 || ask_for_quiet(stroll) != 0 ||
        (stroll->settings->quiet_s > 0.0 && wait_for_quiet(stroll) != 0) ||
        walk_new_from_now(stroll) != 0 || follow(stroll) != 0) {
        return -1;
    }
    *good = walk_report(stroll->walk, &text);
    if (text.failed) {
        text_free(&text);
        return error_set(stroll->error, ERROR_MEMORY, "walk: out of memory");
    }
    printf("%s%s\n", text.bytes ? text.bytes : "",
           *good ? "GO: every node saw you, in the order in which you walked."
                 : "NO GO: the walk and what the nodes saw do not agree.");
    text_free(&text);
    return 0;
}

int walk_run(const struct walk_settings *settings, bool *good, struct error *error)
{
    struct stroll stroll = {.settings = settings, .error = error};
    int result = -1;
    *good = false;
    stroll.learnt = calloc(settings->site->node_count + 1, sizeof *stroll.learnt);
    if (!stroll.learnt) {
        return error_set(error, ERROR_MEMORY, "walk: out of memory");
    }
    if (station_child_begin(&settings->station, &stroll.station, error) == 0) {
        bool own = stroll.station.child != 0;
        if (night_reader_open(stroll.station.running.night, &stroll.reader, error) == 0) {
            result = stroll_on(&stroll, good);
            night_reader_close(stroll.reader);
        }
        station_child_end(&stroll.station);
        if (own) {
            printf("What the nodes sent meanwhile is kept in %s.\n", stroll.station.running.night);
        }
    }
    walk_free(stroll.walk);
    free(stroll.learnt);
    return result;
}
