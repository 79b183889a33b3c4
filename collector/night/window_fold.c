/* Samples and runs of samples taken together into the pixels of a plot.
 * Must never leave out an extreme. Called by reader_window.c. */
#include "collector/night/window_fold.h"

#include <math.h>

#include "collector/night/cuts.h"

__extension__ typedef unsigned __int128 wide;

int64_t night_pixel_edge(int64_t from_ns, int64_t to_ns, size_t pixels, size_t i)
{
    uint64_t length = (uint64_t)to_ns - (uint64_t)from_ns;
    /* Rounded up: the first nanosecond that is not the pixel's before. */
    uint64_t offset = (uint64_t)(((wide)length * i + (pixels - 1)) / pixels);
    return (int64_t)((uint64_t)from_ns + offset);
}

void window_begin(struct window *window)
{
    for (size_t i = 0; i < window->count; i++) {
        window->pixels[i] = (struct night_pixel){.min = NAN, .max = NAN};
    }
}

size_t window_pixel(const struct window *window, int64_t time_ns)
{
    uint64_t length = (uint64_t)window->to_ns - (uint64_t)window->from_ns;
    uint64_t offset = (uint64_t)time_ns - (uint64_t)window->from_ns;
    return (size_t)((wide)offset * window->count / length);
}

/* fmin leaves out the NaN of an empty pixel. */
static void add(struct night_pixel *pixel, uint64_t samples, double min, double max)
{
    pixel->min = fmin(pixel->min, min);
    pixel->max = fmax(pixel->max, max);
    pixel->count += samples;
}

/* The first of the block's samples at or after a time; its count where there is none. */
static uint32_t first_at(const struct block *block, int64_t time_ns)
{
    uint32_t low = 0;
    uint32_t high = block->count;
    while (low < high) {
        uint32_t middle = low + (high - low) / 2;
        if (block_time_ns(block, middle) < time_ns) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low;
}

static void add_counts(struct night_pixel *pixel, const struct block *block,
                       const struct channel *channel, uint32_t from, uint32_t to)
{
    int32_t min = block->counts[from];
    int32_t max = min;
    for (uint32_t i = from; i < to; i++) {
        min = block->counts[i] < min ? block->counts[i] : min;
        max = block->counts[i] > max ? block->counts[i] : max;
    }
    double a = channel_value(channel, min);
    double b = channel_value(channel, max);
    add(pixel, to - from, fmin(a, b), fmax(a, b)); /* a step may be negative */
}

static void add_values(struct night_pixel *pixel, const struct block *block,
                       const struct channel *channel, uint32_t from, uint32_t to)
{
    for (uint32_t i = from; i < to; i++) {
        double value = block_value(block, channel, i);
        add(pixel, 1, value, value);
    }
}

void window_add_block(struct window *window, const struct block *block,
                      const struct channel *channel)
{
    uint32_t i = first_at(block, window->from_ns);
    while (i < block->count) {
        int64_t time_ns = block_time_ns(block, i);
        if (time_ns >= window->to_ns) {
            return;
        }
        size_t place = window_pixel(window, time_ns);
        int64_t edge_ns =
            night_pixel_edge(window->from_ns, window->to_ns, window->count, place + 1);
        uint32_t next = i + 1;
        while (next < block->count && block_time_ns(block, next) < edge_ns) {
            next++;
        }
        struct night_pixel *pixel = &window->pixels[place];
        if (block->encoding == BLOCK_INT32) {
            add_counts(pixel, block, channel, i, next);
        } else {
            add_values(pixel, block, channel, i, next);
        }
        i = next;
    }
}

/* Pixels from left to right, without a division for each time. */
struct place {
    const struct window *window;
    size_t pixel;
    int64_t end_ns; /* of the pixel */
};

static void move_to(struct place *place, int64_t time_ns)
{
    const struct window *window = place->window;
    if (time_ns < place->end_ns) {
        return;
    }
    place->pixel = window_pixel(window, time_ns);
    place->end_ns =
        night_pixel_edge(window->from_ns, window->to_ns, window->count, place->pixel + 1);
}

static void add_run(const struct place *first, const struct place *last, uint32_t samples,
                    const struct channel *channel, int32_t least, int32_t greatest)
{
    double a = channel_value(channel, least);
    double b = channel_value(channel, greatest);
    for (size_t i = first->pixel; i <= last->pixel; i++) {
        add(&first->window->pixels[i], samples, fmin(a, b), fmax(a, b));
    }
}

/* The part of a run's times that is within the window; false where there is none. */
static bool clip(const struct window *window, int64_t *first_ns, int64_t *last_ns)
{
    if (*last_ns < window->from_ns || *first_ns >= window->to_ns) {
        return false;
    }
    *first_ns = *first_ns < window->from_ns ? window->from_ns : *first_ns;
    *last_ns = *last_ns >= window->to_ns ? window->to_ns - 1 : *last_ns;
    return true;
}

void window_add_runs(struct window *window, const struct window_runs *runs,
                     const struct channel *channel)
{
    struct place first = {.window = window, .end_ns = INT64_MIN};
    struct place last = first;
    for (size_t i = 0; i < runs->runs->count; i++) {
        uint32_t from = (uint32_t)i * ZOOM_RUN;
        uint32_t to = runs->samples - from < ZOOM_RUN ? runs->samples : from + ZOOM_RUN;
        int64_t first_ns =
            runs->t0_ns + cuts_even_ns(runs->span_ns, runs->samples, from) - runs->slack_ns;
        int64_t last_ns =
            runs->t0_ns + cuts_even_ns(runs->span_ns, runs->samples, to - 1) + runs->slack_ns;
        if (clip(window, &first_ns, &last_ns)) {
            move_to(&first, first_ns);
            move_to(&last, last_ns);
            add_run(&first, &last, to - from, channel, runs->runs->min[i], runs->runs->max[i]);
        }
    }
}

void window_add_gap(struct window *window, int64_t start_ns, int64_t end_ns)
{
    if (end_ns <= window->from_ns || start_ns >= window->to_ns || end_ns <= start_ns) {
        return;
    }
    size_t from = start_ns < window->from_ns ? 0 : window_pixel(window, start_ns);
    size_t to = end_ns >= window->to_ns ? window->count - 1 : window_pixel(window, end_ns - 1);
    for (size_t i = from; i <= to; i++) {
        window->pixels[i].gap = true;
    }
}
