/* The findings of a night as one JSON document, "roomwake-findings" version 1.
 * Must never hold more of a night than one finding. Called through exporters.c. */
#include "collector/export/exporter.h"

#include <inttypes.h>
#include <stdbool.h>
#include <string.h>

#include "collector/alert/coincidence_json.h"
#include "collector/export/write.h"
#include "common/json.h"

struct json_export {
    struct night_reader *reader;
    const struct export_options *options;
    const struct site *site;
    struct text text;
    FILE *out;
    struct error *error;
    bool first;    /* of the list that is being written */
    bool has_rows; /* of marks: who, when they were noted, what they said before */
    uint32_t node;
};

static int put(struct json_export *run, const char *words)
{
    (void)text_append(&run->text, words, strlen(words));
    return write_text(&run->text, run->out, false, run->error);
}

/* Begins an entry of a list on a line of its own. */
static void next_entry(struct json_export *run)
{
    (void)text_append_format(&run->text, "%s\n", run->first ? "" : ",");
    run->first = false;
}

static bool overlaps(const struct json_export *run, int64_t start_ns, int64_t end_ns)
{
    return start_ns < run->options->to_ns && end_ns >= run->options->from_ns;
}

static int put_night(struct json_export *run)
{
    struct night_info info;
    char root[65];
    if (night_read_info(run->reader, &info, run->error) != 0 ||
        night_read_root(run->reader, root, run->error) != 0) {
        return -1;
    }
    struct text *text = &run->text;
    (void)text_append_format(text, "{\"format\":\"roomwake-findings\",\"version\":1,\n\"night\":"
                                   "{\"id\":");
    (void)json_append_string(text, info.id);
    (void)text_append_format(text, ",\"site\":");
    (void)json_append_string(text, run->site->id);
    (void)text_append_format(text, ",\"start\":");
    (void)json_append_time(text, info.start_ns);
    (void)text_append_format(text, ",\"end\":");
    (void)json_append_time_or_null(text, info.end_ns);
    (void)text_append_format(text, ",\"seal\":");
    if (root[0] != '\0') {
        (void)json_append_string(text, root);
    } else {
        (void)text_append_format(text, "null");
    }
    (void)text_append_format(text, ",\"clocks\":\"%s\"",
                             info.refitted ? "fitted-again" : "as-stored");
    return put(run, "},\n\"nodes\":[");
}

static int put_gap(void *context, const struct gap *gap)
{
    struct json_export *run = context;
    if (gap->node != run->node || !overlaps(run, gap->start_ns, gap->end_ns)) {
        return 0;
    }
    struct text *text = &run->text;
    (void)text_append_format(text, "%s{\"start\":", run->first ? "" : ",");
    run->first = false;
    (void)json_append_time(text, gap->start_ns);
    (void)text_append_format(text, ",\"end\":");
    (void)json_append_time(text, gap->end_ns);
    (void)text_append_format(text, ",\"reason\":");
    (void)json_append_string(text, gap->reason);
    return put(run, "}");
}

/* The middle of what the node's clock said of itself; where it said nothing, what the site says. */
static void put_clock(struct json_export *run, const struct night_node_summary *summary,
                      const struct site_node *node)
{
    (void)text_append_format(&run->text, "\"clock\":{\"uncertainty_s\":");
    if (summary->clock_sd_ns >= 0) {
        (void)json_append_seconds(&run->text, summary->clock_sd_ns);
    } else {
        (void)json_append_number(&run->text, node->clock_error_s);
    }
    (void)text_append_format(&run->text, "}");
}

