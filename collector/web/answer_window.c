/* Lanes of a night over a window: its samples where they are few, else the least and the greatest
 * of each pixel. Must never average a peak away. Called by desk.c. */
#include "collector/web/answer.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/night/window.h"
#include "common/json.h"

/* So many samples a pixel are still sent as they are. */
#define SAMPLES_A_PIXEL 2
#define NS_PER_SECOND 1e9

struct window {
    const struct web_night *night;
    const struct web_query *query;
    int64_t from_ns;
    int64_t to_ns;
    struct night_sample *samples; /* SAMPLES_A_PIXEL a pixel */
    size_t count;
    struct night_pixel *pixels;
    struct text *out;
};

/* Times as the first one and then differences: short, and exact when added up. */
static void append_samples(struct window *window)
{
    int64_t before_ns = window->night->info.start_ns;
    (void)text_append_format(window->out, "\"t\":[");
    for (size_t i = 0; i < window->count; i++) {
        int64_t time_ns = window->samples[i].time_ns;
        (void)text_append_format(window->out, "%s%" PRId64, i > 0 ? "," : "", time_ns - before_ns);
        before_ns = time_ns;
    }
    (void)text_append_format(window->out, "],\"v\":[");
    for (size_t i = 0; i < window->count; i++) {
        (void)text_append_format(window->out, "%s", i > 0 ? "," : "");
        (void)json_append_number(window->out, window->samples[i].value);
    }
    (void)text_append_format(window->out, "]");
}

/* To what a screen can show, and more. */
static void append_pixels(struct window *window, const char *name, bool greatest)
{
    (void)text_append_format(window->out, "\"%s\":[", name);
    for (size_t i = 0; i < window->query->pixels; i++) {
        const struct night_pixel *pixel = &window->pixels[i];
        (void)text_append_format(window->out, "%s", i > 0 ? "," : "");
        if (pixel->count == 0) {
            (void)text_append_format(window->out, "%s", "null");
        } else {
            (void)text_append_format(window->out, "%.7g", greatest ? pixel->max : pixel->min);
        }
    }
    (void)text_append_format(window->out, "]");
}

/* Whether there are few enough samples to send them all; then they are in `samples`. */
static int read_samples(struct window *window, uint32_t node, const struct channel *channel,
                        bool *few, struct error *error)
{
    double length_s = (double)(window->to_ns - window->from_ns) / NS_PER_SECOND;
    *few = false;
    if (channel->rate_hz * length_s > (double)(SAMPLES_A_PIXEL * window->query->pixels)) {
        return 0;
    }
    const size_t most = SAMPLES_A_PIXEL * window->query->pixels;
    if (night_read_samples(window->night->reader, node, channel->name, window->from_ns,
                           window->to_ns, window->samples, most, &window->count, error) != 0) {
        return -1;
    }
    *few = window->count <= most;
    return 0;
}

static int find_channel(const struct window *window, uint32_t node, const char *name,
                        struct channel *found, struct error *error)
{
    struct channel channels[NODE_CHANNELS_MAX];
    size_t count = 0;
    if (night_read_channels(window->night->reader, node, channels, NODE_CHANNELS_MAX, &count,
                            error) != 0) {
        return -1;
    }
    memset(found, 0, sizeof *found);
    (void)snprintf(found->name, sizeof found->name, "%s", name);
    for (size_t i = 0; i < count; i++) {
        if (strcmp(channels[i].name, name) == 0) {
            *found = channels[i];
        }
    }
    return 0;
}

static int put_lane(struct window *window, const struct web_lane *lane, struct error *error)
{
    struct channel channel;
    bool few = false;
    size_t node = site_find_node(window->night->site, lane->node);
    if (node == SIZE_MAX) {
        return error_set(error, ERROR_NOT_FOUND, "lane: no node %s", lane->node);
    }
    if (find_channel(window, (uint32_t)node, lane->channel, &channel, error) != 0 ||
        read_samples(window, (uint32_t)node, &channel, &few, error) != 0) {
        return -1;
    }
    if (!few &&
        night_read_window(window->night->reader, (uint32_t)node, lane->channel, window->from_ns,
                          window->to_ns, window->query->pixels, window->pixels, error) != 0) {
        return -1;
    }
    (void)text_append_format(window->out, "{\"lane\":\"%s/%s\",\"calibrated\":%s,", lane->node,
                             lane->channel, channel_calibrated(&channel) ? "true" : "false");
    if (few) {
        append_samples(window);
    } else {
        append_pixels(window, "min", false);
        (void)text_append_format(window->out, ",");
        append_pixels(window, "max", true);
    }
    return text_append_format(window->out, "}");
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
                            .samples =
                                calloc(SAMPLES_A_PIXEL * query->pixels, sizeof *window.samples),
                            .pixels = calloc(query->pixels, sizeof *window.pixels),
                            .out = out};
    int result =
        window.samples && window.pixels ? 0 : error_set(error, ERROR_MEMORY, "page: out of memory");
    (void)text_append_format(out, "{\"from\":%" PRId64 ",\"to\":%" PRId64 ",\"lanes\":[",
                             query->from_ns, query->to_ns);
    for (size_t i = 0; result == 0 && i < query->lane_count; i++) {
        (void)text_append_format(out, "%s\n", i > 0 ? "," : "");
        result = put_lane(&window, &query->lanes[i], error);
    }
    free(window.samples);
    free(window.pixels);
    (void)text_append_format(out, "]}");
    return result;
}
