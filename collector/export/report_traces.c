/* A finding's figures: the samples of its witnesses, and the order of its onsets.
 * Must never show an onset without its uncertainty. Called by report_finding.c. */
#include "collector/export/report_parts.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "collector/alert/sentence.h"
#include "common/clock.h"

#define LEFT 170.0
#define RIGHT 74.0
#define LANE 44.0
#define LANE_APART 8.0
#define AXIS 18.0
#define LANES_MOST 8
#define BEFORE_LEAST_NS (3 * NS_PER_S)
#define AFTER_LEAST_NS (7 * NS_PER_S)
#define WINDOW_MOST_NS (600 * NS_PER_S)
#define ROW 18.0
#define SIGMAS_95 1.96

struct traces {
    struct report *report;
    const struct coincidence *coincidence;
    int64_t from_ns;
    int64_t to_ns;
    size_t lanes;
};

static double at_x(const struct traces *traces, int64_t time_ns)
{
    double width = FIGURE_WIDTH - LEFT - RIGHT;
    double part = (double)(time_ns - traces->from_ns) / (double)(traces->to_ns - traces->from_ns);
    return LEFT + width * fmin(fmax(part, 0), 1);
}

/* From before the first onset until after the last, and the ends where they are near. */
static void choose_window(struct traces *traces)
{
    const struct coincidence *coincidence = traces->coincidence;
    int64_t last = coincidence->start_ns;
    for (size_t i = 0; i < coincidence->member_count; i++) {
        int64_t onset = coincidence->members[i].onset_ns;
        last = onset > last ? onset : last;
    }
    int64_t spread = last - coincidence->start_ns;
    int64_t before = spread / 4 > BEFORE_LEAST_NS ? spread / 4 : BEFORE_LEAST_NS;
    int64_t after = spread / 4 > AFTER_LEAST_NS ? spread / 4 : AFTER_LEAST_NS;
    traces->from_ns = coincidence->start_ns - before;
    traces->to_ns = last + after;
    if (coincidence->end_ns > traces->to_ns) {
        traces->to_ns = coincidence->end_ns + before;
    }
    if (traces->to_ns > traces->from_ns + WINDOW_MOST_NS) {
        int64_t most = last + after > traces->from_ns + WINDOW_MOST_NS
                           ? last + after
                           : traces->from_ns + WINDOW_MOST_NS;
        traces->to_ns = most;
    }
}

/* The channel of the member's quantity that moved most. */
static int find_channel(struct report *report, const struct disturbance *member,
                        struct channel *found)
{
    struct channel channels[NODE_CHANNELS_MAX];
    size_t count = 0;
    double most = -1.0;
    found->name[0] = '\0';
    if (night_read_channels(report->reader, member->node, channels, NODE_CHANNELS_MAX, &count,
                            report->error) != 0) {
        return -1;
    }
    for (size_t i = 0; i < count; i++) {
        char quantity[IDENT_SIZE];
        char axis[IDENT_SIZE];
        channel_name_split(channels[i].name, quantity, axis);
        int place = axis[0] == 'y' ? 1 : axis[0] == 'z' ? 2 : 0;
        double moved = fabs(member->peak_axes[place]);
        if (strcmp(quantity, member->quantity_text) == 0 && moved > most) {
            most = moved;
            *found = channels[i];
        }
    }
    return 0;
}

static void put_onset(struct traces *traces, const struct disturbance *member, double y)
{
    int64_t sd = disturbance_onset_sd_ns(member);
    double from = at_x(traces, member->onset_ns - 2 * sd);
    double width = at_x(traces, member->onset_ns + 2 * sd) - from;
    double x = at_x(traces, member->onset_ns);
    report_put(traces->report,
               "<rect class=\"u\" x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.0f\"/>"
               "<path class=\"o\" d=\"M%.1f %.1fv%.0f\"/>\n",
               from, y, fmax(width, 0.5), LANE, x, y, LANE);
}

static void put_names(struct report *report, const struct disturbance *member,
                      const struct channel *channel, double y)
{
    report_put(report, "<text x=\"0\" y=\"%.1f\">", y + 15);
    report_plain(report, channel->name);
    report_put(report, "</text><text class=\"s\" x=\"0\" y=\"%.1f\">", y + 29);
    report_plain(report, report_node(report, member->node));
    report_put(report, "</text>");
    report_uncalibrated(report, channel, y + 41);
}

static int put_lane(struct traces *traces, const struct disturbance *member)
{
    struct report *report = traces->report;
    struct channel channel;
    double y = (LANE + LANE_APART) * (double)traces->lanes + 3;
    struct report_box box = {LEFT, y, FIGURE_WIDTH - LEFT - RIGHT, LANE};
    double low = 0;
    double high = 0;
    char text[VALUE_SIZE];
    if (find_channel(report, member, &channel) != 0) {
        return -1;
    }
    if (channel.name[0] == '\0') {
        return 0;
    }
    put_onset(traces, member, y);
    put_names(report, member, &channel, y);
    if (report_trace(report, member->node, &channel, traces->from_ns, traces->to_ns, box, &low,
                     &high) != 0) {
        return -1;
    }
    if (low <= high) {
        sentence_value(high, channel.unit, text, sizeof text);
        report_put(report, "<text class=\"s\" x=\"%.1f\" y=\"%.1f\">", FIGURE_WIDTH - RIGHT + 4,
                   y + 9);
        report_plain(report, text);
        sentence_value(low, channel.unit, text, sizeof text);
        report_put(report, "</text><text class=\"s\" x=\"%.1f\" y=\"%.1f\">",
                   FIGURE_WIDTH - RIGHT + 4, y + LANE);
        report_plain(report, text);
        report_put(report, "</text>\n");
    }
    traces->lanes++;
    return 0;
}

