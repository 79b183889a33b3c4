/* The report's parts, in the order in which the page has them. Each gathers its markup and writes
 * it. Must never be included outside report*.c. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_REPORT_PARTS_H
#define ROOMWAKE_COLLECTOR_EXPORT_REPORT_PARTS_H

#include "collector/export/report_page.h"

int report_summary(struct report *report);
int report_plan(struct report *report);
int report_lanes(struct report *report);
int report_findings(struct report *report);
int report_marks(struct report *report);
int report_clocks(struct report *report);
int report_gaps(struct report *report);
int report_sensors(struct report *report);
int report_method(struct report *report);
int report_verify(struct report *report);
int report_warnings(struct report *report);

/* Figures. A floor of the plan; with a coincidence what it is about it. `width` in figure units. */
void report_plan_figure(struct report *report, int floor, const struct coincidence *coincidence);
int report_traces_figure(struct report *report, const struct coincidence *coincidence);
void report_order_figure(struct report *report, const struct coincidence *coincidence);
/* The samples of a channel as one path of vertical strokes within the box; nothing where there are
 * none. *low and *high become their least and most. */
struct report_box {
    double x;
    double y;
    double width;
    double height;
};
int report_trace(struct report *report, uint32_t node, const struct channel *channel,
                 int64_t from_ns, int64_t to_ns, struct report_box box, double *low, double *high);
/* "uncalibrated" under a lane's name, where it is. */
void report_uncalibrated(struct report *report, const struct channel *channel, double y);
/* Hours, minutes or seconds under a figure, `above` it lines through it. */
void report_time_axis(struct report *report, int64_t from_ns, int64_t to_ns, struct report_box box);

#endif
