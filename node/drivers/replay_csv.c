/* Reads rows of a recording, and looks through it once to find steps and rates.
 * Must never hold more than one row. Called by replay.c. */
#include "node/drivers/replay_csv.h"

#include <errno.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "common/timefmt.h"

#define GAPS_MAX 1024u
#define LINE_MAX_BYTES 65536
#define COUNT_MOST INT64_C(2147483647)
#define RATE_NEAR 0.005 /* a rate this near to a whole number, or to one over it, is meant so */

static int fail(const struct replay_csv *csv, struct error *error, enum error_code code,
                const char *what)
{
    return error_set(error, code, "%s:%" PRIu64 ": %s", csv->path, csv->line_number, what);
}

/* 1: a line without its end; 0: the end of the file. */
static int read_line(struct replay_csv *csv, struct error *error)
{
    errno = 0;
    ssize_t length = getline(&csv->line, &csv->line_size, csv->file);
    if (length < 0) {
        return ferror(csv->file) ? fail(csv, error, ERROR_IO, strerror(errno)) : 0;
    }
    csv->line_number++;
    if (length > LINE_MAX_BYTES || strlen(csv->line) != (size_t)length) {
        return fail(csv, error, ERROR_FORMAT, "the line is too long, or holds a zero byte");
    }
    csv->line[strcspn(csv->line, "\r\n")] = '\0';
    return 1;
}

/* The next cell of the line, terminated in place; NULL after the last. */
static char *next_cell(char **rest)
{
    char *cell = *rest;
    if (!cell) {
        return NULL;
    }
    char *comma = strchr(cell, ',');
    if (comma) {
        *comma = '\0';
    }
    *rest = comma ? comma + 1 : NULL;
    return cell;
}

static int add_column(struct replay_csv *csv, const char *name, struct error *error)
{
    if (!channel_name_valid(name, strlen(name))) {
        return fail(csv, error, ERROR_FORMAT, "a column's name is no channel's");
    }
    for (size_t i = 0; i < csv->column_count; i++) {
        if (strcmp(csv->names[i], name) == 0) {
            return fail(csv, error, ERROR_FORMAT, "two columns have one name");
        }
    }
    if (csv->column_count == REPLAY_COLUMNS_MAX) {
        return fail(csv, error, ERROR_RANGE, "too many columns");
    }
    memcpy(csv->names[csv->column_count++], name, strlen(name) + 1);
    return 0;
}

static int read_header(struct replay_csv *csv, struct error *error)
{
    int got = read_line(csv, error);
    if (got <= 0) {
        return got < 0 ? -1 : fail(csv, error, ERROR_FORMAT, "the file is empty");
    }
    char *rest = csv->line;
    const char *cell = next_cell(&rest);
    if (!cell || strcmp(cell, "time") != 0) {
        return fail(csv, error, ERROR_FORMAT, "the header must begin with \"time\"");
    }
    csv->has_node = rest && (strncmp(rest, "node,", 5) == 0 || strcmp(rest, "node") == 0);
    if (csv->has_node) {
        (void)next_cell(&rest);
    }
    if (csv->has_node && !csv->node[0]) {
        return fail(csv, error, ERROR_FORMAT, "the file has a node column: \"node\" must be set");
    }
    while ((cell = next_cell(&rest)) != NULL) {
        if (add_column(csv, cell, error)) {
            return -1;
        }
    }
    return csv->column_count > 0 ? 0 : fail(csv, error, ERROR_FORMAT, "no channel in the header");
}

static int parse_time(const struct replay_csv *csv, const char *cell, int64_t *time_ns,
                      struct error *error)
{
    int rc = strchr(cell, ':') ? timefmt_parse_rfc3339(cell, strlen(cell), time_ns, error)
                               : timefmt_parse_seconds(cell, strlen(cell), time_ns, error);
    return rc ? error_wrap(error, "%s:%" PRIu64 ": time", csv->path, csv->line_number) : 0;
}

static int parse_cells(const struct replay_csv *csv, char *rest, struct replay_row *row,
                       struct error *error)
{
    for (size_t i = 0; i < csv->column_count; i++) {
        const char *cell = next_cell(&rest);
        if (!cell) {
            return fail(csv, error, ERROR_FORMAT, "fewer cells than the header has");
        }
        row->cells[i].present = cell[0] != '\0';
        if (row->cells[i].present &&
            decimal_parse(cell, strlen(cell), &row->cells[i].value, error)) {
            return error_wrap(error, "%s:%" PRIu64 ": %s", csv->path, csv->line_number,
                              csv->names[i]);
        }
    }
    return rest ? fail(csv, error, ERROR_FORMAT, "more cells than the header has") : 0;
}

int replay_csv_next(struct replay_csv *csv, struct replay_row *row, struct error *error)
{
    int got;
    do {
        got = read_line(csv, error);
    } while (got > 0 && csv->line[0] == '\0');
    if (got <= 0) {
        return got;
    }
    char *rest = csv->line;
    if (parse_time(csv, next_cell(&rest), &row->time_ns, error)) {
        return -1;
    }
    row->ours = true;
    if (csv->has_node) {
        const char *node = next_cell(&rest);
        if (!node) {
            return fail(csv, error, ERROR_FORMAT, "fewer cells than the header has");
        }
        row->ours = strcmp(node, csv->node) == 0;
    }
    if (row->ours && parse_cells(csv, rest, row, error)) {
        return -1;
    }
    return 1;
}