/* Each quantity of a node once. */
static bool is_first(const struct coincidence *coincidence, size_t member)
{
    const struct disturbance *one = &coincidence->members[member];
    for (size_t i = 0; i < member; i++) {
        const struct disturbance *other = &coincidence->members[i];
        if (other->node == one->node && strcmp(other->quantity_text, one->quantity_text) == 0) {
            return false;
        }
    }
    return true;
}

static size_t count_lanes(const struct coincidence *coincidence)
{
    size_t count = 0;
    for (size_t i = 0; i < coincidence->member_count; i++) {
        count += is_first(coincidence, i);
    }
    return count < LANES_MOST ? count : LANES_MOST;
}

int report_traces_figure(struct report *report, const struct coincidence *coincidence)
{
    struct traces traces = {.report = report, .coincidence = coincidence};
    char number[VALUE_SIZE];
    char length[TIMEFMT_SIZE];
    double height = (LANE + LANE_APART) * (double)count_lanes(coincidence);
    struct report_box box = {LEFT, 3, FIGURE_WIDTH - LEFT - RIGHT, height - 3};
    choose_window(&traces);
    (void)snprintf(number, sizeof number, "%lld", (long long)coincidence->id);
    report_put(report, "<svg role=\"img\" viewBox=\"0 0 %d %.0f\" width=\"%d\" aria-label=\"",
               FIGURE_WIDTH, height + AXIS, FIGURE_WIDTH);
    report_say(report, TEXT_TRACES_FIGURE, number, NULL);
    report_put(report, "\">\n");
    report_time_axis(report, traces.from_ns, traces.to_ns, box);
    int result = 0;
    for (size_t i = 0; i < coincidence->member_count && result == 0 && traces.lanes < LANES_MOST;
         i++) {
        if (is_first(coincidence, i)) {
            result = put_lane(&traces, &coincidence->members[i]);
        }
    }
    timefmt_duration(traces.to_ns - traces.from_ns, length);
    report_put(report, "</svg>\n<p class=\"note\">");
    report_say(report, TEXT_TRACES_ABOUT, length, NULL);
    report_put(report, "</p>\n");
    return result;
}

/* The widest interval on both sides of the first onset, in ns. */
static void order_range(const struct coincidence *coincidence, double *low, double *high)
{
    *low = 0;
    *high = 0;
    for (size_t i = 0; i < coincidence->order_count; i++) {
        const struct order_entry *entry = &coincidence->order[i];
        double at = (double)(entry->onset_ns - coincidence->order[0].onset_ns);
        double reach = SIGMAS_95 * (double)entry->onset_sd_ns;
        *low = fmin(*low, at - reach);
        *high = fmax(*high, at + reach);
    }
    if (*high - *low < 1000) {
        *high = *low + 1000;
    }
}

void report_order_figure(struct report *report, const struct coincidence *coincidence)
{
    char start[TIMEFMT_SIZE];
    double low = 0;
    double high = 0;
    double width = FIGURE_WIDTH - LEFT - RIGHT;
    order_range(coincidence, &low, &high);
    timefmt_local(coincidence->order[0].onset_ns, start, NULL);
    report_put(report, "<svg role=\"img\" viewBox=\"0 0 %d %.0f\" width=\"%d\" aria-label=\"",
               FIGURE_WIDTH, ROW * (double)coincidence->order_count + 4, FIGURE_WIDTH);
    report_say(report, TEXT_ORDER_FIGURE, start, NULL);
    report_put(report, "\">\n");
    for (size_t i = 0; i < coincidence->order_count; i++) {
        const struct order_entry *entry = &coincidence->order[i];
        double at = (double)(entry->onset_ns - coincidence->order[0].onset_ns);
        double reach = SIGMAS_95 * (double)entry->onset_sd_ns;
        double y = ROW * ((double)i + 0.5) + 2;
        double x = LEFT + width * (at - low) / (high - low);
        double half = width * reach / (high - low);
        char after[TIMEFMT_SIZE];
        timefmt_duration(entry->onset_ns - coincidence->order[0].onset_ns, after);
        report_put(report, "<text x=\"0\" y=\"%.1f\">%s</text>", y + 4,
                   report_node(report, entry->node));
        report_put(report,
                   "<path class=\"a\" d=\"M%.1f %.1fH%.1fM%.1f %.1fv8M%.1f %.1fv8\"/>"
                   "<circle class=\"F\" cx=\"%.1f\" cy=\"%.1f\" r=\"3\"/>"
                   "<text class=\"s\" x=\"%.1f\" y=\"%.1f\">+%s</text>\n",
                   x - half, y, x + half, x - half, y - 4, x + half, y - 4, x, y,
                   FIGURE_WIDTH - RIGHT + 4, y + 4, after);
    }
    report_put(report, "</svg>\n");
}
