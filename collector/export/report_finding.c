/* The findings, each with what saw it, the order, the path, chance, and every cause that was
 * tested. Must never claim an order or a path that the finding does not. Called by report.c. */
#include "collector/export/report_parts.h"

#include <inttypes.h>
#include <stdio.h>

#include "collector/alert/sentence.h"

static void put_head(struct report *report, const struct coincidence *coincidence)
{
    char id[VALUE_SIZE];
    char start[TIMEFMT_SIZE];
    (void)snprintf(id, sizeof id, "%" PRId64, coincidence->id);
    timefmt_local(coincidence->start_ns, start, NULL);
    report_put(report, "<div%s>\n<h3 id=\"f%s\">", coincidence->alert ? " class=\"alert\"" : "",
               id);
    report_say(report, TEXT_FINDING_HEAD, id, start,
               report_cause(report, coincidence->verdict.cause), NULL);
    report_put(report, "</h3>\n<p>");
    if (coincidence->alert) {
        report_say(report, TEXT_FINDING_ALERT, NULL);
        report_put(report, " ");
    }
}

/* The rooms in the order of onsets, each once. */
static void put_rooms(struct report *report, const struct coincidence *coincidence)
{
    const struct site *site = report->site;
    struct text rooms = {0};
    for (size_t i = 0; i < coincidence->order_count; i++) {
        uint32_t node = coincidence->order[i].node;
        bool again = false;
        for (size_t k = 0; k < i && node < site->node_count; k++) {
            uint32_t other = coincidence->order[k].node;
            again = again ||
                    (other < site->node_count && site->nodes[other].room == site->nodes[node].room);
        }
        if (!again) {
            (void)text_append_format(&rooms, "%s%s", rooms.length > 0 ? ", " : "",
                                     report_node_room(report, node));
        }
    }
    report_say(report, TEXT_FINDING_ROOMS, rooms.bytes ? rooms.bytes : "?", NULL);
    text_free(&rooms);
}

static void put_outline(struct report *report, const struct coincidence *coincidence)
{
    char nodes[VALUE_SIZE];
    char witnesses[VALUE_SIZE];
    char spread[TIMEFMT_SIZE];
    int64_t first = INT64_MAX;
    int64_t last = INT64_MIN;
    for (size_t i = 0; i < coincidence->order_count; i++) {
        int64_t onset = coincidence->order[i].onset_ns;
        first = onset < first ? onset : first;
        last = onset > last ? onset : last;
    }
    report_number(coincidence->node_count, nodes);
    report_number(coincidence->witness_count, witnesses);
    timefmt_duration(last > first ? last - first : 0, spread);
    put_rooms(report, coincidence);
    report_put(report, " ");
    report_say(report, TEXT_FINDING_SPREAD, nodes, spread, witnesses, NULL);
    if (coincidence->control_took_part) {
        report_put(report, " ");
        report_say(report, TEXT_FINDING_CONTROL, NULL);
    }
    report_put(report, "</p>\n");
}

static void put_witness(struct report *report, const struct disturbance *member)
{
    char text[VALUE_SIZE];
    report_put(report, "<tr>");
    report_cell(report, report_node(report, member->node));
    report_cell(report, report_node_room(report, member->node));
    report_put(report, "<td>");
    if (member->band == BAND_MAINS) {
        report_say(report, TEXT_AT_MAINS, member->quantity_text, NULL);
    } else {
        report_plain(report, member->quantity_text);
    }
    report_put(report, "</td>");
    timefmt_local(member->onset_ns, text, NULL);
    report_cell(report, text);
    timefmt_duration(disturbance_onset_sd_ns(member), text);
    report_cell(report, text);
    sentence_value(member->peak_value, member->unit, text, sizeof text);
    report_put(report, "<td>");
    if (member->clipped) {
        report_say(report, TEXT_CLIPPED, text, NULL);
    } else {
        report_plain(report, text);
    }
    (void)snprintf(text, sizeof text, "%.1f", member->peak_score);
    report_put(report, "</td>");
    report_cell(report, member->quantity == QUANTITY_MOTION ? "" : text);
    report_put(report, "</tr>\n");
}

static void put_uncalibrated(struct report *report, const struct coincidence *coincidence)
{
    struct text names = {0};
    for (size_t i = 0; i < coincidence->member_count; i++) {
        const struct disturbance *member = &coincidence->members[i];
        if (!member->calibrated) {
            (void)text_append_format(&names, "%s%s (%s)", names.length ? ", " : "",
                                     member->quantity_text, report_node(report, member->node));
        }
    }
    if (names.length > 0 && !names.failed) {
        report_put(report, "<p>");
        report_say(report, TEXT_FINDING_UNCALIBRATED, names.bytes, NULL);
        report_put(report, "</p>\n");
    }
    text_free(&names);
}