/* ---- the first look ---- */

static int note_sample(struct replay_csv *csv, size_t column, const struct replay_row *row,
                       struct error *error)
{
    struct replay_series *series = &csv->series[column];
    const struct decimal *value = &row->cells[column].value;
    if (series->count > 0 && row->time_ns <= series->last_ns) {
        return fail(csv, error, ERROR_FORMAT,
                    "not later than the row before it: sort the file by time first");
    }
    if (series->count > 0 && series->gap_count < GAPS_MAX) {
        if (!series->gaps_ns) {
            series->gaps_ns = calloc(GAPS_MAX, sizeof *series->gaps_ns);
        }
        if (!series->gaps_ns) {
            return fail(csv, error, ERROR_MEMORY, "out of memory");
        }
        series->gaps_ns[series->gap_count++] = row->time_ns - series->last_ns;
    }
    if (value->mantissa != 0 && (!series->any || series->exponent > value->exponent)) {
        series->exponent = value->exponent;
        series->any = true;
    }
    series->last_ns = row->time_ns;
    series->count++;
    return 0;
}

static int compare_int64(const void *a, const void *b)
{
    int64_t left = *(const int64_t *)a;
    int64_t right = *(const int64_t *)b;
    return left < right ? -1 : left > right;
}

/* Nine of ten gaps within a hundredth of the middle one make a cadence. */
static double find_rate_hz(struct replay_series *series)
{
    size_t near = 0;
    if (series->gap_count < 2) {
        return 0.0;
    }
    qsort(series->gaps_ns, series->gap_count, sizeof *series->gaps_ns, compare_int64);
    int64_t middle = series->gaps_ns[series->gap_count / 2];
    for (size_t i = 0; i < series->gap_count; i++) {
        int64_t apart = series->gaps_ns[i] - middle;
        near += apart <= middle / 100 && apart >= -middle / 100;
    }
    if (near * 10 < series->gap_count * 9) {
        return 0.0;
    }
    double rate = 1e9 / (double)middle;
    double whole = rate >= 1.0 ? round(rate) : 1.0 / round(1.0 / rate);
    return fabs(rate - whole) <= RATE_NEAR * rate ? whole : round(rate * 1e4) / 1e4;
}

static int look_through(struct replay_csv *csv, struct replay_row *row, struct error *error)
{
    int got;
    bool any = false;
    while ((got = replay_csv_next(csv, row, error)) > 0) {
        csv->first_ns = !any || row->time_ns < csv->first_ns ? row->time_ns : csv->first_ns;
        csv->last_ns = !any || row->time_ns > csv->last_ns ? row->time_ns : csv->last_ns;
        any = true;
        for (size_t i = 0; row->ours && i < csv->column_count; i++) {
            if (row->cells[i].present && note_sample(csv, i, row, error)) {
                return -1;
            }
        }
    }
    for (size_t i = 0; i < csv->column_count; i++) {
        csv->series[i].rate_hz = find_rate_hz(&csv->series[i]);
        free(csv->series[i].gaps_ns);
        csv->series[i].gaps_ns = NULL;
    }
    return got;
}

static int check_counts(struct replay_csv *csv, struct replay_row *row, struct error *error)
{
    int got;
    while ((got = replay_csv_next(csv, row, error)) > 0) {
        for (size_t i = 0; row->ours && i < csv->column_count; i++) {
            int64_t count;
            if (row->cells[i].present &&
                (decimal_rescale(row->cells[i].value, csv->series[i].exponent, &count) ||
                 count < -COUNT_MOST || count > COUNT_MOST)) {
                (void)error_set(error, ERROR_RANGE,
                                "%s needs more than 32 bits at the fineness of its other values",
                                csv->names[i]);
                return error_wrap(error, "%s:%" PRIu64, csv->path, csv->line_number);
            }
        }
    }
    return got;
}

static int go_back(struct replay_csv *csv, struct error *error)
{
    if (fseek(csv->file, 0, SEEK_SET)) {
        return fail(csv, error, ERROR_IO, "not a plain file");
    }
    csv->line_number = 0;
    return read_line(csv, error) > 0 ? 0 : -1;
}

int replay_csv_open(struct replay_csv *csv, const char *path, const char *node, struct error *error)
{
    memset(csv, 0, sizeof *csv);
    snprintf(csv->path, sizeof csv->path, "%s", path);
    snprintf(csv->node, sizeof csv->node, "%s", node);
    csv->file = fopen(path, "re");
    if (!csv->file) {
        return error_set(error, ERROR_IO, "%s: %s", path, strerror(errno));
    }
    struct replay_row *row = calloc(1, sizeof *row);
    if (!row) {
        return fail(csv, error, ERROR_MEMORY, "out of memory");
    }
    int rc = read_header(csv, error);
    rc = rc ? rc : look_through(csv, row, error);
    rc = rc ? rc : go_back(csv, error);
    rc = rc ? rc : check_counts(csv, row, error);
    rc = rc ? rc : go_back(csv, error);
    free(row);
    return rc;
}

void replay_csv_close(struct replay_csv *csv)
{
    if (csv->file) {
        (void)fclose(csv->file); /* it was only read */
    }
    free(csv->line);
    for (size_t i = 0; i < csv->column_count; i++) {
        free(csv->series[i].gaps_ns);
    }
    memset(csv, 0, sizeof *csv);
}
