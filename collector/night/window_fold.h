/* Samples and runs of samples taken together into the pixels of a plot.
 * Must never leave out an extreme, nor touch a database. Called by reader_window.c. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_WINDOW_FOLD_H
#define ROOMWAKE_COLLECTOR_NIGHT_WINDOW_FOLD_H

#include "collector/night/window.h"
#include "collector/night/zoom.h"
#include "common/block.h"

/* `pixels` are the caller's; all are emptied by window_begin. */
struct window {
    int64_t from_ns;
    int64_t to_ns;
    size_t count;
    struct night_pixel *pixels;
};

void window_begin(struct window *window);
/* Which pixel a time is in; it must be within the window. */
size_t window_pixel(const struct window *window, int64_t time_ns);
/* Each sample into its pixel; those outside of the window into none. */
void window_add_block(struct window *window, const struct block *block,
                      const struct channel *channel);
/* Runs of samples whose times are known to within a slack, each into every pixel it may touch. */
struct window_runs {
    int64_t t0_ns;
    int64_t span_ns;
    uint32_t samples;
    int64_t slack_ns;
    const struct zoom_runs *runs;
};
void window_add_runs(struct window *window, const struct window_runs *runs,
                     const struct channel *channel);
/* Start (inclusive) to end (exclusive). */
void window_add_gap(struct window *window, int64_t start_ns, int64_t end_ns);

#endif
