/* The plan of the building, floor by floor: rooms, doors, nodes; and on it what a finding says of
 * place and path. Must never draw a path that the finding does not claim. Called by report.c and
 * report_finding.c. */
#include "collector/export/report_parts.h"

#include <math.h>
#include <stdio.h>

#include "collector/export/plain.h"

#define MARGIN 14.0
#define HEIGHT_MAX 320.0
#define LETTER 6.4 /* about the width of one */

struct plan {
    struct report *report;
    int floor;
    double scale; /* figure units a metre */
    double left;
    double top;
    double width;
    double height;
};

static double at_x(const struct plan *plan, double x_m)
{
    return MARGIN + (x_m - plan->left) * plan->scale;
}

/* The site's y goes up, the figure's down. */
static double at_y(const struct plan *plan, double y_m)
{
    return plan->height - MARGIN - (y_m - plan->top) * plan->scale;
}

static bool has_floor(const struct site *site, int floor)
{
    for (size_t i = 0; i < site->room_count; i++) {
        if (site->rooms[i].floor == floor) {
            return true;
        }
    }
    return false;
}

static void measure(struct plan *plan, double width)
{
    const struct site *site = plan->report->site;
    double low[2] = {HUGE_VAL, HUGE_VAL};
    double high[2] = {-HUGE_VAL, -HUGE_VAL};
    for (size_t i = 0; i < site->room_count; i++) {
        const struct site_room *room = &site->rooms[i];
        for (size_t c = 0; room->floor == plan->floor && c < room->corner_count; c++) {
            for (int k = 0; k < 2; k++) {
                low[k] = fmin(low[k], room->outline_m[c][k]);
                high[k] = fmax(high[k], room->outline_m[c][k]);
            }
        }
    }
    double across = fmax(high[0] - low[0], 0.1);
    double up = fmax(high[1] - low[1], 0.1);
    plan->left = low[0];
    plan->top = low[1];
    plan->scale = fmin((width - 2 * MARGIN) / across, (HEIGHT_MAX - 2 * MARGIN) / up);
    plan->width = across * plan->scale + 2 * MARGIN;
    plan->height = up * plan->scale + 2 * MARGIN;
}

/* A title that has room in its room. */
static void put_label(struct plan *plan, double x, double y, double width, const char *words)
{
    struct text clean = {0};
    plain_append(&clean, words);
    size_t shown = 0;
    for (size_t count = 0;
         clean.bytes && clean.bytes[shown] && (double)count * LETTER < width - LETTER; count++) {
        do {
            shown++;
        } while (((unsigned char)clean.bytes[shown] & 0xc0) == 0x80);
    }
    report_put(plan->report, "<text x=\"%.1f\" y=\"%.1f\">", x, y);
    if (clean.bytes) {
        bool cut = clean.bytes[shown] != '\0';
        clean.bytes[shown] = '\0';
        report_plain(plan->report, clean.bytes);
        report_put(plan->report, cut ? "\xe2\x80\xa6" : "");
    }
    report_put(plan->report, "</text>\n");
    text_free(&clean);
}

static void put_room(struct plan *plan, const struct site_room *room)
{
    double label_x = HUGE_VAL;
    double label_y = HUGE_VAL;
    double right = 0;
    report_put(plan->report, "<path class=\"r\" d=\"M");
    for (size_t c = 0; c < room->corner_count; c++) {
        double x = at_x(plan, room->outline_m[c][0]);
        double y = at_y(plan, room->outline_m[c][1]);
        report_put(plan->report, "%s%.1f %.1f", c > 0 ? "L" : "", x, y);
        right = fmax(right, x);
        if (y < label_y || (y <= label_y && x < label_x)) {
            label_x = x;
            label_y = y;
        }
    }
    report_put(plan->report, "Z\"/>");
    put_label(plan, label_x + 5, label_y + 14, right - label_x - 10,
              room->title[0] != '\0' ? room->title : room->id);
}

