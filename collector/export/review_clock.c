/* Offset, rate and uncertainty from the stored fits, the exchanges' age from the stored states.
 * Must never judge a clock. Called by review.c. */
#include "collector/export/review_clock.h"

#include <stdlib.h>
#include <string.h>

#include "collector/export/steadiness.h"
#include "collector/night/reader_clock.h"
#include "common/clock.h"
#include "common/message.h"
#include "common/timefmt.h"

enum figure { OFFSET, RATE, UNCERTAINTY, AGE, FIGURES };

struct list {
    int64_t *values;
    size_t count;
    size_t size;
};

struct clocks {
    const struct site *site;
    struct list (*nodes)[FIGURES];
    struct steadiness *steadiness;
    struct error *error;
};

static int add(struct clocks *clocks, uint32_t node, enum figure figure, int64_t value)
{
    struct list *list = &clocks->nodes[node][figure];
    if (list->count == list->size) {
        size_t size = list->size ? 2 * list->size : 256;
        int64_t *values = realloc(list->values, size * sizeof *values);
        if (!values) {
            return error_set(clocks->error, ERROR_MEMORY, "review: out of memory");
        }
        list->values = values;
        list->size = size;
    }
    list->values[list->count++] = value;
    return 0;
}

static int take_fit(void *context, const struct night_fit_row *row)
{
    struct clocks *clocks = context;
    if (row->node >= clocks->site->node_count) {
        return 0;
    }
    if (add(clocks, row->node, OFFSET, row->fit.offset_ns) != 0 ||
        add(clocks, row->node, RATE, -row->fit.rate_ppt) != 0) {
        return -1;
    }
    return add(clocks, row->node, UNCERTAINTY, row->fit.uncertainty_ns);
}

static int take_state(void *context, uint32_t node, int64_t time_ns, const char *json)
{
    struct clocks *clocks = context;
    struct message_state state;
    (void)time_ns;
    if (node >= clocks->site->node_count ||
        message_state_read(json, strlen(json), &state, clocks->error) != 0) {
        return error_set(clocks->error, ERROR_FORMAT, "damaged: a state of node %u", node);
    }
    return state.gone || state.exchange_age_ns < 0 ? 0
                                                   : add(clocks, node, AGE, state.exchange_age_ns);
}

static int ascending(const void *left, const void *right)
{
    int64_t a = *(const int64_t *)left;
    int64_t b = *(const int64_t *)right;
    return (a > b) - (a < b);
}

static void write_value(FILE *out, enum figure figure, int64_t value)
{
    char text[TIMEFMT_SIZE];
    switch (figure) {
    case OFFSET:
        fprintf(out, "%.3f s", (double)value / 1e9);
        return;
    case RATE:
        fprintf(out, "%+.3f ppm", (double)value / 1e6);
        return;
    case UNCERTAINTY:
    case AGE:
    case FIGURES:
        break;
    }
    timefmt_duration(value, text);
    fprintf(out, "%s", text);
}

static void write_list(FILE *out, enum figure figure, struct list *list)
{
    static const char *const names[FIGURES] = {
        [OFFSET] = "site time less its own",
        [RATE] = "crystal",
        [UNCERTAINTY] = "uncertainty (one sigma)",
        [AGE] = "since the last good exchange",
    };
    if (list->count == 0) {
        return;
    }
    qsort(list->values, list->count, sizeof list->values[0], ascending);
    fprintf(out, "    %s: ", names[figure]);
    write_value(out, figure, list->values[0]);
    fprintf(out, " / ");
    write_value(out, figure, list->values[list->count / 2]);
    fprintf(out, " / ");
    write_value(out, figure, list->values[list->count - 1]);
    fprintf(out, "\n");
}

static void write_all(struct clocks *clocks, FILE *out)
{
    bool any = false;
    char steady[STEADINESS_TEXT_SIZE];
    for (uint32_t node = 0; node < clocks->site->node_count; node++) {
        struct list *lists = clocks->nodes[node];
        const struct site_node *one = &clocks->site->nodes[node];
        if (lists[RATE].count == 0 && lists[AGE].count == 0) {
            continue;
        }
        fprintf(out, "%s  %s (%s)\n", any ? "" : "\nClocks over the night: least / median / most\n",
                one->id, clocks->site->rooms[one->room].id);
        any = true;
        for (int figure = 0; figure < FIGURES; figure++) {
            write_list(out, (enum figure)figure, &lists[figure]);
        }
        steadiness_say(&clocks->steadiness[node], steady);
        if (steady[0]) {
            fprintf(out,
                    "    crystal's steadiness (overlapping Allan deviation, with the link's noise "
                    "in it): %s\n",
                    steady);
        }
    }
}

int review_write_clocks(struct night_reader *reader, const struct site *site, FILE *out,
                        struct error *error)
{
    struct clocks clocks = {.site = site, .error = error};
    size_t count = site->node_count ? site->node_count : 1;
    clocks.nodes = calloc(count, sizeof *clocks.nodes);
    clocks.steadiness = calloc(count, sizeof *clocks.steadiness);
    if (!clocks.nodes || !clocks.steadiness) {
        free(clocks.nodes);
        free(clocks.steadiness);
        return error_set(error, ERROR_MEMORY, "review: out of memory");
    }
    int result = night_each_fit(reader, take_fit, &clocks, error);
    if (result == 0) {
        result = night_each_state(reader, take_state, &clocks, error);
    }
    if (result == 0) {
        result = steadiness_read(reader, site->node_count, clocks.steadiness, error);
    }
    if (result == 0) {
        write_all(&clocks, out);
    }
    for (size_t node = 0; node < site->node_count; node++) {
        for (int figure = 0; figure < FIGURES; figure++) {
            free(clocks.nodes[node][figure].values);
        }
    }
    free(clocks.nodes);
    free(clocks.steadiness);
    return result;
}
