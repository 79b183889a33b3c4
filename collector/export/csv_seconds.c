/* `export --format csv --per-second`: time,node,CHANNEL.min,CHANNEL.mean,CHANNEL.max,...
 * Must never leave a peak out, nor round one: least and most are the samples' own digits, the mean
 * is computed to 9 digits. Called by csv.c.
 *
 * A row is a whole second of UTC and a node; an empty cell means no sample in that second. The
 * clocks' uncertainty is told by its most. */
#include "collector/export/csv_seconds.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "collector/export/stream.h"
#include "common/clock.h"
#include "common/timefmt.h"

struct second_cell {
    uint64_t count;
    double min;
    double max;
    double sum; /* of the differences to `first`, so that a small ripple on a large level is kept */
    double first;
    char min_text[DECIMAL_TEXT_SIZE];
    char max_text[DECIMAL_TEXT_SIZE];
};

struct seconds_export {
    struct stream stream;
    struct text text;
    FILE *out;
    struct error *error;
    int64_t second;
    struct second_cell *cells; /* [node][column] */
    bool begun;
};

static int64_t second_of(int64_t time_ns)
{
    int64_t second = time_ns / NS_PER_S;
    return time_ns % NS_PER_S < 0 ? second - 1 : second;
}

static void put_header(struct seconds_export *run)
{
    (void)text_append_format(&run->text, "time,node");
    for (size_t i = 0; i < run->stream.column_count; i++) {
        const char *name = run->stream.columns[i].name;
        (void)text_append_format(&run->text, ",%s.min,%s.mean,%s.max", name, name, name);
    }
    (void)text_append(&run->text, "\n", 1);
}

static void put_cell(struct seconds_export *run, struct second_cell *cell)
{
    if (cell->count == 0) {
        (void)text_append(&run->text, ",,,", 3);
        return;
    }
    char mean[DECIMAL_TEXT_SIZE];
    (void)snprintf(mean, sizeof mean, "%.9g", cell->first + cell->sum / (double)cell->count);
    struct decimal value;
    if (decimal_parse(mean, strlen(mean), &value, NULL) == 0) {
        decimal_format(value, mean);
    }
    (void)text_append_format(&run->text, ",%s,%s,%s", cell->min_text, mean, cell->max_text);
    *cell = (struct second_cell){0};
}

static int put_second(struct seconds_export *run)
{
    size_t columns = run->stream.column_count;
    for (size_t node = 0; node < run->stream.site->node_count; node++) {
        struct second_cell *cells = run->cells + node * columns;
        bool any = false;
        for (size_t i = 0; i < columns; i++) {
            any = any || cells[i].count > 0;
        }
        if (!any) {
            continue;
        }
        (void)text_append_format(&run->text, "%lld,%s", (long long)run->second,
                                 run->stream.site->nodes[node].id);
        for (size_t i = 0; i < columns; i++) {
            put_cell(run, &cells[i]);
        }
        (void)text_append(&run->text, "\n", 1);
    }
    return write_text(&run->text, run->out, false, run->error);
}

static void count_value(struct second_cell *cell, double value)
{
    cell->first = cell->count == 0 ? value : cell->first;
    cell->sum += value - cell->first;
    cell->count++;
}

/* The text is made only for what is the least or the most so far. */
static int take_sample(struct seconds_export *run, struct second_cell *cell,
                       const struct stream_part *part, uint32_t index)
{
    double value = block_value(&part->block, &part->channel, index);
    if (cell->count == 0 || value < cell->min) {
        cell->min = value;
        if (stream_value_text(part, index, cell->min_text, run->error) < 0) {
            return -1;
        }
    }
    if (cell->count == 0 || value > cell->max) {
        cell->max = value;
        if (stream_value_text(part, index, cell->max_text, run->error) < 0) {
            return -1;
        }
    }
    count_value(cell, value);
    return 0;
}

static void take_clock(struct second_cell *cell, int64_t clock_sd_ns)
{
    double value = (double)clock_sd_ns * 1e-9;
    if (cell->count == 0 || value < cell->min) {
        cell->min = value;
        timefmt_seconds(clock_sd_ns, cell->min_text);
    }
    if (cell->count == 0 || value > cell->max) {
        cell->max = value;
        timefmt_seconds(clock_sd_ns, cell->max_text);
    }
    count_value(cell, value);
}

static int take(struct seconds_export *run, const struct stream_row *row)
{
    int64_t second = second_of(row->time_ns);
    if (run->begun && second != run->second && put_second(run) != 0) {
        return -1;
    }
    run->begun = true;
    run->second = second;
    struct second_cell *cells = run->cells + row->node * run->stream.column_count;
    if (row->part_count == 0) {
        take_clock(&cells[run->stream.clock_column], row->clock_sd_ns);
    }
    for (size_t i = 0; i < row->part_count; i++) {
        if (take_sample(run, &cells[row->parts[i]->column], row->parts[i], row->index) != 0) {
            return -1;
        }
    }
    return 0;
}

static int put_all(struct seconds_export *run)
{
    struct stream_row row;
    int more = 0;
    put_header(run);
    while ((more = stream_next(&run->stream, &row, run->error)) == 1) {
        if (take(run, &row) != 0) {
            return -1;
        }
    }
    if (more < 0 || (run->begun && put_second(run) != 0)) {
        return -1;
    }
    return write_text(&run->text, run->out, true, run->error);
}

int csv_seconds_run(struct night_reader *reader, const struct export_options *options, FILE *out,
                    struct error *error)
{
    struct seconds_export run = {.out = out, .error = error};
    int result = stream_open(&run.stream, reader, options, error);
    if (result == 0) {
        size_t cells = (run.stream.column_count + 1) * (run.stream.site->node_count + 1);
        run.cells = calloc(cells, sizeof *run.cells);
        result = run.cells ? put_all(&run) : error_set(error, ERROR_MEMORY, "csv: out of memory");
    }
    stream_close(&run.stream);
    free(run.cells);
    text_free(&run.text);
    return result;
}
