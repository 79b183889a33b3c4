/* A recording -> blocks -> the night and the pipeline.
 * Must never wait for a clock or a network: data time alone. Called by cmd_import.c. */
#include "collector/record/import.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/ingest/csv.h"
#include "collector/night/writer.h"
#include "collector/pipeline/pipeline.h"
#include "collector/record/import_calibrations.h"
#include "collector/record/import_marks.h"
#include "collector/ingest/senml_file.h"

/* An import has one boot a node. */
#define IMPORT_BOOT 1
#define ORIGIN_SIZE 256

struct import_run {
    const struct site *site;
    struct recording *recording;
    struct mark *marks;
    size_t mark_count;
    struct import_calibrations calibrations;
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

static int on_blocks(void *context, uint32_t node, const struct block *raw, size_t count,
                     struct error *error)
{
    struct import_run *run = context;
    const struct block *blocks = NULL;
    if (import_calibrations_blocks(&run->calibrations, node,
                                   recording_get_node(run->recording, node)->channels, raw, count,
                                   &blocks, error) != 0) {
        return -1;
    }
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

static int begin_node(struct import_run *run, uint32_t node, struct error *error)
{
    const struct recording_node *found = recording_get_node(run->recording, node);
    struct channel channels[NODE_CHANNELS_MAX];
    size_t count = found->channel_count;
    if (found->samples == 0) {
        return 0;
    }
    memcpy(channels, found->channels, count * sizeof channels[0]);
    return import_calibrations_channels(&run->calibrations, node, channels, count, error) != 0 ||
                   night_put_channels(run->writer, node, IMPORT_BOOT, channels, count, error) !=
                       0 ||
                   pipeline_set_channels(run->pipeline, node, channels, count, error) != 0
               ? error_wrap(error, "%s", run->site->nodes[node].id)
               : 0;
}

static int begin_nodes(struct import_run *run, struct error *error)
{
    for (uint32_t node = 0; node < run->site->node_count; node++) {
        if (begin_node(run, node, error) != 0) {
            return -1;
        }
    }
    return 0;
}

/* As in a re-analysis: all of them before the samples. */
static int put_marks(struct import_run *run, struct error *error)
{
    for (size_t i = 0; i < run->mark_count; i++) {
        bool again = true;
        while (again) {
            if (or_wait(run, night_put_mark(run->writer, &run->marks[i], error), error, &again) !=
                0) {
                return -1;
            }
        }
        if (pipeline_mark(run->pipeline, &run->marks[i], error) != 0) {
            return -1;
        }
    }
    return 0;
}

static int run_import(struct import_run *run, struct findings *findings, struct error *error)
{
    const struct recording_sink sink = {
        .context = run, .clock = on_clock, .blocks = on_blocks, .advance = on_advance};
    struct finding_sink finding = findings_sink(findings);
    if (pipeline_new(run->site, &finding, &run->pipeline, error) != 0) {
        return -1;
    }
    int result = put_marks(run, error) != 0 || begin_nodes(run, error) != 0 ||
                         recording_run(run->recording, &sink, error) != 0 ||
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

static int open_source(const struct site *site, const struct import_source *source,
                       struct recording **recording, struct error *error)
{
    if (source->csv) {
        return csv_open(source->csv, site, recording, error);
    }
    if (source->senml) {
        return senml_file_open(source->senml, site, recording, error);
    }
    return mseed_file_open(source->mseed, site, source->steps, source->step_count, recording,
                           error);
}

static int read_findings(struct import_run *run, const struct import_source *source,
                         struct error *error)
{
    cJSON *findings = NULL;
    if (source->marks && import_findings_read(source->marks, &findings, error) != 0) {
        return -1;
    }
    int result =
        (findings && import_marks_read(findings, source->marks, run->site, &run->marks,
                                       &run->mark_count, error) != 0)
            ? -1
            : import_calibrations_read(source, findings, run->site, &run->calibrations, error);
    cJSON_Delete(findings);
    return result;
}

static void free_run(struct import_run *run)
{
    import_calibrations_free(&run->calibrations);
    free(run->marks);
}

int import_recording(const struct site *site, const char *site_text,
                     const struct import_source *source, const char *night_path,
                     const struct findings_hooks *hooks, struct import_result *result,
                     struct error *error)
{
    struct import_run run;
    memset(&run, 0, sizeof run);
    memset(result, 0, sizeof *result);
    run.site = site;
    if (read_findings(&run, source, error) != 0 ||
        open_source(site, source, &run.recording, error) != 0) {
        free_run(&run);
        return -1;
    }
    char origin[ORIGIN_SIZE];
    const char *path = source->csv ? source->csv : source->senml ? source->senml : source->mseed;
    (void)snprintf(origin, sizeof origin, "imported from %s", path);
    result->samples = recording_samples(run.recording);
    result->start_ns = recording_first_ns(run.recording);
    result->end_ns = recording_last_ns(run.recording);
    const struct night_settings settings = {.path = night_path,
                                            .site = site,
                                            .site_text = site_text,
                                            .start_ns = result->start_ns,
                                            .origin = origin};
    int outcome = import_open(&run, &settings, hooks, result, error);
    recording_close(run.recording);
    free_run(&run);
    return outcome;
}
