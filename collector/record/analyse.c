/* A stored night through the pipeline again.
 * Must never touch a stored sample nor know a detector. Called by cmd_reanalyse.c and session.c. */
#include "collector/record/analyse.h"

#include <stdlib.h>

#include "collector/night/reader.h"
#include "collector/night/writer.h"
#include "collector/pipeline/pipeline.h"
#include "collector/record/refit.h"

/* How far in data time the nodes are advanced together. */
#define ADVANCE_NS INT64_C(1000000000)

struct clock_row {
    int64_t time_ns;
    int64_t clock_sd_ns;
};

struct node_clocks {
    struct clock_row *rows;
    size_t count;
    size_t size;
    size_t used;
    int64_t fitted_sd_ns; /* last told of a re-fitted clock */
};

struct analysis_run {
    const struct site *site;
    struct night_reader *reader;
    struct pipeline *pipeline;
    struct refit *refit;        /* NULL: times as stored */
    struct node_clocks *clocks; /* one a node */
    bool *heard;
    int64_t advanced_ns;
    struct error *error;
};

static int keep_clock(void *context, uint32_t node, int64_t time_ns, int64_t clock_sd_ns)
{
    struct analysis_run *run = context;
    if (node >= run->site->node_count) {
        return error_set(run->error, ERROR_FORMAT, "clock: node %u: not in the site", node);
    }
    struct node_clocks *clocks = &run->clocks[node];
    if (clocks->count == clocks->size) {
        size_t size = clocks->size ? clocks->size * 2 : 64;
        struct clock_row *rows = realloc(clocks->rows, size * sizeof *rows);
        if (!rows) {
            return error_set(run->error, ERROR_MEMORY, "clock: out of memory");
        }
        clocks->rows = rows;
        clocks->size = size;
    }
    clocks->rows[clocks->count++] = (struct clock_row){time_ns, clock_sd_ns};
    return 0;
}

static int push_mark(void *context, const struct mark *mark)
{
    struct analysis_run *run = context;
    return pipeline_mark(run->pipeline, mark, run->error);
}

static int push_quiet(void *context, const struct quiet_order *order)
{
    struct analysis_run *run = context;
    return pipeline_quiet(run->pipeline, order, run->error);
}

static int advance_all(struct analysis_run *run, int64_t until_ns)
{
    for (uint32_t node = 0; node < run->site->node_count; node++) {
        if (run->heard[node] && pipeline_advance(run->pipeline, node, until_ns, run->error) != 0) {
            return -1;
        }
    }
    run->advanced_ns = until_ns;
    return 0;
}

/* What was told live up to here; where the clock was fitted again, that instead. */
static void tell_clock(struct analysis_run *run, const struct night_block_row *row,
                       int64_t fitted_sd_ns)
{
    struct node_clocks *clocks = &run->clocks[row->node];
    while (clocks->used < clocks->count && clocks->rows[clocks->used].time_ns <= row->block.t0_ns) {
        const struct clock_row *clock = &clocks->rows[clocks->used++];
        if (fitted_sd_ns < 0) {
            pipeline_set_clock(run->pipeline, row->node, clock->time_ns, clock->clock_sd_ns);
        }
    }
    if (fitted_sd_ns >= 0 && fitted_sd_ns != clocks->fitted_sd_ns) {
        pipeline_set_clock(run->pipeline, row->node, row->block.t0_ns, fitted_sd_ns);
        clocks->fitted_sd_ns = fitted_sd_ns;
    }
}

static int push_block(struct analysis_run *run, struct night_block_row *row)
{
    /* Everything that begins before this block has been pushed, since the cursor goes by start
     * time; what still comes may be moved to before it, but no further than the re-fit's most. */
    int64_t until_ns = row->block.t0_ns - (run->refit ? refit_most_ns(run->refit) : 0);
    if (until_ns >= run->advanced_ns + ADVANCE_NS && advance_all(run, until_ns) != 0) {
        return -1;
    }
    int64_t fitted_sd_ns = -1;
    if (run->refit) {
        refit_block(run->refit, row, &fitted_sd_ns);
    }
    tell_clock(run, row, fitted_sd_ns);
    run->heard[row->node] = true;
    return pipeline_push(run->pipeline, row->node, &row->block, run->error);
}

static int set_channels(struct analysis_run *run)
{
    struct channel channels[NODE_CHANNELS_MAX];
    for (uint32_t node = 0; node < run->site->node_count; node++) {
        size_t count = 0;
        if (night_read_channels(run->reader, node, channels, NODE_CHANNELS_MAX, &count,
                                run->error) != 0 ||
            (count > 0 &&
             pipeline_set_channels(run->pipeline, node, channels, count, run->error) != 0)) {
            return -1;
        }
    }
    return 0;
}

