/* Looks until the preflight is over, and prints. Must never write into that night. Called by
 * cmd_preflight.c. */
#include "collector/record/preflight_run.h"

#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#define STEP_NS 500000000L

static void print_node(const struct preflight_settings *settings,
                       const struct preflight_watch *watch, size_t node)
{
    const struct site_node *which = &settings->wishes.site->nodes[node];
    const struct preflight_report *report = preflight_watch_report(watch, node);
    printf("%-6s %s (%s%s): %s\n", report->go ? "GO" : "NO GO", which->id,
           settings->wishes.site->rooms[which->room].id, which->control ? ", control" : "",
           report->well);
    for (size_t i = 0; i < report->line_count; i++) {
        char clean[PREFLIGHT_LINE_SIZE];
        (void)snprintf(clean, sizeof clean, "%s", report->lines[i].text);
        for (char *c = clean; *c; c++) {
            *c = (unsigned char)*c < ' ' || *c == 0x7f ? ' ' : *c;
        }
        printf("       %s: %s\n",
               report->lines[i].stops ? preflight_fault_text(report->lines[i].fault) : "note",
               clean);
    }
}

static int print_outcome(const struct preflight_settings *settings,
                         const struct preflight_watch *watch, struct error *error)
{
    const struct preflight_base *base = preflight_watch_base(watch);
    struct text words = {0};
    printf("\n");
    for (size_t node = 0; node < settings->wishes.site->node_count; node++) {
        print_node(settings, watch, node);
    }
    printf("%-6s base station: %s\n", base->go ? "GO" : "NO GO", base->text);
    preflight_watch_say(watch, &words);
    int result = words.failed ? error_set(error, ERROR_MEMORY, "preflight: out of memory") : 0;
    if (result == 0) {
        printf("%s%s\n", words.bytes, preflight_watch_is_go(watch) ? " (roomwake walk)" : "");
    }
    text_free(&words);
    return result;
}

static void print_heard(const struct preflight_settings *settings,
                        const struct preflight_watch *watch, bool *printed)
{
    const struct site *site = settings->wishes.site;
    for (size_t node = 0; node < site->node_count; node++) {
        if (preflight_watch_heard(watch, node) && !printed[node]) {
            printed[node] = true;
            printf("  %s (%s) is there\n", site->nodes[node].id,
                   site->rooms[site->nodes[node].room].id);
        }
    }
    (void)fflush(stdout);
}

static int fly(const struct preflight_settings *settings, struct preflight_watch *watch,
               const struct running *running, struct error *error)
{
    const struct timespec step = {0, STEP_NS};
    bool *printed = calloc(settings->wishes.site->node_count + 1, sizeof *printed);
    int result = printed ? 0 : error_set(error, ERROR_MEMORY, "preflight: out of memory");
    if (printed) {
        printf("Waiting for %zu nodes, at most %.0f s.\n", settings->wishes.site->node_count,
               settings->wishes.wait_s);
    }
    while (result == 0 && !preflight_watch_is_over(watch)) {
        result = preflight_watch_look(watch, running_now_ns(running), error);
        print_heard(settings, watch, printed);
        if (result == 0 && !preflight_watch_is_over(watch)) {
            (void)nanosleep(&step, NULL);
        }
    }
    free(printed);
    return result != 0 ? -1 : print_outcome(settings, watch, error);
}

int preflight_run(const struct preflight_settings *settings, bool *go, struct error *error)
{
    struct station_child station;
    struct preflight_watch *watch = NULL;
    *go = false;
    if (station_child_begin(&settings->station, &station, error) != 0) {
        return -1;
    }
    bool own = station.child != 0;
    int result = preflight_watch_new(&settings->wishes, station.running.night,
                                     running_now_ns(&station.running), &watch, error);
    if (result == 0) {
        result = fly(settings, watch, &station.running, error);
        *go = preflight_watch_is_go(watch);
    }
    preflight_watch_free(watch);
    station_child_end(&station);
    if (own) {
        printf("What the nodes sent meanwhile is kept in %s.\n", station.running.night);
    }
    return result;
}
