/* Any window of a night's channel as the pixels of a plot, quickly and with every extreme in it.
 * Must never drop or average a peak. Called by the page, by the report and by export's figures. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_WINDOW_H
#define ROOMWAKE_COLLECTOR_NIGHT_WINDOW_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/error.h"

struct night_reader;

/* A window of a channel as the pixels of a plot: pixel i has the samples from
 * night_pixel_edge(..., i), inclusive, to that of i + 1, exclusive. Each min is the least and each
 * max the greatest of its samples, exactly, where the window is short (up to some hundred thousand
 * samples). In a longer one a short run of samples that lies across an edge counts in both pixels:
 * min and max may then be of a sample just across the edge. Never is an extreme left out. Values in
 * the unit. */
struct night_pixel {
    double min;
    double max;
    uint64_t count; /* of samples; 0: none, and min and max are NaN */
    bool gap;       /* a named gap of the node reaches into the pixel */
};
#define NIGHT_WINDOW_PIXELS_MAX 100000u
/* `to_ns` > `from_ns`; 1 to NIGHT_WINDOW_PIXELS_MAX pixels. Works on a night that is being
 * recorded. A node without such a channel gives pixels without samples. */
int night_read_window(struct night_reader *reader, uint32_t node, const char *channel,
                      int64_t from_ns, int64_t to_ns, size_t pixels, struct night_pixel *out,
                      struct error *error);
/* Where pixel i begins; i up to `pixels` (the window's end). */
int64_t night_pixel_edge(int64_t from_ns, int64_t to_ns, size_t pixels, size_t i);

/* A window's samples themselves, in the order of their times, where they are at most `size`; else
 * *count is beyond `size` and `out` holds nothing of use. */
struct night_sample {
    int64_t time_ns;
    double value; /* in the unit */
};
int night_read_samples(struct night_reader *reader, uint32_t node, const char *channel,
                       int64_t from_ns, int64_t to_ns, struct night_sample *out, size_t size,
                       size_t *count, struct error *error);

#endif
