/* A CSV file's rows as samples, one a cell.
 * Must never take a cell that is no number, or of no channel. Called by the import. */
#include "collector/ingest/csv.h"

#include <inttypes.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "collector/ingest/csv_reader.h"

struct csv {
    char *name; /* the path */
    const struct site *site;
    const char *bytes;
    size_t length;
    bool mapped; /* bytes are the file's */
    struct csv_reader *reader;
    struct csv_row row;
    const uint16_t *map; /* the row's node's channels by column */
    size_t column;       /* the next of the row */
    size_t columns;
};

static int fail(void *context, uint64_t line, enum error_code code, const char *what,
                struct error *error)
{
    const struct csv *csv = context;
    return csv_reader_fail(csv->reader, line, code, what, error);
}

static int take_value(const struct csv *csv, size_t column, struct decimal *value,
                      struct error *error)
{
    struct error why;
    const struct csv_cell *cell = &csv->row.cells[column];
    if (decimal_parse(cell->text, cell->length, value, &why) == 0) {
        return 0;
    }
    return error_set(error, why.code, "%s:%" PRIu64 ": %s %s: %s", csv->name, csv->row.line,
                     csv->site->nodes[csv->row.node].id,
                     csv_reader_column_name(csv->reader, column), why.text);
}

static int take_cell(const struct csv *csv, size_t column, struct recording_sample *sample,
                     struct error *error)
{
    uint16_t channel = csv->map[column];
    if (channel == CSV_NO_CHANNEL) {
        return error_set(error, ERROR_FORMAT,
                         "%s:%" PRIu64 ": node %s has no channel %s in the site file", csv->name,
                         csv->row.line, csv->site->nodes[csv->row.node].id,
                         csv_reader_column_name(csv->reader, column));
    }
    sample->place = csv->row.line;
    sample->time_ns = csv->row.time_ns;
    sample->node = csv->row.node;
    sample->channel = channel == CSV_IS_CLOCK ? RECORDING_CLOCK : channel;
    return take_value(csv, column, &sample->value, error) ? -1 : 1;
}

static int next(void *context, struct recording_sample *sample, struct error *error)
{
    struct csv *csv = context;
    for (;;) {
        while (csv->column < csv->columns) {
            size_t column = csv->column++;
            if (csv->row.cells[column].length > 0) {
                return take_cell(csv, column, sample, error);
            }
        }
        int more = csv_reader_next(csv->reader, &csv->row, error);
        if (more <= 0) {
            return more;
        }
        csv->map = csv_reader_map(csv->reader, csv->row.node);
        csv->column = 0;
    }
}

static void rewind_csv(void *context)
{
    struct csv *csv = context;
    csv_reader_rewind(csv->reader);
    csv->column = csv->columns;
}

static void close_csv(void *context)
{
    struct csv *csv = context;
    csv_reader_free(csv->reader);
    if (csv->mapped) {
        recording_unmap(csv->bytes, csv->length);
    }
    free(csv->name);
    free(csv);
}

static int look(struct csv *csv, struct recording **out, struct error *error)
{
    if (csv_reader_new(csv->name, csv->bytes, csv->length, csv->site, &csv->reader, error)) {
        close_csv(csv);
        return -1;
    }
    csv->columns = csv_reader_columns(csv->reader);
    csv->column = csv->columns;
    const struct recording_source source = {csv, next, rewind_csv, fail, close_csv};
    return recording_open(csv->name, &source, csv->site, out, error);
}

/* NULL where memory ran out. */
static struct csv *make(const char *name, const struct site *site, struct error *error)
{
    struct csv *csv = calloc(1, sizeof *csv);
    if (!csv || !(csv->name = strdup(name))) {
        (void)error_set(error, ERROR_MEMORY, "%s: out of memory", name);
        free(csv);
        return NULL;
    }
    csv->site = site;
    return csv;
}

int csv_open(const char *path, const struct site *site, struct recording **out, struct error *error)
{
    struct csv *csv = make(path, site, error);
    if (!csv) {
        return -1;
    }
    if (recording_map(path, &csv->bytes, &csv->length, error)) {
        close_csv(csv);
        return -1;
    }
    csv->mapped = true;
    return look(csv, out, error);
}

int csv_open_bytes(const char *name, const char *bytes, size_t length, const struct site *site,
                   struct recording **out, struct error *error)
{
    struct csv *csv = make(name, site, error);
    if (!csv) {
        return -1;
    }
    csv->bytes = bytes;
    csv->length = length;
    return look(csv, out, error);
}
