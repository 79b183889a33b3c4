/* What the team did, the clocks and the gaps, as tables.
 * Must never judge. Called by report.c. */
#include "collector/export/report_parts.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/export/answers_night.h"
#include "collector/export/steadiness.h"
#include "collector/night/reader_clock.h"

static void put_more(struct report *report, enum report_text text, size_t count)
{
    if (count > ROWS_SHOWN_MAX) {
        char number[VALUE_SIZE];
        report_number(count - ROWS_SHOWN_MAX, number);
        report_put(report, "<p>");
        report_say(report, text, number, NULL);
        report_put(report, "</p>\n");
    }
}

static void put_times(struct report *report, int64_t start_ns, int64_t end_ns)
{
    char text[TIMEFMT_SIZE];
    timefmt_local(start_ns, text, NULL);
    report_cell(report, text);
    timefmt_duration(end_ns - start_ns, text);
    report_cell(report, text);
}

static int put_mark(void *context, const struct mark *mark)
{
    struct report *report = context;
    char id[VALUE_SIZE];
    if (report->told++ >= ROWS_SHOWN_MAX) {
        return 0;
    }
    (void)snprintf(id, sizeof id, "%" PRId64, mark->id);
    report_put(report, "<tr>");
    report_cell(report, id);
    put_times(report, mark->start_ns, mark->end_ns);
    report_cell(report,
                mark->room[0] != '\0' ? mark->room : report->language->texts[TEXT_WHOLE_SITE]);
    report_put(report, "<td dir=\"auto\">");
    report_plain(report, mark->text);
    report_put(report, "</td></tr>\n");
    return 0;
}

static int count_question(void *context, const struct question_step *step)
{
    (void)step;
    ((struct report *)context)->told++;
    return 0;
}

/* What `roomwake answers` says, line by line; where a session can't be scored, why. */
static int put_answers(struct report *report)
{
    char *words = NULL;
    size_t length = 0;
    FILE *memory = open_memstream(&words, &length);
    if (!memory) {
        return error_set(report->error, ERROR_MEMORY, "report: out of memory");
    }
    struct error why;
    if (answers_night_write(report->reader, NULL, memory, &why) != 0) {
        (void)fprintf(memory, "%s\n", why.text);
    }
    if (fclose(memory) != 0) {
        free(words);
        return error_set(report->error, ERROR_MEMORY, "report: out of memory");
    }
    report_put(report, "<pre><code>");
    for (char *line = words; *line;) {
        char *end = line + strcspn(line, "\n");
        char *next = *end ? end + 1 : end;
        *end = '\0';
        report_plain(report, line);
        report_put(report, "\n");
        line = next;
    }
    report_put(report, "</code></pre>\n");
    free(words);
    return 0;
}

static int put_questions(struct report *report)
{
    report_tag(report, "h3", TEXT_QUESTIONS);
    report->told = 0;
    if (night_each_question(report->reader, count_question, report, report->error) != 0) {
        return -1;
    }
    if (report->told == 0) {
        report_tag(report, "p", TEXT_QUESTIONS_NONE);
        return report_flush(report);
    }
    report_tag(report, "p", TEXT_QUESTIONS_ABOUT);
    return put_answers(report) == 0 ? report_flush(report) : -1;
}

int report_marks(struct report *report)
{
    static const enum report_text heads[] = {TEXT_COLUMN_NUMBER, TEXT_COLUMN_START,
                                             TEXT_COLUMN_LENGTH, TEXT_COLUMN_ROOM,
                                             TEXT_COLUMN_WHAT,   TEXT_COUNT};
    report_section(report, "marks", TEXT_MARKS);
    report_tag(report, "p", TEXT_MARKS_ABOUT);
    if (report->mark_count == 0) {
        report_tag(report, "p", TEXT_MARKS_NONE);
        return put_questions(report);
    }
    report->told = 0;
    report_table(report, TEXT_MARKS, heads);
    if (night_each_standing_mark(report->reader, put_mark, report, report->error) != 0) {
        return -1;
    }
    report_put(report, "</tbody></table></div>\n");
    put_more(report, TEXT_MARKS_LEFT, report->told);
    return put_questions(report);
}

static int put_gap(void *context, const struct gap *gap)
{
    struct report *report = context;
    if (report->told++ >= ROWS_SHOWN_MAX) {
        return 0;
    }
    report_put(report, "<tr>");
    report_cell(report, report_node(report, gap->node));
    report_cell(report, report_node_room(report, gap->node));
    put_times(report, gap->start_ns, gap->end_ns);
    report_cell(report, gap->reason);
    report_put(report, "</tr>\n");
    return 0;
}

int report_gaps(struct report *report)
{
    static const enum report_text heads[] = {TEXT_COLUMN_NODE,   TEXT_COLUMN_ROOM,
                                             TEXT_COLUMN_START,  TEXT_COLUMN_LENGTH,
                                             TEXT_COLUMN_REASON, TEXT_COUNT};
    report_section(report, "gaps", TEXT_GAPS);
    report_tag(report, "p", TEXT_GAPS_ABOUT);
    if (report->gaps == 0) {
        report_tag(report, "p", TEXT_GAPS_NONE);
        return report_flush(report);
    }
    report->told = 0;
    report_table(report, TEXT_GAPS, heads);
    if (night_each_gap(report->reader, put_gap, report, report->error) != 0) {
        return -1;
    }
    report_put(report, "</tbody></table></div>\n");
    put_more(report, TEXT_GAPS_LEFT, report->told);
    return report_flush(report);
}

