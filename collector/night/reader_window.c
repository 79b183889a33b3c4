/* Any window of a channel as pixels.
 * Must never drop or average a peak. Called by export's figures and by the page. */
#include "collector/night/reader_internal.h"
#include "collector/night/window_fold.h"

struct gap_take {
    struct window *window;
    uint32_t node;
};

static int take_gap(void *context, const struct gap *gap)
{
    const struct gap_take *take = context;
    if (gap->node == take->node) {
        window_add_gap(take->window, gap->start_ns, gap->end_ns);
    }
    return 0;
}

static int take_blocks(struct night_reader *reader, uint32_t node, const char *channel,
                       struct window *window, struct error *error)
{
    struct night_blocks *cursor = NULL;
    struct night_block_row row;
    if (reader_blocks_open(reader, node, channel, window->from_ns, window->to_ns, &cursor, error) !=
        0) {
        return -1;
    }
    int more = 0;
    while ((more = night_blocks_next(cursor, &row, error)) == 1) {
        window_add_block(window, &row.block, &row.channel);
    }
    night_blocks_close(cursor);
    return more;
}

int night_read_window(struct night_reader *reader, uint32_t node, const char *channel,
                      int64_t from_ns, int64_t to_ns, size_t pixels, struct night_pixel *out,
                      struct error *error)
{
    if (to_ns <= from_ns || pixels == 0 || pixels > NIGHT_WINDOW_PIXELS_MAX) {
        return error_set(error, ERROR_RANGE, "%s: window of %zu pixels", reader->path, pixels);
    }
    struct window window = {.from_ns = from_ns, .to_ns = to_ns, .count = pixels, .pixels = out};
    struct gap_take gaps = {.window = &window, .node = node};
    window_begin(&window);
    if (take_blocks(reader, node, channel, &window, error) != 0) {
        return -1;
    }
    return night_each_gap(reader, take_gap, &gaps, error);
}
