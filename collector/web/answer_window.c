/* Lanes of a night over a window, each bucket by its minimum and maximum.
 * Must never average a peak away. Called by desk.c. */
#include "collector/web/answer.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "common/json.h"

struct window {
    const struct web_night *night;
    const struct web_query *query;
    int64_t from_ns;
    int64_t to_ns;
    struct night_bucket *buckets;
    size_t size;
    size_t count;
    bool raw; /* each bucket is one sample */
    struct text *out;
};

/* Times as the first one and then differences: short, and exact when added up. */
static void append_times(struct window *window)
{
    int64_t before_ns = window->night->info.start_ns;
    (void)text_append_format(window->out, "\"t\":[");
    for (size_t i = 0; i < window->count; i++) {
        int64_t t0_ns = window->buckets[i].t0_ns;
        (void)text_append_format(window->out, "%s%" PRId64, i > 0 ? "," : "", t0_ns - before_ns);
        before_ns = t0_ns;
    }
    (void)text_append_format(window->out, "]");
}

static void append_spans(struct window *window)
{
    (void)text_append_format(window->out, ",\"span\":[");
    for (size_t i = 0; i < window->count; i++) {
        const struct night_bucket *bucket = &window->buckets[i];
        (void)text_append_format(window->out, "%s%" PRId64, i > 0 ? "," : "",
                                 bucket->t1_ns - bucket->t0_ns);
    }
    (void)text_append_format(window->out, "]");
}

/* Samples to their last digit; buckets to what a screen can show and more. */
static void append_values(struct window *window, const char *name, bool greatest)
{
    (void)text_append_format(window->out, ",\"%s\":[", name);
    for (size_t i = 0; i < window->count; i++) {
        double value = greatest ? window->buckets[i].max : window->buckets[i].min;
        (void)text_append_format(window->out, "%s", i > 0 ? "," : "");
        if (window->raw) {
            (void)json_append_number(window->out, value);
        } else {
            (void)text_append_format(window->out, "%.7g", value);
        }
    }
    (void)text_append_format(window->out, "]");
}

static void append_lane(struct window *window, const struct web_lane *lane)
{
    window->raw = true;
    for (size_t i = 0; i < window->count; i++) {
        window->raw = window->raw && window->buckets[i].count == 1;
    }
    (void)text_append_format(window->out, "{\"lane\":\"%s/%s\",\"raw\":%s,", lane->node,
                             lane->channel, window->raw ? "true" : "false");
    append_times(window);
    if (!window->raw) {
        append_spans(window);
        append_values(window, "min", false);
    }
    append_values(window, "max", true);
    (void)text_append_format(window->out, "}");
}

static int put_lane(struct window *window, const struct web_lane *lane, struct error *error)
{
    size_t node = site_find_node(window->night->site, lane->node);
    if (node == SIZE_MAX) {
        return error_set(error, ERROR_NOT_FOUND, "lane: no node %s", lane->node);
    }
    window->count = 0;
    if (night_read_zoom(window->night->reader, (uint32_t)node, lane->channel, window->from_ns,
                        window->to_ns, window->query->pixels, window->buckets, window->size,
                        &window->count, error) != 0) {
        return -1;
    }
    append_lane(window, lane);
    return 0;
}

int web_answer_window(const struct web_night *night, const struct web_query *query,
                      struct text *out, struct error *error)
{
    if (query->from_ns == INT64_MIN || query->to_ns == INT64_MAX ||
        query->from_ns >= query->to_ns) {
        return error_set(error, ERROR_RANGE, "from, to: a window is needed");
    }
    struct window window = {.night = night,
                            .query = query,
                            .from_ns = night->info.start_ns + query->from_ns,
                            .to_ns = night->info.start_ns + query->to_ns,
                            .size = 4 * query->pixels,
                            .out = out};
    window.buckets = malloc(window.size * sizeof *window.buckets);
    if (!window.buckets) {
        return error_set(error, ERROR_MEMORY, "page: out of memory");
    }
    (void)text_append_format(out, "{\"from\":%" PRId64 ",\"to\":%" PRId64 ",\"lanes\":[",
                             query->from_ns, query->to_ns);
    int result = 0;
    for (size_t i = 0; result == 0 && i < query->lane_count; i++) {
        (void)text_append_format(out, "%s\n", i > 0 ? "," : "");
        result = put_lane(&window, &query->lanes[i], error);
    }
    free(window.buckets);
    (void)text_append_format(out, "]}");
    return result;
}
