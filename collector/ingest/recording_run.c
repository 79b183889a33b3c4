/* The second pass: sorts the samples of twenty seconds at most, cuts blocks, hands them on by data
 * time. Must never hold more than that. Called by the import. */
#include <stdbool.h>
#include <stdlib.h>

#include "collector/ingest/recording_inside.h"
#include "collector/ingest/series.h"
#include "common/clock.h"

/* All nodes hand on this much at a time. */
#define STRETCH_NS (10 * NS_PER_S)
#define CLOCK_EXPONENT (-9)

struct node_run {
    struct series clock;     /* values in s */
    struct series *channels; /* NULL: the file does not have the node */
};

struct run {
    struct recording *recording;
    const struct recording_sink *sink;
    struct node_run *nodes;
    struct block *blocks;
    size_t blocks_size;
    int64_t handed_ns; /* all before this was handed on */
    int64_t latest_ns;
};

static size_t count_before(const struct series *series, int64_t until_ns)
{
    size_t low = 0;
    size_t high = series->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (series->times_ns[middle] < until_ns) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low;
}

static int hand_clock(struct run *run, uint32_t node, int64_t until_ns, struct error *error)
{
    struct series *clock = &run->nodes[node].clock;
    size_t count = clock->values ? count_before(clock, until_ns) : 0;
    for (size_t i = 0; i < count; i++) {
        int64_t clock_sd_ns = 0;
        (void)decimal_rescale(clock->values[i], CLOCK_EXPONENT, &clock_sd_ns); /* checked before */
        int result =
            run->sink->clock(run->sink->context, node, clock->times_ns[i], clock_sd_ns, error);
        if (result) {
            return result;
        }
    }
    series_drop(clock, count);
    return 0;
}

static int reserve_blocks(struct run *run, size_t count, struct error *error)
{
    if (count <= run->blocks_size) {
        return 0;
    }
    struct block *blocks = realloc(run->blocks, count * 2 * sizeof *blocks);
    if (!blocks) {
        return error_set(error, ERROR_MEMORY, "import: out of memory");
    }
    run->blocks = blocks;
    run->blocks_size = count * 2;
    return 0;
}

static int hand_blocks(struct run *run, uint32_t node, int64_t until_ns, struct error *error)
{
    const struct recording_node *known = &run->recording->nodes[node];
    struct series *channels = run->nodes[node].channels;
    size_t count = 0;
    for (size_t c = 0; c < known->channel_count; c++) {
        size_t samples = count_before(&channels[c], until_ns);
        size_t more = series_block_count(&channels[c], samples, &known->channels[c]);
        if (reserve_blocks(run, count + more, error)) {
            return -1;
        }
        if (more == 0) {
            continue;
        }
        series_make_blocks(&channels[c], samples, (uint16_t)c, &known->channels[c],
                           run->blocks + count);
        count += more;
    }
    int result =
        count > 0 ? run->sink->blocks(run->sink->context, node, run->blocks, count, error) : 0;
    for (size_t c = 0; result == 0 && c < known->channel_count; c++) {
        series_drop(&channels[c], count_before(&channels[c], until_ns));
    }
    return result;
}

static int hand_on(struct run *run, int64_t until_ns, struct error *error)
{
    for (uint32_t node = 0; node < run->recording->site->node_count; node++) {
        if (!run->nodes[node].channels) {
            continue;
        }
        int result = hand_clock(run, node, until_ns, error);
        if (result == 0) {
            result = hand_blocks(run, node, until_ns, error);
        }
        if (result == 0) {
            result = run->sink->advance(run->sink->context, node, until_ns, error);
        }
        if (result) {
            return result;
        }
    }
    run->handed_ns = until_ns;
    return 0;
}

static int take_sample(struct run *run, const struct recording_sample *sample, struct error *error)
{
    struct recording *recording = run->recording;
    struct node_run *node = &run->nodes[sample->node];
    if (!node->channels) {
        return 0; /* nothing but its clock */
    }
    struct series *series =
        sample->channel == RECORDING_CLOCK ? &node->clock : &node->channels[sample->channel];
    int result = series_insert(series, sample->time_ns, sample->value);
    if (result < 0) {
        return error_set(error, ERROR_MEMORY, "import: out of memory");
    }
    if (result > 0) {
        return recording->source.fail(recording->source.context, sample->place, ERROR_FORMAT,
                                      "two values of one channel at one time", error);
    }
    run->latest_ns = sample->time_ns > run->latest_ns ? sample->time_ns : run->latest_ns;
    int64_t safe = run->latest_ns - RECORDING_DISORDER_NS;
    if (safe - run->handed_ns < STRETCH_NS) {
        return 0;
    }
    int64_t stretches = (safe - recording->first_ns) / STRETCH_NS;
    return hand_on(run, recording->first_ns + stretches * STRETCH_NS, error);
}

static int begin(struct run *run, struct error *error)
{
    const struct recording *recording = run->recording;
    run->nodes = calloc(recording->site->node_count + 1, sizeof *run->nodes);
    if (!run->nodes) {
        return error_set(error, ERROR_MEMORY, "import: out of memory");
    }
    for (size_t i = 0; i < recording->site->node_count; i++) {
        if (recording->nodes[i].samples == 0) {
            continue;
        }
        run->nodes[i].channels = calloc(NODE_CHANNELS_MAX, sizeof(struct series));
        if (!run->nodes[i].channels) {
            return error_set(error, ERROR_MEMORY, "import: out of memory");
        }
    }
    return 0;
}

static void end(struct run *run)
{
    for (size_t i = 0; run->nodes && i < run->recording->site->node_count; i++) {
        struct node_run *node = &run->nodes[i];
        series_free(&node->clock);
        for (size_t c = 0; node->channels && c < NODE_CHANNELS_MAX; c++) {
            series_free(&node->channels[c]);
        }
        free(node->channels);
    }
    free(run->nodes);
    free(run->blocks);
}

int recording_run(struct recording *recording, const struct recording_sink *sink,
                  struct error *error)
{
    struct run run = {.recording = recording,
                      .sink = sink,
                      .handed_ns = recording->first_ns,
                      .latest_ns = recording->first_ns};
    struct recording_sample sample;
    recording->source.rewind(recording->source.context);
    int result = begin(&run, error);
    while (result == 0) {
        int more = recording->source.next(recording->source.context, &sample, error);
        if (more <= 0) {
            result = more;
            break;
        }
        result = take_sample(&run, &sample, error);
    }
    /* A clock that is told on after the last sample has taken us past the end already. */
    if (result == 0 && recording->last_ns >= run.handed_ns) {
        result = hand_on(&run, recording->last_ns + 1, error);
    }
    end(&run);
    return result;
}