/* "calibrations":{"magnetic.x":{...}}: only where the node has any. */
static int put_calibrations(struct json_export *run, uint32_t node)
{
    struct channel channels[NODE_CHANNELS_MAX];
    size_t count = 0;
    size_t told = 0;
    if (night_read_channels(run->reader, node, channels, NODE_CHANNELS_MAX, &count, run->error) !=
        0) {
        return -1;
    }
    for (size_t i = 0; i < count; i++) {
        if (channels[i].calibration.date_ns != 0) {
            (void)text_append_format(&run->text, "%s\"%s\":", told++ ? "," : ",\"calibrations\":{",
                                     channels[i].name);
            (void)calibration_write(&channels[i].calibration, &run->text);
        }
    }
    (void)text_append_format(&run->text, "%s", told ? "}" : "");
    return 0;
}

static int put_node(struct json_export *run, uint32_t index)
{
    const struct site_node *node = &run->site->nodes[index];
    struct night_node_summary summary;
    if (night_read_node_summary(run->reader, index, &summary, run->error) != 0) {
        return -1;
    }
    struct text *text = &run->text;
    (void)text_append_format(text, "%s\n{\"id\":\"%s\",\"room\":\"%s\",\"position_m\":[",
                             index > 0 ? "," : "", node->id, run->site->rooms[node->room].id);
    for (size_t axis = 0; axis < 3; axis++) {
        (void)text_append_format(text, "%s", axis > 0 ? "," : "");
        (void)json_append_number(text, node->position_m[axis]);
    }
    (void)text_append_format(text, "],");
    put_clock(run, &summary, node);
    (void)text_append_format(text, ",\"samples\":%" PRIu64 ",\"gaps\":[", summary.samples);
    run->node = index;
    run->first = true;
    if (night_each_gap(run->reader, put_gap, run, run->error) != 0) {
        return -1;
    }
    (void)text_append_format(text, "]");
    return put_calibrations(run, index) != 0 ? -1 : put(run, "}");
}

static int put_nodes(struct json_export *run)
{
    for (uint32_t i = 0; i < run->site->node_count; i++) {
        if (put_node(run, i) != 0) {
            return -1;
        }
    }
    return put(run, "],\n\"disturbances\":[");
}

static int put_disturbance(void *context, const struct disturbance *d)
{
    struct json_export *run = context;
    if (!overlaps(run, d->onset_ns, d->end_ns != 0 ? d->end_ns : INT64_MAX)) {
        return 0;
    }
    struct text *text = &run->text;
    next_entry(run);
    (void)text_append_format(text, "{\"id\":%" PRId64 ",\"node\":\"%s\",\"quantity\":", d->id,
                             run->site->nodes[d->node].id);
    (void)json_append_string(text, d->quantity_text);
    (void)text_append_format(text, ",\"onset\":");
    (void)json_append_time(text, d->onset_ns);
    (void)text_append_format(text, ",\"onset_uncertainty_s\":");
    (void)json_append_seconds(text, disturbance_onset_sd_ns(d));
    (void)text_append_format(text, ",\"end\":");
    (void)json_append_time_or_null(text, d->end_ns);
    (void)text_append_format(text, ",\"peak\":{\"time\":");
    (void)json_append_time(text, d->peak_ns);
    (void)text_append_format(text, ",\"value\":");
    (void)json_append_number(text, d->peak_value);
    (void)text_append_format(text, ",\"unit\":");
    (void)json_append_string(text, d->unit);
    (void)text_append_format(text, "},\"score\":");
    (void)json_append_number(text, d->peak_score);
    if (d->calibrated) { /* a unit without it is uncalibrated */
        (void)text_append_format(text, ",\"calibrated\":true");
    }
    return put(run, "}");
}

static int put_coincidence(void *context, const struct coincidence *coincidence)
{
    struct json_export *run = context;
    if (!overlaps(run, coincidence->start_ns, coincidence->end_ns)) {
        return 0;
    }
    next_entry(run);
    (void)text_append_format(&run->text, "{");
    coincidence_json_append(&run->text, coincidence, run->site);
    return put(run, "}");
}

