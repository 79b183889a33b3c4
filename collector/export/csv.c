/* All samples of a night as one table in time order: what `import --csv` reads.
 * Must never hold more of a night than the blocks that are open at one time (and the changes of
 * the clocks' uncertainties). Called through exporters.c.
 *
 * A row is a time and a node; where a channel has two samples at the same time (two boots whose
 * clocks overlap) there are two rows. */
#include "collector/export/exporter.h"

#include <stdlib.h>
#include <string.h>

#include "collector/export/csv_seconds.h"
#include "collector/export/stream.h"
#include "common/timefmt.h"

struct cell {
    int length; /* 0: no sample */
    char text[DECIMAL_TEXT_SIZE];
};

struct csv_export {
    struct stream stream;
    struct text text;
    FILE *out;
    struct error *error;
    /* The row that is being gathered. */
    bool begun;
    int64_t time_ns;
    uint32_t node;
    struct cell *cells;
};

static int put_header(struct csv_export *run)
{
    (void)text_append_format(&run->text, "time,node");
    for (size_t i = 0; i < run->stream.column_count; i++) {
        (void)text_append_format(&run->text, ",%s", run->stream.columns[i].name);
    }
    (void)text_append(&run->text, "\n", 1);
    return write_text(&run->text, run->out, false, run->error);
}

static int put_row(struct csv_export *run)
{
    char seconds[TIMEFMT_SIZE];
    timefmt_seconds(run->time_ns, seconds);
    (void)text_append(&run->text, seconds, strlen(seconds));
    const char *node = run->stream.site->nodes[run->node].id;
    (void)text_append(&run->text, ",", 1);
    (void)text_append(&run->text, node, strlen(node));
    for (size_t i = 0; i < run->stream.column_count; i++) {
        struct cell *cell = &run->cells[i];
        (void)text_append(&run->text, ",", 1);
        (void)text_append(&run->text, cell->text, (size_t)cell->length);
        cell->length = 0;
    }
    (void)text_append(&run->text, "\n", 1);
    run->begun = false;
    return write_text(&run->text, run->out, false, run->error);
}

static bool same_row(const struct csv_export *run, const struct stream_row *row)
{
    if (run->time_ns != row->time_ns || run->node != row->node) {
        return false;
    }
    for (size_t i = 0; i < row->part_count; i++) {
        if (run->cells[row->parts[i]->column].length > 0) {
            return false;
        }
    }
    return row->part_count > 0 || run->cells[run->stream.clock_column].length == 0;
}

static int fill_cells(struct csv_export *run, const struct stream_row *row)
{
    if (row->part_count == 0) {
        struct cell *cell = &run->cells[run->stream.clock_column];
        timefmt_seconds(row->clock_sd_ns, cell->text);
        cell->length = (int)strlen(cell->text);
    }
    for (size_t i = 0; i < row->part_count; i++) {
        struct cell *cell = &run->cells[row->parts[i]->column];
        cell->length = stream_value_text(row->parts[i], row->index, cell->text, run->error);
        if (cell->length < 0) {
            return -1;
        }
    }
    return 0;
}

static int take(struct csv_export *run, const struct stream_row *row)
{
    if (run->begun && !same_row(run, row) && put_row(run) != 0) {
        return -1;
    }
    run->begun = true;
    run->time_ns = row->time_ns;
    run->node = row->node;
    return fill_cells(run, row);
}

static int put_all(struct csv_export *run)
{
    struct stream_row row;
    int more = 0;
    if (put_header(run) != 0) {
        return -1;
    }
    while ((more = stream_next(&run->stream, &row, run->error)) == 1) {
        if (take(run, &row) != 0) {
            return -1;
        }
    }
    if (more < 0 || (run->begun && put_row(run) != 0)) {
        return -1;
    }
    return write_text(&run->text, run->out, true, run->error);
}

static int run_csv(struct night_reader *reader, const struct export_options *options, FILE *out,
                   struct error *error)
{
    if (options->per_second) {
        return csv_seconds_run(reader, options, out, error);
    }
    struct csv_export run = {.out = out, .error = error};
    int result = stream_open(&run.stream, reader, options, error);
    if (result == 0) {
        run.cells = calloc(run.stream.column_count + 1, sizeof *run.cells);
        result = run.cells ? put_all(&run) : error_set(error, ERROR_MEMORY, "csv: out of memory");
    }
    stream_close(&run.stream);
    free(run.cells);
    text_free(&run.text);
    return result;
}

const struct exporter exporter_csv = {"csv", "all samples, as import reads them", run_csv};
