/* Reads a night that is being recorded until all nodes are there, then judges them.
 * Must never judge before it has looked for as long as it was told. Called by preflight_run.c and
 * acts_before.c. */
#include "collector/record/preflight_watch.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/statvfs.h>

#include "collector/night/reader.h"
#include "collector/night/reader_clock.h"
#include "common/clock.h"

/* What a night takes on disk, with room to spare: measured 0.7 (DEVELOPERS.md, Measured). */
#define BYTES_A_SAMPLE 1.5
/* A node's state comes every few seconds: so much longer than what is looked at. */
#define STATE_WAIT_NS (12 * NS_PER_S)

struct preflight_watch {
    struct preflight_wishes wishes;
    char *night;
    struct night_reader *reader;
    struct preflight_node *nodes;
    struct preflight_report *reports;
    int64_t *heard_ns; /* by node: since when; 0: not yet */
    int64_t from_ns;   /* states before this are not of now */
    int64_t last_ns;
    bool over;
    bool go;
    struct preflight_base base;
};

int preflight_watch_new(const struct preflight_wishes *wishes, const char *night_path,
                        int64_t now_ns, struct preflight_watch **out, struct error *error)
{
    size_t count = wishes->site->node_count + 1;
    struct preflight_watch *watch = calloc(1, sizeof *watch);
    if (watch) {
        watch->wishes = *wishes;
        watch->from_ns = now_ns - STATE_WAIT_NS;
        watch->last_ns = now_ns + (int64_t)(wishes->wait_s * 1e9);
        watch->night = strdup(night_path);
        watch->nodes = calloc(count, sizeof *watch->nodes);
        watch->reports = calloc(count, sizeof *watch->reports);
        watch->heard_ns = calloc(count, sizeof *watch->heard_ns);
    }
    if (!watch || !watch->night || !watch->nodes || !watch->reports || !watch->heard_ns) {
        preflight_watch_free(watch);
        return error_set(error, ERROR_MEMORY, "preflight: out of memory");
    }
    *out = watch;
    return 0;
}

void preflight_watch_free(struct preflight_watch *watch)
{
    if (watch) {
        night_reader_close(watch->reader);
        free(watch->night);
        free(watch->nodes);
        free(watch->reports);
        free(watch->heard_ns);
        free(watch);
    }
}

static int take_state(void *context, uint32_t node, int64_t time_ns, const char *json)
{
    struct preflight_watch *watch = context;
    struct message_state state;
    struct error ignored; /* a state that can't be read is none */
    if (node >= watch->wishes.site->node_count || time_ns < watch->from_ns ||
        message_state_read(json, strlen(json), &state, &ignored) != 0) {
        return 0;
    }
    struct preflight_node *seen = &watch->nodes[node];
    seen->state = state;
    seen->has_state = true;
    seen->heard = true;
    return 0;
}

static int look_for(struct preflight_watch *watch, int64_t now_ns, struct error *error)
{
    if (night_each_state(watch->reader, take_state, watch, error) != 0) {
        return -1;
    }
    for (uint32_t node = 0; node < watch->wishes.site->node_count; node++) {
        struct preflight_node *seen = &watch->nodes[node];
        if (night_read_channels(watch->reader, node, seen->channels, NODE_CHANNELS_MAX,
                                &seen->channel_count, error) != 0) {
            return -1;
        }
        seen->heard = seen->heard || seen->channel_count > 0;
        if (seen->heard && watch->heard_ns[node] == 0) {
            watch->heard_ns[node] = now_ns;
        }
    }
    return 0;
}

/* All nodes have been heard for long enough. */
static bool is_complete(const struct preflight_watch *watch, int64_t now_ns)
{
    int64_t long_ns = (int64_t)(watch->wishes.look_s * 1e9) + STATE_WAIT_NS;
    for (size_t node = 0; node < watch->wishes.site->node_count; node++) {
        if (watch->heard_ns[node] == 0 || now_ns - watch->heard_ns[node] < long_ns) {
            return false;
        }
    }
    return true;
}