static void put_doors(struct plan *plan)
{
    const struct site *site = plan->report->site;
    for (size_t i = 0; i < site->door_count; i++) {
        const struct site_door *door = &site->doors[i];
        if (site->rooms[door->rooms[0]].floor != plan->floor &&
            site->rooms[door->rooms[1]].floor != plan->floor) {
            continue;
        }
        report_put(plan->report, "<circle class=\"r\" cx=\"%.1f\" cy=\"%.1f\" r=\"3\"/>",
                   at_x(plan, door->at_m[0]), at_y(plan, door->at_m[1]));
    }
}

static bool took_part(const struct coincidence *coincidence, uint32_t node)
{
    for (size_t i = 0; coincidence && i < coincidence->order_count; i++) {
        if (coincidence->order[i].node == node) {
            return true;
        }
    }
    return false;
}

static void put_nodes(struct plan *plan, const struct coincidence *coincidence)
{
    const struct site *site = plan->report->site;
    for (uint32_t i = 0; i < site->node_count; i++) {
        const struct site_node *node = &site->nodes[i];
        if (site->rooms[node->room].floor != plan->floor) {
            continue;
        }
        double x = at_x(plan, node->position_m[0]);
        double y = at_y(plan, node->position_m[1]);
        char kind = took_part(coincidence, i) ? 'h' : 'n';
        if (node->control) {
            report_put(plan->report,
                       "<rect class=\"%c\" x=\"%.1f\" y=\"%.1f\" width=\"10\" height=\"10\"/>",
                       kind, x - 5, y - 5);
        } else {
            report_put(plan->report, "<circle class=\"%c\" cx=\"%.1f\" cy=\"%.1f\" r=\"5\"/>", kind,
                       x, y);
        }
        report_put(plan->report,
                   "<text class=\"s\" x=\"%.1f\" y=\"%.1f\" text-anchor=\"middle\">%s</text>\n", x,
                   y + 16, node->id);
    }
}

/* A step of the path is drawn at the room's first node that took part, else at its first corner. */
static void find_step(const struct plan *plan, const struct coincidence *coincidence, size_t step,
                      double at[2])
{
    const struct site *site = plan->report->site;
    uint32_t room = coincidence->path[step].room;
    at[0] = site->rooms[room].outline_m[0][0];
    at[1] = site->rooms[room].outline_m[0][1];
    for (size_t i = 0; i < coincidence->order_count; i++) {
        uint32_t node = coincidence->order[i].node;
        if (node < site->node_count && site->nodes[node].room == room) {
            at[0] = site->nodes[node].position_m[0];
            at[1] = site->nodes[node].position_m[1];
            return;
        }
    }
}

static void put_arrow(struct plan *plan, const double from[2], const double to[2])
{
    double x0 = at_x(plan, from[0]);
    double y0 = at_y(plan, from[1]);
    double x1 = at_x(plan, to[0]);
    double y1 = at_y(plan, to[1]);
    double length = hypot(x1 - x0, y1 - y0);
    if (length < 16) {
        return;
    }
    double ux = (x1 - x0) / length;
    double uy = (y1 - y0) / length;
    x1 -= ux * 8;
    y1 -= uy * 8;
    report_put(plan->report,
               "<path class=\"p\" d=\"M%.1f %.1fL%.1f %.1fM%.1f %.1fL%.1f %.1fL%.1f %.1f\"/>\n",
               x0 + ux * 8, y0 + uy * 8, x1, y1, x1 - 8 * ux + 4 * uy, y1 - 8 * uy - 4 * ux, x1, y1,
               x1 - 8 * ux - 4 * uy, y1 - 8 * uy + 4 * ux);
}

