/* Reads the night that is being recorded until all nodes are there, then judges and prints.
 * Must never write into that night. Called by cmd_preflight.c. */
#include "collector/record/preflight_run.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/statvfs.h>
#include <time.h>

#include "collector/night/reader.h"
#include "collector/night/reader_clock.h"
#include "collector/preflight/preflight.h"
#include "common/clock.h"
#include "common/timefmt.h"

#define STEP_NS 500000000L
/* What a night takes on disk, with room to spare: measured 0.7 (DEVELOPERS.md, Measured). */
#define BYTES_A_SAMPLE 1.5
/* A node's state comes every few seconds: so much longer than what is looked at. */
#define STATE_WAIT_NS (12 * NS_PER_S)

struct flight {
    const struct preflight_settings *settings;
    struct station_child station;
    struct night_reader *reader;
    struct preflight_node *nodes;
    struct preflight_report *reports;
    int64_t *heard_ns; /* by node: since when; 0: not yet */
    int64_t from_ns;   /* states before this are not of now */
    struct error *error;
};

static int take_state(void *context, uint32_t node, int64_t time_ns, const char *json)
{
    struct flight *flight = context;
    struct message_state state;
    struct error ignored; /* a state that can't be read is none */
    if (node >= flight->settings->site->node_count || time_ns < flight->from_ns ||
        message_state_read(json, strlen(json), &state, &ignored) != 0) {
        return 0;
    }
    struct preflight_node *seen = &flight->nodes[node];
    seen->state = state;
    seen->has_state = true;
    seen->heard = true;
    return 0;
}

static int look_for(struct flight *flight, int64_t now_ns)
{
    if (night_each_state(flight->reader, take_state, flight, flight->error) != 0) {
        return -1;
    }
    for (uint32_t node = 0; node < flight->settings->site->node_count; node++) {
        struct preflight_node *seen = &flight->nodes[node];
        if (night_read_channels(flight->reader, node, seen->channels, NODE_CHANNELS_MAX,
                                &seen->channel_count, flight->error) != 0) {
            return -1;
        }
        seen->heard = seen->heard || seen->channel_count > 0;
        if (seen->heard && flight->heard_ns[node] == 0) {
            flight->heard_ns[node] = now_ns;
            printf("  %s (%s) is there\n", flight->settings->site->nodes[node].id,
                   flight->settings->site->rooms[flight->settings->site->nodes[node].room].id);
            (void)fflush(stdout);
        }
    }
    return 0;
}

/* All nodes have been heard for long enough. */
static bool is_complete(const struct flight *flight, int64_t now_ns)
{
    int64_t long_ns = (int64_t)(flight->settings->look_s * 1e9) + STATE_WAIT_NS;
    for (size_t node = 0; node < flight->settings->site->node_count; node++) {
        if (flight->heard_ns[node] == 0 || now_ns - flight->heard_ns[node] < long_ns) {
            return false;
        }
    }
    return true;
}

static int wait_for_all(struct flight *flight)
{
    int64_t begun_ns = station_child_now_ns(&flight->station);
    int64_t last_ns = begun_ns + (int64_t)(flight->settings->wait_s * 1e9);
    flight->from_ns = begun_ns - STATE_WAIT_NS;
    printf("Waiting for %zu nodes, at most %.0f s.\n", flight->settings->site->node_count,
           flight->settings->wait_s);
    (void)fflush(stdout);
    for (;;) {
        int64_t now_ns = station_child_now_ns(&flight->station);
        if (look_for(flight, now_ns) != 0) {
            return -1;
        }
        if (is_complete(flight, now_ns) || now_ns >= last_ns) {
            return 0;
        }
        const struct timespec step = {0, STEP_NS};
        (void)nanosleep(&step, NULL);
    }
}

static int look_at_samples(struct flight *flight, int64_t from_ns)
{
    const struct site *site = flight->settings->site;
    struct night_blocks *cursor = NULL;
    struct night_block_row row;
    int more = 0;
    for (size_t node = 0; node < site->node_count; node++) {
        struct preflight_node *seen = &flight->nodes[node];
        for (size_t i = 0; i < seen->channel_count; i++) {
            channel_look_begin(&seen->looks[i], &seen->channels[i], site->mains_hz);
        }
    }
    if (night_blocks_open(flight->reader, SIZE_MAX, from_ns, INT64_MAX, &cursor, flight->error) !=
        0) {
        return -1;
    }
    while ((more = night_blocks_next(cursor, &row, flight->error)) == 1) {
        struct preflight_node *seen = &flight->nodes[row.node];
        if (row.block.channel >= seen->channel_count || row.block.count == 0) {
            continue;
        }
        int64_t last_ns = block_time_ns(&row.block, row.block.count - 1);
        seen->last_ns = last_ns > seen->last_ns ? last_ns : seen->last_ns;
        channel_look_take(&seen->looks[row.block.channel], &row.channel, &row.block);
    }
    night_blocks_close(cursor);
    return more;
}