static int look_at_samples(struct preflight_watch *watch, int64_t from_ns, struct error *error)
{
    const struct site *site = watch->wishes.site;
    struct night_blocks *cursor = NULL;
    struct night_block_row row;
    int more = 0;
    for (size_t node = 0; node < site->node_count; node++) {
        struct preflight_node *seen = &watch->nodes[node];
        for (size_t i = 0; i < seen->channel_count; i++) {
            channel_look_begin(&seen->looks[i], &seen->channels[i], site->mains_hz);
        }
    }
    if (night_blocks_open(watch->reader, SIZE_MAX, from_ns, INT64_MAX, &cursor, error) != 0) {
        return -1;
    }
    while ((more = night_blocks_next(cursor, &row, error)) == 1) {
        struct preflight_node *seen = &watch->nodes[row.node];
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

/* The base station's own end: room for the night. */
static void look_at_disk(struct preflight_watch *watch)
{
    const struct site *site = watch->wishes.site;
    struct preflight_base *base = &watch->base;
    struct statvfs disk;
    double rate_hz = 0.0;
    for (size_t node = 0; node < site->node_count; node++) {
        for (size_t i = 0; i < site->nodes[node].channel_count; i++) {
            rate_hz += site->nodes[node].channels[i].rate_hz;
        }
    }
    if (statvfs(watch->night, &disk) != 0) {
        (void)snprintf(base->text, sizeof base->text, "full disk: its room can't be asked for: %s",
                       strerror(errno));
        return;
    }
    double free_mb = (double)disk.f_bavail * (double)disk.f_frsize / 1e6;
    double needed_mb = rate_hz * BYTES_A_SAMPLE * watch->wishes.night_s / 1e6;
    base->go = free_mb >= needed_mb;
    (void)snprintf(
        base->text, sizeof base->text, "%s%.0f MB free, a night of %.3g h needs about %.0f MB",
        base->go ? "" : "full disk: ", free_mb, watch->wishes.night_s / 3600.0, needed_mb);
}

static int judge(struct preflight_watch *watch, int64_t now_ns, struct error *error)
{
    const struct site *site = watch->wishes.site;
    const struct preflight_wish wish = {
        .night_s = watch->wishes.night_s, .looked_s = watch->wishes.look_s, .now_ns = now_ns};
    if (look_at_samples(watch, now_ns - (int64_t)(watch->wishes.look_s * 1e9), error) != 0) {
        return -1;
    }
    preflight_judge(site, watch->nodes, &wish, watch->reports);
    look_at_disk(watch);
    watch->go = watch->base.go;
    for (size_t node = 0; node < site->node_count; node++) {
        watch->go = watch->go && watch->reports[node].go;
    }
    watch->over = true;
    return 0;
}

int preflight_watch_look(struct preflight_watch *watch, int64_t now_ns, struct error *error)
{
    if (!watch->reader && night_reader_open(watch->night, &watch->reader, error) != 0) {
        return -1;
    }
    if (look_for(watch, now_ns, error) != 0) {
        return -1;
    }
    return is_complete(watch, now_ns) || now_ns >= watch->last_ns ? judge(watch, now_ns, error) : 0;
}

bool preflight_watch_is_over(const struct preflight_watch *watch)
{
    return watch->over;
}

bool preflight_watch_is_go(const struct preflight_watch *watch)
{
    return watch->over && watch->go;
}

int64_t preflight_watch_until_ns(const struct preflight_watch *watch)
{
    int64_t latest_ns = 0;
    for (size_t node = 0; node < watch->wishes.site->node_count; node++) {
        if (watch->heard_ns[node] == 0) {
            return watch->last_ns;
        }
        latest_ns = watch->heard_ns[node] > latest_ns ? watch->heard_ns[node] : latest_ns;
    }
    latest_ns += (int64_t)(watch->wishes.look_s * 1e9) + STATE_WAIT_NS;
    return latest_ns < watch->last_ns ? latest_ns : watch->last_ns;
}

bool preflight_watch_heard(const struct preflight_watch *watch, size_t node)
{
    return watch->heard_ns[node] != 0;
}

const struct preflight_report *preflight_watch_report(const struct preflight_watch *watch,
                                                      size_t node)
{
    return &watch->reports[node];
}

const struct preflight_base *preflight_watch_base(const struct preflight_watch *watch)
{
    return &watch->base;
}

void preflight_watch_say(const struct preflight_watch *watch, struct text *out)
{
    size_t nodes = watch->wishes.site->node_count;
    size_t heard = 0;
    for (size_t node = 0; node < nodes; node++) {
        heard += watch->heard_ns[node] != 0;
    }
    if (!watch->over && heard < nodes) {
        (void)text_append_format(out, "Waiting for %zu nodes, at most %.0f s; %zu are there.",
                                 nodes, watch->wishes.wait_s, heard);
    } else if (!watch->over) {
        (void)text_append_format(out, "All %zu nodes are there; %.0f s of each are looked at.",
                                 nodes, watch->wishes.look_s);
    } else {
        (void)text_append_format(
            out, watch->go ? "GO. Next: the walk test, which also shows whether each node stands "
                             "in the room you think."
                           : "NO GO. Mend what is named and ask again.");
    }
}