/* The contract's fields of a mark, without the brackets. */
static void append_mark(struct text *text, const struct mark *mark, int64_t end_ns)
{
    (void)text_append_format(text, "\"id\":%" PRId64 ",\"start\":", mark->id);
    (void)json_append_time(text, mark->start_ns);
    (void)text_append_format(text, ",\"end\":");
    (void)json_append_time(text, end_ns);
    (void)text_append_format(text, ",\"room\":");
    if (mark->room[0] != '\0') {
        (void)json_append_string(text, mark->room);
    } else {
        (void)text_append_format(text, "null");
    }
    (void)text_append_format(text, ",\"text\":");
    (void)json_append_string(text, mark->text);
}

static int put_mark(void *context, const struct mark *mark)
{
    struct json_export *run = context;
    if (!overlaps(run, mark->start_ns, mark->end_ns)) {
        return 0;
    }
    next_entry(run);
    (void)text_append_format(&run->text, "{");
    append_mark(&run->text, mark, mark->end_ns);
    return put(run, "}");
}

/* Whether the rows say more than the marks as they stand do. */
static int look_for_more(void *context, const struct mark *mark)
{
    struct json_export *run = context;
    bool late = mark->noted_ns != 0 && mark->noted_ns != mark->start_ns;
    run->has_rows = run->has_rows || mark->corrects != 0 || mark->end_ns == MARK_RUNNING_NS ||
                    late || mark->who[0] != '\0';
    return 0;
}

/* Each row as it came: who, when it was noted, the originals of corrections. */
static int put_mark_row(void *context, const struct mark *mark)
{
    struct json_export *run = context;
    bool running = mark->end_ns == MARK_RUNNING_NS;
    next_entry(run);
    (void)text_append_format(&run->text, "{");
    append_mark(&run->text, mark, running ? mark->start_ns : mark->end_ns);
    (void)text_append_format(&run->text, ",\"who\":");
    (void)json_append_string(&run->text, mark->who);
    (void)text_append_format(&run->text, ",\"noted\":");
    (void)json_append_time(&run->text, mark->noted_ns);
    (void)text_append_format(&run->text, ",\"corrects\":%" PRId64 ",\"running\":%s", mark->corrects,
                             running ? "true" : "false");
    return put(run, mark->withdrawn ? ",\"withdrawn\":true}" : ",\"withdrawn\":false}");
}

static int put_marks(struct json_export *run)
{
    run->first = true;
    if (night_each_standing_mark(run->reader, put_mark, run, run->error) != 0 ||
        night_each_mark(run->reader, look_for_more, run, run->error) != 0) {
        return -1;
    }
    if (!run->has_rows) {
        return 0;
    }
    run->first = true;
    return put(run, "],\n\"mark_rows\":[") != 0
               ? -1
               : night_each_mark(run->reader, put_mark_row, run, run->error);
}

static int put_all(struct json_export *run)
{
    struct night_reader *reader = run->reader;
    int analysis = run->options->analysis;
    if (put_night(run) != 0 || put_nodes(run) != 0) {
        return -1;
    }
    run->first = true;
    if (night_each_disturbance(reader, analysis, put_disturbance, run, run->error) != 0 ||
        put(run, "],\n\"coincidences\":[") != 0) {
        return -1;
    }
    run->first = true;
    if (night_each_coincidence(reader, analysis, put_coincidence, run, run->error) != 0 ||
        put(run, "],\n\"marks\":[") != 0) {
        return -1;
    }
    if (put_marks(run) != 0 || put(run, "]}\n") != 0) {
        return -1;
    }
    return write_text(&run->text, run->out, true, run->error);
}

static int run_json(struct night_reader *reader, const struct export_options *options, FILE *out,
                    struct error *error)
{
    struct site *site = NULL;
    if (night_read_site(reader, options->analysis, &site, error) != 0) {
        return -1;
    }
    struct json_export run = {
        .reader = reader, .options = options, .site = site, .out = out, .error = error};
    int result = put_all(&run);
    text_free(&run.text);
    site_free(site);
    return result;
}

const struct exporter exporter_json = {"json", "the findings: disturbances, coincidences, marks",
                                       run_json};