/* What a node's clock said of itself over the night. */
struct clock_list {
    int64_t *values;
    size_t count;
    size_t size;
    bool fitted;
    int64_t rate_low_ppt;
    int64_t rate_high_ppt;
};

struct clocks {
    struct report *report;
    struct clock_list *nodes;
};

static int take_clock(void *context, uint32_t node, int64_t time_ns, int64_t clock_sd_ns)
{
    struct clocks *clocks = context;
    (void)time_ns;
    if (node >= clocks->report->site->node_count) {
        return 0;
    }
    struct clock_list *list = &clocks->nodes[node];
    if (list->count == list->size) {
        size_t size = list->size ? 2 * list->size : 64;
        int64_t *values = realloc(list->values, size * sizeof *values);
        if (!values) {
            return error_set(clocks->report->error, ERROR_MEMORY, "report: out of memory");
        }
        list->values = values;
        list->size = size;
    }
    list->values[list->count++] = clock_sd_ns;
    return 0;
}

static int take_fit(void *context, const struct night_fit_row *row)
{
    struct clocks *clocks = context;
    if (row->node >= clocks->report->site->node_count) {
        return 0;
    }
    struct clock_list *list = &clocks->nodes[row->node];
    int64_t rate = -row->fit.rate_ppt;
    list->rate_low_ppt = !list->fitted || rate < list->rate_low_ppt ? rate : list->rate_low_ppt;
    list->rate_high_ppt = !list->fitted || rate > list->rate_high_ppt ? rate : list->rate_high_ppt;
    list->fitted = true;
    return 0;
}

static int ascending(const void *left, const void *right)
{
    int64_t a = *(const int64_t *)left;
    int64_t b = *(const int64_t *)right;
    return (a > b) - (a < b);
}

static void put_uncertainty(struct report *report, uint32_t node, struct clock_list *list)
{
    char text[TIMEFMT_SIZE];
    if (list->count == 0) {
        timefmt_duration((int64_t)(report->site->nodes[node].clock_error_s * 1e9), text);
        report_put(report, "<td colspan=\"3\">");
        report_say(report, TEXT_CLOCKS_SITE_FILE, text, NULL);
        report_put(report, "</td>");
        return;
    }
    qsort(list->values, list->count, sizeof *list->values, ascending);
    const size_t places[] = {0, list->count / 2, list->count - 1};
    for (size_t i = 0; i < 3; i++) {
        timefmt_duration(list->values[places[i]], text);
        report_cell(report, text);
    }
}

static void put_clock(struct report *report, uint32_t node, struct clock_list *list)
{
    const struct night_node_summary *summary = &report->nodes[node];
    char text[VALUE_SIZE];
    report_put(report, "<tr>");
    report_cell(report, report_node(report, node));
    report_cell(report, report_node_room(report, node));
    report_number(summary->samples, text);
    report_cell(report, text);
    put_uncertainty(report, node, list);
    text[0] = '\0';
    if (list->fitted) {
        (void)snprintf(text, sizeof text, "%+.2f \xe2\x80\xa6 %+.2f",
                       (double)list->rate_low_ppt * 1e-6, (double)list->rate_high_ppt * 1e-6);
    }
    report_cell(report, text);
    (void)snprintf(text, sizeof text, "%" PRIu64 " (%" PRIu64 ")", summary->frames,
                   summary->late_frames);
    report_cell(report, text);
    report_put(report, "</tr>\n");
}

/* A line a node whose exchanges are in the night. */
static int put_steadiness(struct report *report)
{
    size_t count = report->site->node_count;
    struct steadiness *nodes = calloc(count + 1, sizeof *nodes);
    char text[STEADINESS_TEXT_SIZE];
    if (!nodes) {
        return error_set(report->error, ERROR_MEMORY, "report: out of memory");
    }
    int result = steadiness_read(report->reader, count, nodes, report->error);
    for (uint32_t node = 0; node < count && result == 0; node++) {
        steadiness_say(&nodes[node], text);
        if (text[0] != '\0') {
            report_put(report, "<p class=\"note\">");
            report_say(report, TEXT_STEADINESS, report_node(report, node), text, NULL);
            report_put(report, "</p>\n");
        }
    }
    free(nodes);
    return result;
}

int report_clocks(struct report *report)
{
    static const enum report_text heads[] = {
        TEXT_COLUMN_NODE,    TEXT_COLUMN_ROOM,   TEXT_COLUMN_SAMPLES,
        TEXT_COLUMN_LEAST,   TEXT_COLUMN_MEDIAN, TEXT_COLUMN_MOST,
        TEXT_COLUMN_CRYSTAL, TEXT_COLUMN_LATE,   TEXT_COUNT};
    size_t count = report->site->node_count;
    struct clocks clocks = {report, calloc(count + 1, sizeof *clocks.nodes)};
    if (!clocks.nodes) {
        return error_set(report->error, ERROR_MEMORY, "report: out of memory");
    }
    report_section(report, "clocks", TEXT_CLOCKS);
    report_tag(report, "p", TEXT_CLOCKS_ABOUT);
    int result = night_each_clock(report->reader, take_clock, &clocks, report->error);
    if (result == 0) {
        result = night_each_fit(report->reader, take_fit, &clocks, report->error);
    }
    report_table(report, TEXT_CLOCKS_TABLE, heads);
    for (uint32_t node = 0; node < count && result == 0; node++) {
        put_clock(report, node, &clocks.nodes[node]);
    }
    report_put(report, "</tbody></table></div>\n");
    result = result == 0 ? put_steadiness(report) : result;
    for (size_t node = 0; node < count; node++) {
        free(clocks.nodes[node].values);
    }
    free(clocks.nodes);
    return result == 0 ? report_flush(report) : -1;
}