static void put_path(struct plan *plan, const struct coincidence *coincidence)
{
    const struct site *site = plan->report->site;
    for (size_t i = 1; i < coincidence->path_count; i++) {
        uint32_t rooms[2] = {coincidence->path[i - 1].room, coincidence->path[i].room};
        double at[2][2];
        if (rooms[0] >= site->room_count || rooms[1] >= site->room_count ||
            site->rooms[rooms[0]].floor != plan->floor ||
            site->rooms[rooms[1]].floor != plan->floor) {
            continue;
        }
        find_step(plan, coincidence, i - 1, at[0]);
        find_step(plan, coincidence, i, at[1]);
        put_arrow(plan, at[0], at[1]);
    }
    if (coincidence->source.known) {
        const struct source *source = &coincidence->source;
        report_put(plan->report,
                   "<ellipse class=\"e\" rx=\"%.1f\" ry=\"%.1f\" transform=\"translate(%.1f %.1f)"
                   " rotate(%.0f)\"/>\n",
                   fmin(source->major_m * plan->scale, 2000),
                   fmin(source->minor_m * plan->scale, 2000), at_x(plan, source->x_m),
                   at_y(plan, source->y_m), -source->major_deg);
    }
}

static void put_scale(struct plan *plan)
{
    double metres = plan->scale > 60 ? 1 : plan->scale > 12 ? 5 : 10;
    char text[VALUE_SIZE];
    (void)snprintf(text, sizeof text, "%.0f", metres);
    double y = plan->height - 7; /* with room for what hangs below the line */
    report_put(plan->report,
               "<path class=\"g\" d=\"M%.1f %.1fh%.1f\"/><text class=\"s\" x=\"%.1f\" y=\"%.1f\">",
               MARGIN, y, metres * plan->scale, MARGIN + metres * plan->scale + 5, y + 3);
    report_say(plan->report, TEXT_PLAN_METRES, text, NULL);
    report_put(plan->report, "</text>");
}

void report_plan_figure(struct report *report, int floor, const struct coincidence *coincidence)
{
    struct plan plan = {.report = report, .floor = floor};
    char number[VALUE_SIZE];
    char id[VALUE_SIZE];
    if (!has_floor(report->site, floor)) {
        return;
    }
    measure(&plan, coincidence ? FIGURE_WIDTH / 2 : FIGURE_WIDTH);
    (void)snprintf(number, sizeof number, "%d", floor);
    report_put(report, "<svg role=\"img\" viewBox=\"0 0 %.0f %.0f\" width=\"%.0f\" aria-label=\"",
               plan.width + 40, plan.height, plan.width + 40);
    if (coincidence) {
        (void)snprintf(id, sizeof id, "%lld", (long long)coincidence->id);
        report_say(report, TEXT_PATH_FIGURE, number, id, NULL);
    } else {
        report_say(report, TEXT_PLAN_FLOOR, number, NULL);
    }
    report_put(report, "\">\n");
    for (size_t i = 0; i < report->site->room_count; i++) {
        if (report->site->rooms[i].floor == floor) {
            put_room(&plan, &report->site->rooms[i]);
        }
    }
    put_doors(&plan);
    put_nodes(&plan, coincidence);
    if (coincidence) {
        put_path(&plan, coincidence);
    }
    put_scale(&plan);
    report_put(report, "</svg>\n");
}

static bool first_of_floor(const struct site *site, size_t room)
{
    for (size_t i = 0; i < room; i++) {
        if (site->rooms[i].floor == site->rooms[room].floor) {
            return false;
        }
    }
    return true;
}

int report_plan(struct report *report)
{
    report_section(report, "plan", TEXT_PLAN);
    report_tag(report, "p", TEXT_PLAN_ABOUT);
    for (size_t i = 0; i < report->site->room_count; i++) {
        if (!first_of_floor(report->site, i)) {
            continue;
        }
        char number[VALUE_SIZE];
        (void)snprintf(number, sizeof number, "%d", report->site->rooms[i].floor);
        report_put(report, "<h3>");
        report_say(report, TEXT_PLAN_FLOOR, number, NULL);
        report_put(report, "</h3>\n");
        report_plan_figure(report, report->site->rooms[i].floor, NULL);
    }
    return report_flush(report);
}
