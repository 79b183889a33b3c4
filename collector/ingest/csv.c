/* Opens a CSV file and looks at every row once: what is wrong, how fine the values are, from when
 * to when. Must never hand anything on: that is csv_run.c.
 * Called by the import. */
#include "collector/ingest/csv.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

#include "collector/ingest/csv_inside.h"
#include "collector/ingest/series.h"

#define CLOCK_EXPONENT (-9)
#define CLOCK_MOST_NS INT64_C(1000000000000000) /* eleven days: nobody's clock */

int csv_cell_value(const struct csv *csv, const struct csv_row *row, size_t column,
                   struct decimal *value, struct error *error)
{
    struct error why;
    const struct csv_cell *cell = &row->cells[column];
    if (decimal_parse(cell->text, cell->length, value, &why) == 0) {
        return 0;
    }
    return error_set(error, why.code, "%s:%" PRIu64 ": %s %s: %s", csv->name, row->line,
                     csv->site->nodes[row->node].id, csv_reader_column_name(csv->reader, column),
                     why.text);
}

int csv_clock_ns(const struct csv *csv, const struct csv_row *row, struct csv_cell cell,
                 int64_t *clock_sd_ns, struct error *error)
{
    struct decimal value;
    if (decimal_parse(cell.text, cell.length, &value, NULL) ||
        decimal_rescale(value, CLOCK_EXPONENT, clock_sd_ns) || *clock_sd_ns < 0 ||
        *clock_sd_ns > CLOCK_MOST_NS) {
        return csv_reader_fail(csv->reader, row->line, ERROR_FORMAT,
                               CSV_CLOCK_COLUMN ": not a number of seconds, 0 or more, to the ns",
                               error);
    }
    return 0;
}

static int look_at_cell(struct csv *csv, const struct csv_row *row, size_t column, uint16_t channel,
                        struct error *error)
{
    if (channel == CSV_IS_CLOCK) {
        int64_t clock_sd_ns;
        return csv_clock_ns(csv, row, row->cells[column], &clock_sd_ns, error);
    }
    if (channel == CSV_NO_CHANNEL) {
        return error_set(error, ERROR_FORMAT,
                         "%s:%" PRIu64 ": node %s has no channel %s in the site file", csv->name,
                         row->line, csv->site->nodes[row->node].id,
                         csv_reader_column_name(csv->reader, column));
    }
    struct decimal value;
    if (csv_cell_value(csv, row, column, &value, error)) {
        return -1;
    }
    struct csv_node *node = &csv->nodes[row->node];
    if (node->samples == 0 || row->time_ns < node->first_ns) {
        node->first_ns = row->time_ns;
    }
    if (node->samples == 0 || row->time_ns > node->last_ns) {
        node->last_ns = row->time_ns;
    }
    node->samples++;
    struct decimal *step = &node->channels[channel].step;
    step->exponent = (int16_t)series_finest(step->exponent, value);
    return 0;
}

static int look_at_row(struct csv *csv, const struct csv_row *row, int64_t *latest_ns,
                       struct error *error)
{
    if (row->time_ns < *latest_ns - CSV_DISORDER_NS) {
        return csv_reader_fail(csv->reader, row->line, ERROR_RANGE,
                               "more than 10 s behind an earlier row", error);
    }
    *latest_ns = row->time_ns > *latest_ns ? row->time_ns : *latest_ns;
    const uint16_t *map = csv_reader_map(csv->reader, row->node);
    size_t columns = csv_reader_columns(csv->reader);
    for (size_t i = 0; i < columns; i++) {
        if (row->cells[i].length > 0 && look_at_cell(csv, row, i, map[i], error)) {
            return -1;
        }
    }
    return 0;
}

/* Steps begin far above all and come down to what the values need. */
static int begin_nodes(struct csv *csv, struct error *error)
{
    csv->nodes = calloc(csv->site->node_count + 1, sizeof *csv->nodes);
    if (!csv->nodes) {
        return error_set(error, ERROR_MEMORY, "%s: out of memory", csv->name);
    }
    for (size_t i = 0; i < csv->site->node_count; i++) {
        const struct site_node *node = &csv->site->nodes[i];
        csv->nodes[i].channel_count = node->channel_count;
        for (size_t c = 0; c < node->channel_count; c++) {
            csv->nodes[i].channels[c] = node->channels[c];
            csv->nodes[i].channels[c].step = (struct decimal){1, INT16_MAX};
            csv->nodes[i].channels[c].offset = (struct decimal){0, 0};
        }
    }
    return 0;
}