static void put_witnesses(struct report *report, const struct coincidence *coincidence)
{
    static const enum report_text heads[] = {
        TEXT_COLUMN_NODE,        TEXT_COLUMN_ROOM, TEXT_COLUMN_QUANTITY, TEXT_COLUMN_ONSET,
        TEXT_COLUMN_UNCERTAINTY, TEXT_COLUMN_PEAK, TEXT_COLUMN_NOISE,    TEXT_COUNT};
    bool lasts = false;
    report_table(report, TEXT_WITNESSES, heads);
    for (size_t i = 0; i < coincidence->member_count; i++) {
        put_witness(report, &coincidence->members[i]);
        lasts = lasts || coincidence->members[i].end_ns == 0;
    }
    report_put(report, "</tbody></table></div>\n");
    if (coincidence->dropped_members > 0) {
        char number[VALUE_SIZE];
        report_number(coincidence->dropped_members, number);
        report_put(report, "<p>");
        report_say(report, TEXT_FINDING_DROPPED, number, NULL);
        report_put(report, "</p>\n");
    }
    if (lasts) {
        report_tag(report, "p", TEXT_FINDING_LASTS);
    }
    put_uncalibrated(report, coincidence);
}

static void put_order(struct report *report, const struct coincidence *coincidence, bool drawn)
{
    char percent[VALUE_SIZE];
    if (coincidence->order_count < 2) {
        return;
    }
    const struct order_entry *first = &coincidence->order[0];
    report_tag(report, "h4", TEXT_ORDER);
    report_put(report, "<p>");
    if (coincidence->first_known) {
        double sure = first->first_probability >= 0.995 ? 99.0 : first->first_probability * 100;
        (void)snprintf(percent, sizeof percent, "%.0f", sure);
        report_say(report, TEXT_ORDER_KNOWN, report_node_room(report, first->node),
                   report_node(report, first->node), percent, NULL);
    } else if (coincidence->together) {
        report_say(report, TEXT_ORDER_TOGETHER, NULL);
    } else {
        (void)snprintf(percent, sizeof percent, "%.3g", report->site->order_confidence * 100);
        report_say(report, TEXT_ORDER_UNKNOWN, percent, NULL);
    }
    report_put(report, "</p>\n");
    if (drawn) {
        report_order_figure(report, coincidence);
    }
    report_put(report, "<p class=\"note\">");
    report_say(report, TEXT_COLUMN_FIRST, NULL);
    for (size_t i = 0; i < coincidence->order_count; i++) {
        report_put(report, "%s %s %.0f %%", i > 0 ? "," : ":",
                   report_node(report, coincidence->order[i].node),
                   coincidence->order[i].first_probability * 100);
    }
    report_put(report, "</p>\n");
}

static void put_path_words(struct report *report, const struct coincidence *coincidence)
{
    char values[3][VALUE_SIZE];
    if (coincidence->path_count >= 2) {
        struct text rooms = {0};
        for (size_t i = 0; i < coincidence->path_count; i++) {
            (void)text_append_format(&rooms, "%s%s", i > 0 ? " \xe2\x86\x92 " : "",
                                     report_room(report, coincidence->path[i].room));
        }
        report_say(report, TEXT_PATH_ROOMS, rooms.bytes ? rooms.bytes : "?", NULL);
        report_put(report, " ");
        text_free(&rooms);
    }
    if (coincidence->speed.known) {
        const struct speed *speed = &coincidence->speed;
        (void)snprintf(values[0], VALUE_SIZE, "%.2g", speed->value_m_s);
        (void)snprintf(values[1], VALUE_SIZE, "%.2g", speed->low_m_s);
        (void)snprintf(values[2], VALUE_SIZE, "%.2g", speed->high_m_s);
        report_say(report, TEXT_PATH_SPEED, values[0], values[1], values[2], NULL);
        report_put(report, " ");
    }
    if (coincidence->source.known) {
        const struct source *source = &coincidence->source;
        (void)snprintf(values[0], VALUE_SIZE, "%.1f", source->x_m);
        (void)snprintf(values[1], VALUE_SIZE, "%.1f", source->y_m);
        (void)snprintf(values[2], VALUE_SIZE, "%.1f", source->sd_m);
        report_say(report, TEXT_PATH_SOURCE, values[0], values[1], values[2], NULL);
    }
}

