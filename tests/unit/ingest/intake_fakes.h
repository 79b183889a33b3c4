/* A night and a pipeline that only write down what they are told, and an intake upon them.
 * Must never be included by more than one file of a program, nor by product code. */
#ifndef ROOMWAKE_TESTS_UNIT_INGEST_INTAKE_FAKES_H
#define ROOMWAKE_TESTS_UNIT_INGEST_INTAKE_FAKES_H

#include "tests/unit/ingest/site_for_tests.h"

#include "collector/ingest/intake.h"
#include "common/clock.h"
#include "common/log.h"
#include "common/wire.h"

#define T0_NS (INT64_C(1709330400) * NS_PER_S)
#define NOTED 256

struct noted_frame {
    struct night_frame_id id;
    bool late;
    size_t count;
    uint32_t samples;
    int64_t first_ns;
    int64_t node_t0_ns;
    bool clock_known;
};

struct noted {
    struct noted_frame frames[NOTED];
    size_t frame_count;
    struct gap gaps[NOTED];
    size_t gap_count;
    size_t channels_put;
    uint64_t channels_boot;
    size_t channels_set;
    struct channel channels[NODE_CHANNELS_MAX];
    int64_t clock_sds[NOTED];
    size_t clock_count;
    struct mark marks[NOTED];
    size_t mark_count;
    size_t mark_pushed;
    int64_t log_time_ns;
    struct quiet_order quiet;
    size_t quiets;
    int64_t reached_ns;
    size_t learning;
    struct message_said said;
    char state[4096];
    char log[4096];
    struct block pushed[NOTED];
    int64_t pushed_first[NOTED];
    int64_t pushed_last[NOTED];
    size_t push_count;
    int64_t advanced_ns[3];
    bool waited_for[3];
    int waited_changes;
    /* What fails. */
    int full_after;     /* of the next puts so many pass, then one says ERROR_FULL; -1: never */
    int64_t horizon_ns; /* blocks that start before it are too late */
    size_t warnings;
    char last_warning[512];
};

static struct noted noted;
static struct site *site;
static struct intake *intake;
static int64_t now_ns;

static int take(struct error *error)
{
    if (noted.full_after == 0) {
        noted.full_after = -1;
        return error_set(error, ERROR_FULL, "the writer's queue is full");
    }
    noted.full_after -= noted.full_after > 0;
    return 0;
}

int night_put_channels(struct night_writer *writer, uint32_t node, uint64_t boot,
                       const struct channel *channels, size_t count, struct error *error)
{
    (void)writer;
    (void)node;
    if (take(error)) {
        return -1;
    }
    memcpy(noted.channels, channels, count * sizeof *channels);
    noted.channels_boot = boot;
    noted.channels_put++;
    return 0;
}

int night_put_frame(struct night_writer *writer, const struct night_frame_id *id,
                    const struct clock_fit *fit, const struct block *blocks,
                    const int64_t *node_t0_ns, size_t count, bool late, struct error *error)
{
    (void)writer;
    if (take(error)) {
        return -1;
    }
    struct noted_frame *frame = &noted.frames[noted.frame_count++ % NOTED];
    *frame =
        (struct noted_frame){.id = *id, .late = late, .count = count, .clock_known = fit->known};
    for (size_t i = 0; i < count; i++) {
        frame->samples += blocks[i].count;
    }
    if (count > 0) {
        frame->first_ns = block_time_ns(&blocks[0], 0);
        frame->node_t0_ns = node_t0_ns[0];
    }
    return 0;
}

int night_put_clock(struct night_writer *writer, uint32_t node, int64_t time_ns,
                    int64_t clock_sd_ns, struct error *error)
{
    (void)writer;
    (void)node;
    (void)time_ns;
    if (take(error)) {
        return -1;
    }
    noted.clock_sds[noted.clock_count++ % NOTED] = clock_sd_ns;
    return 0;
}

int night_put_gap(struct night_writer *writer, const struct gap *gap, struct error *error)
{
    (void)writer;
    if (take(error)) {
        return -1;
    }
    noted.gaps[noted.gap_count++ % NOTED] = *gap;
    return 0;
}

int night_put_mark(struct night_writer *writer, const struct mark *mark, struct error *error)
{
    (void)writer;
    if (take(error)) {
        return -1;
    }
    noted.marks[noted.mark_count++ % NOTED] = *mark;
    return 0;
}

int night_put_state(struct night_writer *writer, uint32_t node, int64_t time_ns, const char *json,
                    struct error *error)
{
    (void)writer;
    (void)node;
    (void)time_ns;
    (void)snprintf(noted.state, sizeof noted.state, "%s", json);
    return take(error);
}

