/* The outline of a night: how much of everything, which findings, which marks.
 * Must never hold a finding whole, nor samples. Called by report.c. */
#include "collector/export/report_page.h"

#include <stdlib.h>

static int out_of_memory(struct report *report)
{
    return error_set(report->error, ERROR_MEMORY, "report: out of memory");
}

static int take_finding(void *context, const struct coincidence *coincidence)
{
    struct report *report = context;
    if (report->finding_count == report->finding_size) {
        size_t size = report->finding_size ? 2 * report->finding_size : 64;
        struct report_finding *findings = realloc(report->findings, size * sizeof *findings);
        if (!findings) {
            return out_of_memory(report);
        }
        report->findings = findings;
        report->finding_size = size;
    }
    report->findings[report->finding_count++] = (struct report_finding){
        .id = coincidence->id,
        .start_ns = coincidence->start_ns,
        .end_ns = coincidence->end_ns,
        .per_night = coincidence->chance.per_night,
        .cause = coincidence->verdict.cause,
        .alert = coincidence->alert,
        .control = coincidence->control_took_part,
        .slides = coincidence->chance.method == CHANCE_TIME_SLIDES,
    };
    return 0;
}

static int take_mark(void *context, const struct mark *mark)
{
    struct report *report = context;
    if (report->mark_count == report->mark_size) {
        size_t size = report->mark_size ? 2 * report->mark_size : 64;
        struct report_mark *marks = realloc(report->marks, size * sizeof *marks);
        if (!marks) {
            return out_of_memory(report);
        }
        report->marks = marks;
        report->mark_size = size;
    }
    report->marks[report->mark_count++] =
        (struct report_mark){mark->id, mark->start_ns, mark->end_ns};
    return 0;
}

static int count_gap(void *context, const struct gap *gap)
{
    (void)gap;
    ((struct report *)context)->gaps++;
    return 0;
}

static int count_disturbance(void *context, const struct disturbance *disturbance)
{
    (void)disturbance;
    ((struct report *)context)->disturbances++;
    return 0;
}

/* Alerts first, then what is unexplained, then the rarest. */
static int by_weight(const void *left, const void *right)
{
    const struct report_finding *a = *(struct report_finding *const *)left;
    const struct report_finding *b = *(struct report_finding *const *)right;
    bool a_open = a->cause == CAUSE_UNEXPLAINED;
    bool b_open = b->cause == CAUSE_UNEXPLAINED;
    if (a->alert != b->alert) {
        return a->alert ? -1 : 1;
    }
    if (a_open != b_open) {
        return a_open ? -1 : 1;
    }
    if (a->per_night < b->per_night || a->per_night > b->per_night) {
        return a->per_night < b->per_night ? -1 : 1;
    }
    return a->id < b->id ? -1 : a->id > b->id;
}

/* Those that are shown, by weight. Which are drawn is seen as they are drawn. */
static int choose_findings(struct report *report)
{
    size_t count = report->finding_count;
    struct report_finding **order = calloc(count + 1, sizeof *order);
    if (!order) {
        return out_of_memory(report);
    }
    for (size_t i = 0; i < count; i++) {
        order[i] = &report->findings[i];
    }
    qsort(order, count, sizeof *order, by_weight);
    for (size_t i = 0; i < count && i < FINDINGS_SHOWN_MAX; i++) {
        order[i]->shown = true;
        order[i]->drawn = i < FINDINGS_DRAWN_MAX;
    }
    free(order);
    return 0;
}

static int read_nodes(struct report *report)
{
    struct site *site = report->site;
    report->nodes = calloc(site->node_count + 1, sizeof *report->nodes);
    if (!report->nodes) {
        return out_of_memory(report);
    }
    report->start_ns = INT64_MAX;
    report->end_ns = INT64_MIN;
    for (uint32_t i = 0; i < site->node_count; i++) {
        struct night_node_summary *node = &report->nodes[i];
        if (night_read_node_summary(report->reader, i, node, report->error) != 0) {
            return -1;
        }
        report->samples += node->samples;
        if (node->samples > 0) {
            report->start_ns =
                node->first_ns < report->start_ns ? node->first_ns : report->start_ns;
            report->end_ns = node->last_ns > report->end_ns ? node->last_ns : report->end_ns;
        }
    }
    return 0;
}

/* Frames whose clock was never known keep their nodes' times, which are long before the night. */
static void bound_figures(struct report *report)
{
    int64_t start = report->info.start_ns;
    int64_t least = start - NIGHT_BEFORE_START_NS;
    if (report->start_ns < least || report->start_ns == INT64_MAX) {
        report->start_ns = start;
    }
    if (report->end_ns <= report->start_ns) {
        report->end_ns = report->info.end_ns;
    }
    if (report->end_ns <= report->start_ns) {
        report->end_ns = report->start_ns + 1000000000;
    }
}

int report_outline_read(struct report *report)
{
    struct night_reader *reader = report->reader;
    struct error *error = report->error;
    int analysis = report->options->analysis;
    if (night_read_info(reader, &report->info, error) != 0 ||
        night_read_site(reader, analysis, &report->site, error) != 0 ||
        night_read_seal(reader, analysis ? analysis : report->info.analysis, &report->seal,
                        error) != 0 ||
        read_nodes(report) != 0 ||
        night_each_coincidence(reader, analysis, take_finding, report, error) != 0 ||
        night_each_disturbance(reader, analysis, count_disturbance, report, error) != 0 ||
        night_each_standing_mark(reader, take_mark, report, error) != 0 ||
        night_each_gap(reader, count_gap, report, error) != 0) {
        return -1;
    }
    bound_figures(report);
    if (report->info.refit != 0 &&
        changes_find(reader, report->site, report->info.analysis, report->info.refit, NULL,
                     &report->changes, error) != 0) {
        return -1;
    }
    return choose_findings(report);
}

void report_outline_free(struct report *report)
{
    free(report->findings);
    free(report->marks);
    free(report->nodes);
    site_free(report->site);
    text_free(&report->text);
}
