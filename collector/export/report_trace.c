/* A channel's samples as a path of vertical strokes, and the time axis below.
 * Must never leave a peak out: each stroke spans the least and the most of its stretch.
 * Called by report_lanes.c and report_traces.c. */
#include "collector/export/report_parts.h"

#include <math.h>
#include <stdlib.h>

#include "collector/night/window.h"
#include "common/clock.h"

#define TICKS_MOST 9

struct scale {
    double low;
    double high;
    struct report_box box;
};

static double at_y(const struct scale *scale, double value)
{
    double span = scale->high - scale->low;
    double part = span > 0 ? (value - scale->low) / span : 0.5;
    return scale->box.y + scale->box.height * (1.0 - part);
}

static bool find_range(const struct night_pixel *pixels, size_t count, struct scale *scale)
{
    scale->low = HUGE_VAL;
    scale->high = -HUGE_VAL;
    for (size_t i = 0; i < count; i++) {
        if (pixels[i].count > 0) {
            scale->low = fmin(scale->low, pixels[i].min);
            scale->high = fmax(scale->high, pixels[i].max);
        }
    }
    return scale->low <= scale->high;
}

/* Fewer samples than every other stroke: what is told on change, or slowly. */
static bool is_sparse(const struct night_pixel *pixels, size_t count)
{
    size_t filled = 0;
    for (size_t i = 0; i < count; i++) {
        filled += pixels[i].count > 0;
    }
    return filled * 2 < count;
}

/* Strokes; what is told on change holds until the next. Each is joined to the one before where that
 * is its neighbour. */
static void put_strokes(struct report *report, const struct night_pixel *pixels, size_t count,
                        const struct scale *scale, bool hold)
{
    double step = scale->box.width / (double)count;
    bool joined = false;
    bool sparse = is_sparse(pixels, count);
    report_put(report, "<path class=\"l\" d=\"");
    for (size_t i = 0; i < count; i++) {
        if (pixels[i].count == 0) {
            joined = joined && (sparse || hold);
            continue;
        }
        double x = scale->box.x + step * ((double)i + 0.5);
        double high = at_y(scale, pixels[i].max);
        double low = at_y(scale, pixels[i].min);
        if (joined && hold) {
            report_put(report, "H%.4gV%.4gV%.4g", x, high, low);
        } else {
            report_put(report, "%c%.4g %.4gV%.4g", joined ? 'L' : 'M', x, high,
                       fmax(low, high + 0.6));
        }
        joined = true;
    }
    if (joined && hold) {
        report_put(report, "H%.4g", scale->box.x + scale->box.width);
    }
    report_put(report, "\"/>\n");
}

static void put_gaps(struct report *report, const struct night_pixel *pixels, size_t count,
                     const struct report_box *box)
{
    double step = box->width / (double)count;
    bool any = false;
    for (size_t i = 0; i < count;) {
        size_t end = i;
        while (end < count && pixels[end].gap) {
            end++;
        }
        if (end > i) {
            report_put(report, "%s%.1f %.1fh%.1f", any ? "M" : "<path class=\"g\" d=\"M",
                       box->x + step * (double)i, box->y + box->height + 1.5,
                       fmax(step * (double)(end - i), 1.0));
            any = true;
        }
        i = end + 1;
    }
    report_put(report, any ? "\"/>\n" : "");
}

int report_trace(struct report *report, uint32_t node, const struct channel *channel,
                 int64_t from_ns, int64_t to_ns, struct report_box box, double *low, double *high)
{
    size_t count = (size_t)box.width;
    struct scale scale = {.box = box};
    struct night_pixel *pixels = calloc(count, sizeof *pixels);
    if (!pixels) {
        return error_set(report->error, ERROR_MEMORY, "report: out of memory");
    }
    int result = night_read_window(report->reader, node, channel->name, from_ns, to_ns, count,
                                   pixels, report->error);
    *low = NAN;
    *high = NAN;
    if (result == 0 && find_range(pixels, count, &scale)) {
        *low = scale.low;
        *high = scale.high;
        put_strokes(report, pixels, count, &scale, channel->rate_hz <= 0);
    }
    if (result == 0) {
        put_gaps(report, pixels, count, &box);
    }
    free(pixels);
    return result;
}

/* The step of the axis: few enough to be read. */
static int64_t choose_step(int64_t length_ns)
{
    static const int seconds[] = {1,   2,   5,    10,   20,   30,    60,    120,   300,
                                  600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400};
    for (size_t i = 0; i < sizeof seconds / sizeof *seconds; i++) {
        if (length_ns / (seconds[i] * NS_PER_S) <= TICKS_MOST) {
            return seconds[i] * NS_PER_S;
        }
    }
    return (length_ns / TICKS_MOST / (86400 * NS_PER_S) + 1) * 86400 * NS_PER_S;
}

void report_time_axis(struct report *report, int64_t from_ns, int64_t to_ns, struct report_box box)
{
    int64_t step = choose_step(to_ns - from_ns);
    double bottom = box.y + box.height;
    int64_t first = (from_ns / step + 1) * step;
    report_put(report, "<path class=\"a\" d=\"M%.1f %.1fH%.1f\"/>", box.x, bottom,
               box.x + box.width);
    for (int64_t at = first; at < to_ns; at += step) {
        char text[TIMEFMT_SIZE];
        double x = box.x + box.width * (double)(at - from_ns) / (double)(to_ns - from_ns);
        timefmt_local(at, text, NULL);
        text[step >= 60 * NS_PER_S ? 5 : 8] = '\0'; /* "22:00" or "22:00:05" */
        report_put(
            report,
            "<path class=\"a\" d=\"M%.1f %.1fV%.1f\"/><text class=\"s\" x=\"%.1f\" y=\"%.1f\" "
            "text-anchor=\"middle\">%s</text>",
            x, box.y, bottom + 3, x, bottom + 13, text);
    }
    report_put(report, "\n");
}