static void print_node(const struct flight *flight, size_t node)
{
    const struct site_node *which = &flight->settings->site->nodes[node];
    const struct preflight_report *report = &flight->reports[node];
    printf("%-6s %s (%s%s): %s\n", report->go ? "GO" : "NO GO", which->id,
           flight->settings->site->rooms[which->room].id, which->control ? ", control" : "",
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

/* The base station's own end: room for the night. */
static bool print_base(const struct flight *flight)
{
    struct statvfs disk;
    double rate_hz = 0.0;
    const char *night = flight->station.running.night;
    for (size_t node = 0; node < flight->settings->site->node_count; node++) {
        const struct site_node *which = &flight->settings->site->nodes[node];
        for (size_t i = 0; i < which->channel_count; i++) {
            rate_hz += which->channels[i].rate_hz;
        }
    }
    if (statvfs(night, &disk) != 0) {
        printf("NO GO  base station: full disk: %s can't be asked for its room\n", night);
        return false;
    }
    double free_mb = (double)disk.f_bavail * (double)disk.f_frsize / 1e6;
    double needed_mb = rate_hz * BYTES_A_SAMPLE * flight->settings->night_s / 1e6;
    bool enough = free_mb >= needed_mb;
    printf("%-6s base station: %s%.0f MB free, a night of %.3g h needs about %.0f MB\n",
           enough ? "GO" : "NO GO", enough ? "" : "full disk: ", free_mb,
           flight->settings->night_s / 3600.0, needed_mb);
    return enough;
}

static int judge(struct flight *flight, bool *go)
{
    const struct site *site = flight->settings->site;
    int64_t now_ns = station_child_now_ns(&flight->station);
    int64_t from_ns = now_ns - (int64_t)(flight->settings->look_s * 1e9);
    const struct preflight_wish wish = {.night_s = flight->settings->night_s,
                                        .looked_s = flight->settings->look_s,
                                        .now_ns = now_ns};
    size_t stopped = 0;
    if (look_at_samples(flight, from_ns) != 0) {
        return -1;
    }
    preflight_judge(site, flight->nodes, &wish, flight->reports);
    printf("\n");
    for (size_t node = 0; node < site->node_count; node++) {
        print_node(flight, node);
        stopped += !flight->reports[node].go;
    }
    *go = print_base(flight) && stopped == 0;
    printf("%s",
           *go ? "GO. Next: the walk test (roomwake walk), which also shows whether each node "
                 "stands in the room you think.\n"
               : "NO GO. Mend what is named above and ask again.\n");
    return 0;
}

static int fly(struct flight *flight, bool *go)
{
    if (night_reader_open(flight->station.running.night, &flight->reader, flight->error) != 0) {
        return -1;
    }
    int result = wait_for_all(flight) != 0 ? -1 : judge(flight, go);
    night_reader_close(flight->reader);
    return result;
}

int preflight_run(const struct preflight_settings *settings, bool *go, struct error *error)
{
    size_t count = settings->site->node_count + 1;
    struct flight flight = {.settings = settings, .error = error};
    int result = -1;
    *go = false;
    flight.nodes = calloc(count, sizeof *flight.nodes);
    flight.reports = calloc(count, sizeof *flight.reports);
    flight.heard_ns = calloc(count, sizeof *flight.heard_ns);
    if (!flight.nodes || !flight.reports || !flight.heard_ns) {
        (void)error_set(error, ERROR_MEMORY, "preflight: out of memory");
    } else if (station_child_begin(&settings->station, &flight.station, error) == 0) {
        bool own = flight.station.child != 0;
        result = fly(&flight, go);
        station_child_end(&flight.station);
        if (own) {
            printf("What the nodes sent meanwhile is kept in %s.\n", flight.station.running.night);
        }
    }
    free(flight.nodes);
    free(flight.reports);
    free(flight.heard_ns);
    return result;
}
