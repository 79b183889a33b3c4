/* How the recording and each node stand, in words and numbers.
 * Must never call a node well that is not. Called by stream.c. */
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "collector/web/live_inside.h"
#include "common/json.h"
#include "common/timefmt.h"

/* Fewer frames than this wait in any node's spool between two acknowledgements. */
#define SPOOL_MANY 16u

static bool in_time(const struct live_node *node)
{
    return node->clock_known && node->uncertainty_ns <= CLOCK_FIT_IN_TIME_NS;
}

/* How a node stands, in words. */
static void append_words(struct text *out, const struct live_node *node)
{
    char words[MESSAGE_TEXT_SIZE + 300];
    char error_text[TIMEFMT_SIZE];
    if (!node->here) {
        (void)json_append_string(out, node->gone ? "gone (stopped, or its link is lost)"
                                                 : "not heard yet");
        return;
    }
    timefmt_duration(node->uncertainty_ns, error_text);
    const char *clock = in_time(node) ? "in time, \u00b1 " : "NOT in time yet, \u00b1 ";
    char battery[80] = "";
    if (isfinite(node->battery_v)) {
        int used = snprintf(battery, sizeof battery, "; battery %.2f V", node->battery_v);
        if (isfinite(node->battery_hours) && used > 0) {
            (void)snprintf(battery + used, sizeof battery - (size_t)used,
                           ", about %.0f h left at this pace", floor(node->battery_hours));
        }
    }
    char waiting[96] = "";
    if (node->spool_frames > SPOOL_MANY) {
        (void)snprintf(waiting, sizeof waiting, "; %" PRIu64 " messages wait to be sent",
                       node->spool_frames);
    }
    if (node->dropped_frames > 0) {
        size_t used = strlen(waiting);
        (void)snprintf(waiting + used, sizeof waiting - used, "; %" PRIu64 " lost for want of room",
                       node->dropped_frames);
    }
    (void)snprintf(words, sizeof words, "%s%s%s%s%s%s%s%s",
                   node->gone     ? "gone (stopped, or its link is lost); "
                   : node->silent ? "SILENT, the others go on without it; "
                                  : "",
                   node->clock_known ? clock : "its clock is not known yet",
                   node->clock_known ? error_text : "",
                   node->watching ? "; what is unusual counts" : "; learning what is usual here",
                   battery, waiting, node->note[0] ? "; " : "", node->note);
    (void)json_append_string(out, words);
}

static void append_node(const struct web_live *live, size_t index, int64_t now_ns, struct text *out)
{
    const struct live_node *node = &live->nodes[index];
    const struct site_node *which = &live->site->nodes[index];
    const struct site_room *room = &live->site->rooms[which->room];
    bool well = node->here && !node->gone && !node->silent && in_time(node) && !node->note[0];
    (void)text_append_format(out, "%s{\"id\":", index ? "," : "");
    (void)json_append_string(out, which->id);
    (void)text_append_format(out, ",\"here\":%s,\"room\":",
                             node->here && !node->gone && !node->silent ? "true" : "false");
    (void)json_append_string(out, room->title[0] ? room->title : room->id);
    (void)text_append_format(out, ",\"control\":%s,\"well\":%s,\"heard_s\":",
                             which->control ? "true" : "false", well ? "true" : "false");
    if (node->heard_ns) {
        (void)text_append_format(out, "%" PRId64, (now_ns - node->heard_ns) / 1000000000);
    } else {
        (void)text_append_format(out, "null");
    }
    (void)text_append_format(out, ",\"words\":");
    append_words(out, node);
    if (node->here && node->clock_known) {
        (void)text_append_format(out, ",\"clock_ns\":%" PRId64, node->uncertainty_ns);
    }
    (void)text_append_format(out, "}");
}

int web_live_standing(const struct web_live *live, struct text *out)
{
    char since[TIMEFMT_SIZE];
    int64_t now_ns = live->now_ns(live->clock_context);
    const char *why = live->ended          ? "the night was ended"
                      : live->disk_failed  ? live->disk_why
                      : !live->broker_told ? "the broker is not there yet"
                      : !live->broker_up   ? live->broker_why
                                           : "";
    timefmt_local(live->begun_ns, since, NULL);
    since[8] = '\0';
    (void)text_append_format(out, "event: standing\ndata: {\"site\":");
    (void)json_append_string(out, live->site->title[0] ? live->site->title : live->site->id);
    (void)text_append_format(out,
                             ",\"base_ns\":\"%" PRId64 "\",\"now\":%" PRId64
                             ",\"recording\":%s,\"ended\":%s,\"why\":",
                             live->base_ns, now_ns - live->base_ns, why[0] ? "false" : "true",
                             live->ended ? "true" : "false");
    (void)json_append_string(out, why);
    (void)text_append_format(out, ",\"since\":");
    (void)json_append_string(out, since);
    (void)text_append_format(out, ",\"nodes\":[");
    for (size_t i = 0; i < live->site->node_count; i++) {
        append_node(live, i, now_ns, out);
    }
    (void)text_append_format(out, "],\"disturbed\":[");
    live_append_disturbed(live, out);
    return text_append_format(out, "]}\n\n");
}
