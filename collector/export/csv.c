/* All samples of a night as one table in time order: what `import --csv` reads.
 * Must never hold more of a night than the blocks that are open at one time (and the changes of
 * the clocks' uncertainties). Called through exporters.c.
 *
 * A row is a time and a node; where a channel has two samples at the same time (two boots whose
 * clocks overlap) there are two rows. Values are exact; only where a count times a long step needs
 * more than 18 digits is it the shortest decimal of the double that detection sees. */
#include "collector/export/exporter.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "collector/export/csv_merge.h"
#include "collector/export/write.h"
#include "common/timefmt.h"

struct csv_export {
    struct csv_merge merge;
    struct text text;
    FILE *out;
    struct error *error;
    const struct site *site;
    /* The row that is being gathered: a value's place in `values`, or none. */
    bool begun;
    int64_t time_ns;
    uint32_t node;
    struct csv_cell *cells;
};

static int put_header(struct csv_export *run)
{
    (void)text_append_format(&run->text, "time,node");
    for (size_t i = 0; i < run->merge.column_count; i++) {
        (void)text_append_format(&run->text, ",%s", run->merge.columns[i].name);
    }
    (void)text_append(&run->text, "\n", 1);
    return write_text(&run->text, run->out, false, run->error);
}

static int put_row(struct csv_export *run)
{
    char seconds[TIMEFMT_SIZE];
    timefmt_seconds(run->time_ns, seconds);
    (void)text_append(&run->text, seconds, strlen(seconds));
    const char *node = run->site->nodes[run->node].id;
    (void)text_append(&run->text, ",", 1);
    (void)text_append(&run->text, node, strlen(node));
    for (size_t i = 0; i < run->merge.column_count; i++) {
        (void)text_append(&run->text, ",", 1);
        struct csv_cell *cell = &run->cells[i];
        if (cell->filled) {
            (void)text_append(&run->text, cell->text, strlen(cell->text));
            cell->filled = false;
        }
    }
    (void)text_append(&run->text, "\n", 1);
    run->begun = false;
    return write_text(&run->text, run->out, false, run->error);
}

static int take(struct csv_export *run, const struct csv_sample *sample)
{
    bool same = run->begun && run->time_ns == sample->time_ns && run->node == sample->node &&
                !run->cells[sample->column].filled;
    if (run->begun && !same && put_row(run) != 0) {
        return -1;
    }
    run->begun = true;
    run->time_ns = sample->time_ns;
    run->node = sample->node;
    run->cells[sample->column] = sample->cell;
    return 0;
}

static int put_all(struct csv_export *run)
{
    struct csv_sample sample;
    int more = 0;
    if (put_header(run) != 0) {
        return -1;
    }
    while ((more = csv_merge_next(&run->merge, &sample, run->error)) == 1) {
        if (take(run, &sample) != 0) {
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
    struct site *site = NULL;
    if (night_read_site(reader, options->analysis, &site, error) != 0) {
        return -1;
    }
    struct csv_export run = {.out = out, .error = error, .site = site};
    int result = csv_merge_open(&run.merge, reader, options->from_ns, options->to_ns, error);
    if (result == 0) {
        run.cells = calloc(run.merge.column_count + 1, sizeof *run.cells);
        result = run.cells ? put_all(&run) : error_set(error, ERROR_MEMORY, "csv: out of memory");
    }
    csv_merge_close(&run.merge);
    free(run.cells);
    text_free(&run.text);
    site_free(site);
    return result;
}

const struct exporter exporter_csv = {"csv", "all samples, as import reads them", run_csv};
