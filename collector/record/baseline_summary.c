/* Notices of the newest analysis by node and quantity, then the accidental rate of all together.
 * Must never let what a notice says move the terminal's cursor. Called by cmd_baseline.c. */
#include "collector/record/baseline_summary.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "collector/night/reader.h"
#include "collector/pipeline/expect.h"
#include "common/channel.h"
#include "common/timefmt.h"

#define TAUGHT_MAX (SITE_NODES_MAX * 8u)

struct summary {
    const struct site *site;
    FILE *out;
    int64_t from_ns;
    struct expect_quantity *list;
    size_t count;
};

/* The last beginning by hand. */
static int take_quiet(void *context, const struct quiet_order *order)
{
    struct summary *summary = context;
    summary->from_ns = order->end ? summary->from_ns : order->from_ns;
    return 0;
}

static bool is_taught(const struct summary *summary, uint32_t node, const char *quantity)
{
    for (size_t i = 0; i < summary->count; i++) {
        if (summary->list[i].node == node && strcmp(summary->list[i].quantity, quantity) == 0) {
            return true;
        }
    }
    return false;
}

static void say_notice(const struct summary *summary, const struct site_node *which,
                       const char *quantity, const char *text)
{
    (void)fprintf(summary->out, "  %s (%s) %s: ", which->id, summary->site->rooms[which->room].id,
                  quantity);
    for (; *text; text++) {
        (void)fputc((unsigned char)*text < ' ' || *text == 0x7f ? ' ' : *text, summary->out);
    }
    (void)fputc('\n', summary->out);
}

static int take_notice(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                       const char *text)
{
    struct summary *summary = context;
    /* Those two are no quantities: words on a node's clock, and on all its onsets together. */
    if (time_ns < summary->from_ns || node >= summary->site->node_count ||
        strcmp(quantity, "clock") == 0 || strcmp(quantity, "onsets") == 0) {
        return 0;
    }
    if (summary->out) {
        say_notice(summary, &summary->site->nodes[node], quantity, text);
    }
    if (!is_taught(summary, node, quantity) && summary->count < TAUGHT_MAX) {
        struct expect_quantity *taught = &summary->list[summary->count++];
        taught->node = node;
        (void)snprintf(taught->quantity, sizeof taught->quantity, "%s", quantity);
    }
    return 0;
}

/* How many of the site file's quantities have not been heard of. */
static size_t count_learning(const struct summary *summary)
{
    size_t learning = 0;
    for (uint32_t node = 0; node < summary->site->node_count; node++) {
        const struct site_node *which = &summary->site->nodes[node];
        char before[IDENT_SIZE] = "";
        for (size_t i = 0; i < which->channel_count; i++) {
            char quantity[IDENT_SIZE];
            char axis[IDENT_SIZE];
            enum quantity kind = which->channels[i].quantity;
            channel_name_split(which->channels[i].name, quantity, axis);
            bool counts =
                kind != QUANTITY_BATTERY && kind != QUANTITY_CLOCK && strcmp(quantity, before) != 0;
            learning += counts && !is_taught(summary, node, quantity);
            (void)snprintf(before, sizeof before, "%s", quantity);
        }
    }
    return learning;
}

static int say(struct summary *summary, struct error *error)
{
    double per_night = 0.0;
    size_t learning = count_learning(summary);
    if (learning > 0) {
        (void)fprintf(summary->out, "Still learning, or not heard: %zu quantities. Keep still.\n",
                      learning);
    }
    if (summary->count == 0) {
        return 0;
    }
    if (expect_by_chance(summary->site, summary->list, summary->count, &per_night, error) != 0) {
        return -1;
    }
    (void)fprintf(
        summary->out,
        "At %g false onsets an hour for each of %zu quantities, chance alone brings about "
        "%.2g findings of two\nnodes or more in a night of 8 h; alerts are those that it "
        "brings less than %g times a night.\n",
        summary->site->false_onsets_per_hour, summary->count, per_night,
        summary->site->alert_limit_per_night);
    return 0;
}

static int summarise(struct night_reader *reader, struct summary *summary, struct error *error)
{
    struct night_info info;
    if (night_read_info(reader, &info, error) != 0 ||
        night_each_quiet(reader, take_quiet, summary, error) != 0) {
        return -1;
    }
    if (!summary->out) {
        return night_each_notice(reader, info.analysis, take_notice, summary, error);
    }
    if (summary->from_ns != INT64_MIN) {
        char from[TIMEFMT_SIZE];
        timefmt_local(summary->from_ns, from, NULL);
        from[8] = '\0';
        (void)fprintf(summary->out, "The quiet spell that was begun by hand at %s taught:\n", from);
    } else {
        (void)fprintf(summary->out, "The quiet spell taught:\n");
    }
    return night_each_notice(reader, info.analysis, take_notice, summary, error) != 0
               ? -1
               : say(summary, error);
}

/* `learning` is counted where nothing is to be printed. */
static int look(const char *night_path, FILE *out, size_t *learning, struct error *error)
{
    struct night_reader *reader = NULL;
    struct site *site = NULL;
    if (night_reader_open(night_path, &reader, error) != 0) {
        return -1;
    }
    struct summary summary = {
        .out = out, .from_ns = INT64_MIN, .list = calloc(TAUGHT_MAX, sizeof *summary.list)};
    int result = summary.list ? night_read_site(reader, 0, &site, error)
                              : error_set(error, ERROR_MEMORY, "baseline: out of memory");
    summary.site = site;
    if (result == 0) {
        result = summarise(reader, &summary, error);
    }
    if (result == 0 && learning) {
        *learning = count_learning(&summary);
    }
    free(summary.list);
    site_free(site);
    night_reader_close(reader);
    return result;
}

int baseline_summary(const char *night_path, FILE *out, struct error *error)
{
    return look(night_path, out, NULL, error);
}

int baseline_count_learning(const char *night_path, size_t *learning, struct error *error)
{
    return look(night_path, NULL, learning, error);
}

const char *baseline_say(const struct message_baseline *order)
{
    return order->end ? "The quiet spell is over: what has been learnt counts."
           : order->length_ns > 0
               ? "A quiet spell has begun. Leave the rooms and keep still until it is over; it "
                 "goes "
                 "on longer where it is disturbed."
               : "A quiet spell has begun. Leave the rooms and keep still until you end it, better "
                 "after ten minutes or more.";
}