int night_put_log(struct night_writer *writer, int64_t time_ns, const char *level, const char *text,
                  struct error *error)
{
    (void)writer;
    noted.log_time_ns = time_ns;
    (void)snprintf(noted.log, sizeof noted.log, "%s: %s", level, text);
    return take(error);
}

int pipeline_set_channels(struct pipeline *pipeline, uint32_t node, const struct channel *channels,
                          size_t count, struct error *error)
{
    (void)pipeline;
    (void)node;
    (void)channels;
    (void)count;
    (void)error;
    noted.channels_set++;
    return 0;
}

int pipeline_push(struct pipeline *pipeline, uint32_t node, const struct block *block,
                  struct error *error)
{
    (void)pipeline;
    int64_t first = block_time_ns(block, 0);
    if (first < noted.horizon_ns) {
        return error_set(error, ERROR_RANGE, "node %u: too late", node);
    }
    noted.pushed[noted.push_count % NOTED] = *block;
    noted.pushed_first[noted.push_count % NOTED] = first;
    noted.pushed_last[noted.push_count++ % NOTED] = block_time_ns(block, block->count - 1);
    return 0;
}

void pipeline_set_clock(struct pipeline *pipeline, uint32_t node, int64_t time_ns,
                        int64_t clock_sd_ns)
{
    (void)pipeline;
    (void)node;
    (void)time_ns;
    (void)clock_sd_ns;
}

int pipeline_advance(struct pipeline *pipeline, uint32_t node, int64_t until_ns,
                     struct error *error)
{
    (void)pipeline;
    (void)error;
    noted.advanced_ns[node] = until_ns;
    return 0;
}

int pipeline_set_waited_for(struct pipeline *pipeline, uint32_t node, bool waited_for,
                            struct error *error)
{
    (void)pipeline;
    (void)error;
    noted.waited_for[node] = waited_for;
    noted.waited_changes++;
    return 0;
}

int pipeline_mark(struct pipeline *pipeline, const struct mark *mark, struct error *error)
{
    (void)pipeline;
    (void)mark;
    (void)error;
    noted.mark_pushed++;
    return 0;
}

int pipeline_quiet(struct pipeline *pipeline, const struct quiet_order *order, struct error *error)
{
    (void)pipeline;
    (void)error;
    noted.quiet = *order;
    noted.quiets++;
    return 0;
}

int64_t pipeline_reached_ns(const struct pipeline *pipeline)
{
    (void)pipeline;
    return noted.reached_ns;
}

size_t pipeline_count_learning(const struct pipeline *pipeline)
{
    (void)pipeline;
    return noted.learning;
}

static void on_said(void *context, const struct message_said *said)
{
    (void)context;
    noted.said = *said;
}

static int64_t test_now(void *context)
{
    (void)context;
    return now_ns;
}

/* The site's clock is a second ahead of UTC. */
static struct clock_fit test_utc_to_site(void *context)
{
    (void)context;
    return (struct clock_fit){.known = true, .offset_ns = NS_PER_S, .uncertainty_ns = 4000000};
}

static void on_log(void *context, enum log_level level, const char *line)
{
    (void)context;
    if (level <= LOG_LEVEL_WARNING) {
        noted.warnings++;
        (void)snprintf(noted.last_warning, sizeof noted.last_warning, "%s", line);
    }
}

static int setup(void **state)
{
    (void)state;
    struct error error;
    memset(&noted, 0, sizeof noted);
    noted.full_after = -1;
    noted.horizon_ns = INT64_MIN;
    now_ns = T0_NS;
    site = make_site();
    log_set_sink(on_log, NULL);
    log_set_level(LOG_LEVEL_WARNING);
    const struct intake_settings settings = {.site = site,
                                             .site_now_ns = test_now,
                                             .utc_to_site = test_utc_to_site,
                                             .night_start_ns = T0_NS,
                                             .marks_from_ns = T0_NS - 1000 * NS_PER_S,
                                             .senml_boot = 0x5E,
                                             .hooks = {.said = on_said}};
    return intake_new(&settings, &intake, &error);
}

static int teardown(void **state)
{
    (void)state;
    intake_free(intake);
    site_free(site);
    log_set_sink(NULL, NULL);
    return 0;
}

static void send_text(const char *topic, const char *text)
{
    intake_message(intake, topic, (const uint8_t *)text, strlen(text));
}

#define WITH_INTAKE(name) cmocka_unit_test_setup_teardown(name, setup, teardown)

#endif