/* Whether a node before this one of the order stands on the same floor. */
static bool floor_was_drawn(const struct report *report, const struct coincidence *coincidence,
                            size_t place, int *floor)
{
    const struct site *site = report->site;
    uint32_t node = coincidence->order[place].node;
    if (node >= site->node_count) {
        return true;
    }
    *floor = site->rooms[site->nodes[node].room].floor;
    for (size_t i = 0; i < place; i++) {
        uint32_t other = coincidence->order[i].node;
        if (other < site->node_count && site->rooms[site->nodes[other].room].floor == *floor) {
            return true;
        }
    }
    return false;
}

static void put_path(struct report *report, const struct coincidence *coincidence, bool drawn)
{
    bool told =
        coincidence->path_count >= 2 || coincidence->speed.known || coincidence->source.known;
    if (!told && !drawn) {
        return;
    }
    report_tag(report, "h4", TEXT_PATH);
    if (told) {
        report_put(report, "<p>");
        put_path_words(report, coincidence);
        report_put(report, "</p>\n");
    }
    for (size_t i = 0; drawn && i < coincidence->order_count; i++) {
        int floor = 0;
        if (!floor_was_drawn(report, coincidence, i, &floor)) {
            report_plan_figure(report, floor, coincidence);
        }
    }
}

static void put_chance(struct report *report, const struct coincidence *coincidence)
{
    char rate[VALUE_SIZE];
    char p[VALUE_SIZE];
    report_rate(report, coincidence->chance.per_night, rate);
    (void)snprintf(p, sizeof p, "%.2g", coincidence->chance.p_value);
    report_tag(report, "h4", TEXT_CHANCE);
    report_put(report, "<p>");
    report_say(report,
               coincidence->chance.method == CHANCE_TIME_SLIDES ? TEXT_CHANCE_SLIDES
                                                                : TEXT_CHANCE_ANALYTIC,
               rate, p, NULL);
    report_put(report, "</p>\n");
}

static void put_causes(struct report *report, const struct coincidence *coincidence)
{
    report_tag(report, "h4", TEXT_CAUSES);
    report_put(report, "<p>");
    report_say(report, TEXT_CAUSE_VERDICT, report_cause(report, coincidence->verdict.cause), NULL);
    report_put(report, " ");
    if (coincidence->mark_id != 0) {
        char mark[VALUE_SIZE];
        (void)snprintf(mark, sizeof mark, "%" PRId64, coincidence->mark_id);
        report_say(report, TEXT_COVERED, mark, NULL);
        report_put(report, " ");
    }
    report_say(report, TEXT_CAUSES_ABOUT, NULL);
    report_put(report, "</p>\n<ul>\n");
    for (size_t i = 0; i < coincidence->verdict.reason_count; i++) {
        report_put(report, "<li>");
        report_plain(report, coincidence->verdict.reasons[i]);
        report_put(report, "</li>\n");
    }
    if (coincidence->verdict.reason_count == 0) {
        report_put(report, "<li>");
        report_say(report, TEXT_NONE, NULL);
        report_put(report, "</li>\n");
    }
    report_put(report, "</ul>\n");
}

static int put_finding(void *context, const struct coincidence *coincidence)
{
    struct report *report = context;
    if (report->told == report->finding_count) { /* told since the outline was read */
        return 0;
    }
    const struct report_finding *outline = &report->findings[report->told++];
    if (!outline->shown || outline->id != coincidence->id) {
        return 0;
    }
    put_head(report, coincidence);
    put_outline(report, coincidence);
    if (outline->drawn && report_traces_figure(report, coincidence) != 0) {
        return -1;
    }
    if (!outline->drawn) {
        report_tag(report, "p", TEXT_FINDING_NO_FIGURE);
    }
    put_witnesses(report, coincidence);
    put_order(report, coincidence, outline->drawn);
    put_path(report, coincidence, outline->drawn);
    put_chance(report, coincidence);
    put_causes(report, coincidence);
    report_put(report, "</div>\n");
    return report_flush(report);
}

int report_findings(struct report *report)
{
    report_section(report, "findings", TEXT_FINDINGS);
    report_tag(report, "p", TEXT_FINDINGS_ABOUT);
    if (report->finding_count == 0) {
        report_tag(report, "p", TEXT_FINDINGS_NONE);
    }
    report->told = 0;
    if (night_each_coincidence(report->reader, report->options->analysis, put_finding, report,
                               report->error) != 0) {
        return -1;
    }
    if (report->finding_count > FINDINGS_SHOWN_MAX) {
        char number[VALUE_SIZE];
        report_number(report->finding_count - FINDINGS_SHOWN_MAX, number);
        report_put(report, "<p>");
        report_say(report, TEXT_FINDINGS_LEFT, number, NULL);
        report_put(report, "</p>\n");
    }
    return report_flush(report);
}
