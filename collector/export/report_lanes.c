/* The whole night, a lane a channel, node by node, with findings, marks and gaps.
 * Must never leave a peak out. Called by report.c. */
#include "collector/export/report_parts.h"

#include <stdio.h>
#include <string.h>

#include "collector/alert/sentence.h"

#define LEFT 96.0
#define RIGHT 74.0
#define LANE 30.0
#define LANE_APART 8.0
#define HEAD 16.0
#define AXIS 18.0

static double at_x(const struct report *report, int64_t time_ns)
{
    double width = FIGURE_WIDTH - LEFT - RIGHT;
    double part =
        (double)(time_ns - report->start_ns) / (double)(report->end_ns - report->start_ns);
    return LEFT + width * (part < 0 ? 0 : part > 1 ? 1 : part);
}

static void put_marks(struct report *report, double height)
{
    for (size_t i = 0; i < report->mark_count && i < ROWS_SHOWN_MAX; i++) {
        const struct report_mark *mark = &report->marks[i];
        if (mark->end_ns < report->start_ns || mark->start_ns > report->end_ns) {
            continue;
        }
        double from = at_x(report, mark->start_ns);
        double width = at_x(report, mark->end_ns) - from;
        report_put(report,
                   "<rect class=\"m\" x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\"/>", from,
                   HEAD, width < 1 ? 1.0 : width, height);
    }
    report_put(report, "\n");
}

static void put_findings(struct report *report)
{
    for (size_t i = 0; i < report->finding_count; i++) {
        const struct report_finding *finding = &report->findings[i];
        if (!finding->shown) {
            continue;
        }
        double x = at_x(report, finding->start_ns);
        report_put(report, "<path class=\"%c\" d=\"M%.1f %.1fl-3-6h6z\"/>",
                   finding->alert ? 'F' : 'f', x, HEAD);
        if (finding->alert) {
            report_put(report,
                       "<text class=\"s\" x=\"%.1f\" y=\"8\" text-anchor=\"middle\">%lld</text>", x,
                       (long long)finding->id);
        }
    }
    report_put(report, "\n");
}

static int put_lane(struct report *report, uint32_t node, const struct channel *channel, double y)
{
    struct report_box box = {LEFT, y, FIGURE_WIDTH - LEFT - RIGHT, LANE};
    double low = 0;
    double high = 0;
    char text[VALUE_SIZE];
    char other[VALUE_SIZE];
    report_put(report, "<text x=\"0\" y=\"%.1f\">", y + LANE / 2 + 4);
    report_plain(report, channel->name);
    report_put(report, "</text>");
    report_uncalibrated(report, channel, y + LANE / 2 + 14);
    if (report_trace(report, node, channel, report->start_ns, report->end_ns, box, &low, &high) !=
        0) {
        return -1;
    }
    if (low <= high) {
        sentence_value(high, channel->unit, text, sizeof text);
        report_put(report, "<text class=\"s\" x=\"%.1f\" y=\"%.1f\">", FIGURE_WIDTH - RIGHT + 4,
                   y + 9);
        report_plain(report, text);
        sentence_value(low, channel->unit, other, sizeof other);
        report_put(report, "</text><text class=\"s\" x=\"%.1f\" y=\"%.1f\">",
                   FIGURE_WIDTH - RIGHT + 4, y + LANE);
        if (strcmp(text, other) == 0) { /* three digits don't tell them apart */
            sentence_value(high - low, channel->unit, other, sizeof other);
            report_say(report, TEXT_LANES_SPAN, other, NULL);
        } else {
            report_plain(report, other);
        }
        report_put(report, "</text>\n");
    }
    return 0;
}

static void list_channels(const struct channel *channels, size_t count, struct text *out)
{
    for (size_t i = 0; i < count; i++) {
        (void)text_append_format(out, "%s%s", i > 0 ? ", " : "", channels[i].name);
    }
}

static int put_lanes(struct report *report, uint32_t node, const struct channel *channels,
                     size_t count)
{
    double height = (double)count * (LANE + LANE_APART);
    struct report_box box = {LEFT, HEAD, FIGURE_WIDTH - LEFT - RIGHT, height};
    struct text names = {0};
    list_channels(channels, count, &names);
    report_put(report, "<svg role=\"img\" viewBox=\"0 0 %d %.0f\" width=\"%d\" aria-label=\"",
               FIGURE_WIDTH, HEAD + height + AXIS, FIGURE_WIDTH);
    report_say(report, TEXT_LANES_NODE, report_node_room(report, node), report_node(report, node),
               names.bytes ? names.bytes : "", NULL);
    report_put(report, "\">\n");
    text_free(&names);
    put_marks(report, height);
    report_time_axis(report, report->start_ns, report->end_ns, box);
    put_findings(report);
    int result = 0;
    for (size_t i = 0; i < count && result == 0; i++) {
        result = put_lane(report, node, &channels[i], HEAD + (LANE + LANE_APART) * (double)i + 3);
    }
    report_put(report, "</svg>\n");
    return result;
}

int report_lanes(struct report *report)
{
    char stretch[TIMEFMT_SIZE];
    report_section(report, "night", TEXT_LANES);
    timefmt_duration((report->end_ns - report->start_ns) / (int64_t)(FIGURE_WIDTH - LEFT - RIGHT),
                     stretch);
    report_put(report, "<p class=\"note\">");
    report_say(report, TEXT_LANES_ABOUT, stretch, NULL);
    report_put(report, "</p>\n");
    for (uint32_t node = 0; node < report->site->node_count; node++) {
        struct channel channels[NODE_CHANNELS_MAX];
        size_t count = 0;
        if (report->nodes[node].samples == 0) {
            continue;
        }
        if (night_read_channels(report->reader, node, channels, NODE_CHANNELS_MAX, &count,
                                report->error) != 0) {
            return -1;
        }
        report_put(report, "<h3>");
        report_plain(report, report_node_room(report, node));
        report_put(report, " (%s)</h3>\n", report_node(report, node));
        if (put_lanes(report, node, channels, count) != 0 || report_flush(report) != 0) {
            return -1;
        }
        if (report->options->progress) {
            report->options->progress(report->options->context,
                                      (int)((size_t)50 * (node + 1) / report->site->node_count));
        }
    }
    return 0;
}