static void end_nodes(struct csv *csv)
{
    csv->first_ns = INT64_MAX;
    csv->last_ns = INT64_MIN;
    for (size_t i = 0; i < csv->site->node_count; i++) {
        struct csv_node *node = &csv->nodes[i];
        for (size_t c = 0; c < node->channel_count; c++) {
            if (node->channels[c].step.exponent == INT16_MAX) {
                node->channels[c].step.exponent = 0; /* no value, or none but zero */
            }
        }
        if (node->samples > 0) {
            csv->first_ns = node->first_ns < csv->first_ns ? node->first_ns : csv->first_ns;
            csv->last_ns = node->last_ns > csv->last_ns ? node->last_ns : csv->last_ns;
            csv->samples += node->samples;
        }
    }
}

static int look_at_all(struct csv *csv, struct error *error)
{
    struct csv_row row;
    int64_t latest = INT64_MIN + CSV_DISORDER_NS;
    int result;
    while ((result = csv_reader_next(csv->reader, &row, error)) > 0) {
        if (look_at_row(csv, &row, &latest, error)) {
            return -1;
        }
    }
    if (result < 0) {
        return -1;
    }
    end_nodes(csv);
    return csv->samples > 0 ? 0 : error_set(error, ERROR_FORMAT, "%s: no samples", csv->name);
}

static int map_file(struct csv *csv, struct error *error)
{
    struct stat status;
    int fd = open(csv->name, O_RDONLY | O_CLOEXEC);
    if (fd < 0) {
        return error_set(error, errno == ENOENT ? ERROR_NOT_FOUND : ERROR_IO, "%s: %s", csv->name,
                         strerror(errno));
    }
    int result = 0;
    if (fstat(fd, &status) || !S_ISREG(status.st_mode)) {
        result = error_set(error, ERROR_IO, "%s: not a regular file", csv->name);
    } else if (status.st_size == 0) {
        result = error_set(error, ERROR_FORMAT, "%s:1: empty file", csv->name);
    } else {
        void *bytes = mmap(NULL, (size_t)status.st_size, PROT_READ, MAP_PRIVATE, fd, 0);
        if (bytes == MAP_FAILED) {
            result = error_set(error, ERROR_IO, "%s: %s", csv->name, strerror(errno));
        } else {
            csv->mapped = bytes;
            csv->bytes = bytes;
            csv->length = (size_t)status.st_size;
            (void)madvise(bytes, csv->length, MADV_SEQUENTIAL);
        }
    }
    (void)close(fd);
    return result;
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

static int look(struct csv *csv, struct csv **out, struct error *error)
{
    if (begin_nodes(csv, error) ||
        csv_reader_new(csv->name, csv->bytes, csv->length, csv->site, &csv->reader, error) ||
        look_at_all(csv, error)) {
        csv_close(csv);
        return -1;
    }
    *out = csv;
    return 0;
}

int csv_open(const char *path, const struct site *site, struct csv **out, struct error *error)
{
    struct csv *csv = make(path, site, error);
    if (!csv) {
        return -1;
    }
    if (map_file(csv, error)) {
        csv_close(csv);
        return -1;
    }
    return look(csv, out, error);
}

int csv_open_bytes(const char *name, const char *bytes, size_t length, const struct site *site,
                   struct csv **out, struct error *error)
{
    struct csv *csv = make(name, site, error);
    if (!csv) {
        return -1;
    }
    csv->bytes = bytes;
    csv->length = length;
    return look(csv, out, error);
}

void csv_close(struct csv *csv)
{
    if (!csv) {
        return;
    }
    csv_reader_free(csv->reader);
    if (csv->mapped) {
        (void)munmap(csv->mapped, csv->length);
    }
    free(csv->nodes);
    free(csv->name);
    free(csv);
}

const struct csv_node *csv_get_node(const struct csv *csv, size_t node)
{
    return &csv->nodes[node];
}

int64_t csv_first_ns(const struct csv *csv)
{
    return csv->first_ns;
}

int64_t csv_last_ns(const struct csv *csv)
{
    return csv->last_ns;
}

uint64_t csv_samples(const struct csv *csv)
{
    return csv->samples;
}
