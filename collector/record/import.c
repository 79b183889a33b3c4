/* CSV -> blocks -> the night and the pipeline.
 * Must never wait for a clock or a network: data time alone. Called by cmd_import.c. */
#include "collector/record/import.h"

#include <stdio.h>
#include <string.h>

#include "collector/ingest/csv.h"
#include "collector/night/writer.h"
#include "collector/pipeline/pipeline.h"

/* An import has one boot a node. */
#define IMPORT_BOOT 1
#define ORIGIN_SIZE 256

struct import_run {
    const struct site *site;
    struct csv *csv;
    struct night_writer *writer;
    struct pipeline *pipeline;
    uint64_t seq[SITE_NODES_MAX];
};

/* A full queue is waited for: an import has no loop to hold up. */
static int or_wait(struct import_run *run, int result, struct error *error, bool *again)
{
    *again = false;
    if (result != 0 && error->code == ERROR_FULL) {
        *again = true;
        return night_writer_flush(run->writer, error);
    }
    return result;
}

static int on_clock(void *context, uint32_t node, int64_t time_ns, int64_t clock_sd_ns,
                    struct error *error)
{
    struct import_run *run = context;
    bool again = true;
    int result = 0;
    while (again) {
        result = or_wait(run, night_put_clock(run->writer, node, time_ns, clock_sd_ns, error),
                         error, &again);
        if (result != 0) {
            return result;
        }
    }
    pipeline_set_clock(run->pipeline, node, time_ns, clock_sd_ns);
    return result;
}

static int put_frame(struct import_run *run, uint32_t node, const struct block *blocks,
                     size_t count, struct error *error)
{
    const struct clock_fit unknown = {.known = false};
    int64_t node_t0_ns[NODE_CHANNELS_MAX];
    for (size_t i = 0; i < count; i++) {
        node_t0_ns[i] = blocks[i].t0_ns;
    }
    const struct night_frame_id id = {node, IMPORT_BOOT, ++run->seq[node]};
    bool again = true;
    while (again) {
        if (or_wait(run,
                    night_put_frame(run->writer, &id, &unknown, blocks, node_t0_ns, count, false,
                                    error),
                    error, &again) != 0) {
            return -1;
        }
    }
    return 0;
}

static int on_blocks(void *context, uint32_t node, const struct block *blocks, size_t count,
                     struct error *error)
{
    struct import_run *run = context;
    for (size_t done = 0; done < count;) {
        size_t part = count - done < NODE_CHANNELS_MAX ? count - done : NODE_CHANNELS_MAX;
        if (put_frame(run, node, blocks + done, part, error) != 0) {
            return -1;
        }
        done += part;
    }
    for (size_t i = 0; i < count; i++) {
        if (pipeline_push(run->pipeline, node, &blocks[i], error) != 0) {
            return -1;
        }
    }
    return 0;
}

static int on_advance(void *context, uint32_t node, int64_t until_ns, struct error *error)
{
    struct import_run *run = context;
    return pipeline_advance(run->pipeline, node, until_ns, error);
}

static int begin_nodes(struct import_run *run, struct error *error)
{
    for (uint32_t node = 0; node < run->site->node_count; node++) {
        const struct csv_node *found = csv_get_node(run->csv, node);
        if (found->samples == 0) {
            continue;
        }
        if (night_put_channels(run->writer, node, IMPORT_BOOT, found->channels,
                               found->channel_count, error) != 0 ||
            pipeline_set_channels(run->pipeline, node, found->channels, found->channel_count,
                                  error) != 0) {
            return -1;
        }
    }
    return 0;
}

static int run_import(struct import_run *run, struct findings *findings, struct error *error)
{
    const struct csv_sink sink = {
        .context = run, .clock = on_clock, .blocks = on_blocks, .advance = on_advance};
    struct finding_sink finding = findings_sink(findings);
    if (pipeline_new(run->site, &finding, &run->pipeline, error) != 0) {
        return -1;
    }
    int result = begin_nodes(run, error) != 0 || csv_run(run->csv, &sink, error) != 0 ||
                         pipeline_finish(run->pipeline, error) != 0
                     ? -1
                     : 0;
    pipeline_free(run->pipeline);
    const struct error *failure = findings_failure(findings);
    if (result == 0 && failure) {
        *error = *failure;
        result = -1;
    }
    return result;
}

static int import_open(struct import_run *run, const struct night_settings *settings,
                       const struct findings_hooks *hooks, struct import_result *result,
                       struct error *error)
{
    struct findings *findings = NULL;
    if (night_writer_open(settings, NULL, NULL, &run->writer, error) != 0) {
        return -1;
    }
    if (night_put_analysis(run->writer, NIGHT_ANALYSIS_LIVE, run->site, "import", error) != 0 ||
        findings_new(run->site, run->writer, NIGHT_ANALYSIS_LIVE, true, hooks, &findings, error) !=
            0 ||
        run_import(run, findings, error) != 0 || night_writer_flush(run->writer, error) != 0) {
        findings_free(findings);
        night_writer_abandon(run->writer);
        return -1;
    }
    result->findings = *findings_get_counts(findings);
    findings_free(findings);
    return night_writer_close(run->writer, result->end_ns, error);
}

int import_csv(const struct site *site, const char *site_text, const char *csv_path,
               const char *night_path, const struct findings_hooks *hooks,
               struct import_result *result, struct error *error)
{
    struct import_run run;
    memset(&run, 0, sizeof run);
    memset(result, 0, sizeof *result);
    run.site = site;
    if (csv_open(csv_path, site, &run.csv, error) != 0) {
        return -1;
    }
    char origin[ORIGIN_SIZE];
    (void)snprintf(origin, sizeof origin, "imported from %s", csv_path);
    result->samples = csv_samples(run.csv);
    result->start_ns = csv_first_ns(run.csv);
    result->end_ns = csv_last_ns(run.csv);
    const struct night_settings settings = {.path = night_path,
                                            .site = site,
                                            .site_text = site_text,
                                            .start_ns = result->start_ns,
                                            .origin = origin};
    int outcome = import_open(&run, &settings, hooks, result, error);
    csv_close(run.csv);
    return outcome;
}