static int push_all(struct analysis_run *run)
{
    struct night_blocks *cursor = NULL;
    struct night_block_row row;
    if (night_blocks_open(run->reader, SIZE_MAX, INT64_MIN, INT64_MAX, &cursor, run->error) != 0) {
        return -1;
    }
    int more = 0;
    bool begun = false;
    while ((more = night_blocks_next(cursor, &row, run->error)) == 1) {
        if (!begun) {
            run->advanced_ns = row.block.t0_ns;
            begun = true;
        }
        if (push_block(run, &row) != 0) {
            more = -1;
            break;
        }
    }
    night_blocks_close(cursor);
    return more < 0 ? -1 : pipeline_finish(run->pipeline, run->error);
}

static void run_free(struct analysis_run *run)
{
    for (size_t node = 0; run->clocks && node < run->site->node_count; node++) {
        free(run->clocks[node].rows);
    }
    free(run->clocks);
    free(run->heard);
    refit_free(run->refit);
    pipeline_free(run->pipeline);
}

static int make_refit(struct analysis_run *run, const struct finding_sink *sink)
{
    if (refit_new(run->reader, run->site, &run->refit, run->error) != 0) {
        return -1;
    }
    for (uint32_t node = 0; node < run->site->node_count; node++) {
        char text[REFIT_TEXT_SIZE];
        const struct refit_change *change = refit_get_change(run->refit, node);
        refit_say_change(run->refit, node, text);
        sink->noticed(sink->context, node, REFIT_QUANTITY, change->most_at_ns, text);
    }
    return 0;
}

static int run_analysis(struct night_reader *reader, const struct site *site, bool refit,
                        struct findings *findings, struct error *error)
{
    struct analysis_run run = {.site = site, .reader = reader, .error = error};
    struct finding_sink sink = findings_sink(findings);
    int result = -1;
    run.clocks = calloc(site->node_count ? site->node_count : 1, sizeof *run.clocks);
    run.heard = calloc(site->node_count ? site->node_count : 1, sizeof *run.heard);
    if (!run.clocks || !run.heard) {
        (void)error_set(error, ERROR_MEMORY, "analysis: out of memory");
    } else if (pipeline_new(site, &sink, &run.pipeline, error) == 0 &&
               pipeline_work_ahead(run.pipeline, error) == 0 && set_channels(&run) == 0 &&
               (!refit || make_refit(&run, &sink) == 0) &&
               night_each_clock(reader, keep_clock, &run, error) == 0 &&
               night_each_mark(reader, push_mark, &run, error) == 0 &&
               night_each_quiet(reader, push_quiet, &run, error) == 0) {
        result = push_all(&run);
    }
    run_free(&run);
    return result;
}

static int analyse_open(struct night_reader *reader, const char *path, const struct site *site,
                        bool refit, const char *why, const struct findings_hooks *hooks,
                        struct findings_counts *counts, int *analysis, struct error *error)
{
    struct night_writer *writer = NULL;
    struct findings *findings = NULL;
    int number = 0;
    int result = -1;
    if (night_writer_open_for_analysis(path, &number, &writer, error) != 0) {
        return -1;
    }
    if (night_put_analysis(writer, number, site, why, error) == 0 &&
        findings_new(site, writer, number, true, hooks, &findings, error) == 0) {
        result = run_analysis(reader, site, refit, findings, error);
        const struct error *failure = findings_failure(findings);
        if (result == 0 && failure) {
            *error = *failure;
            result = -1;
        }
        if (counts) {
            *counts = *findings_get_counts(findings);
        }
    }
    findings_free(findings);
    if (result != 0) {
        night_writer_abandon(writer);
        return -1;
    }
    if (analysis) {
        *analysis = number;
    }
    return night_writer_close(writer, 0, error);
}

static int analyse(const char *path, const struct site *site, bool refit, const char *why,
                   const struct findings_hooks *hooks, struct findings_counts *counts,
                   int *analysis, struct error *error)
{
    struct night_reader *reader = NULL;
    struct site *own = NULL;
    int result = -1;
    if (night_reader_open(path, &reader, error) != 0) {
        return -1;
    }
    if (site || night_read_site(reader, 0, &own, error) == 0) {
        result = analyse_open(reader, path, site ? site : own, refit, why, hooks, counts, analysis,
                              error);
    }
    site_free(own);
    night_reader_close(reader);
    return result;
}

int analyse_night(const char *path, const struct site *site, const char *why,
                  const struct findings_hooks *hooks, struct findings_counts *counts, int *analysis,
                  struct error *error)
{
    return analyse(path, site, false, why, hooks, counts, analysis, error);
}

int analyse_night_refitted(const char *path, const struct site *site, const char *why,
                           const struct findings_hooks *hooks, struct findings_counts *counts,
                           int *analysis, struct error *error)
{
    return analyse(path, site, true, why, hooks, counts, analysis, error);
}
