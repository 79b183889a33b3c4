/* What the two passes over a CSV file share. Private to csv.c and csv_run.c.
 * Must never be seen outside collector/ingest. */
#ifndef ROOMWAKE_COLLECTOR_INGEST_CSV_INSIDE_H
#define ROOMWAKE_COLLECTOR_INGEST_CSV_INSIDE_H

#include "collector/ingest/csv.h"
#include "collector/ingest/csv_reader.h"

struct csv {
    char *name; /* the path */
    const struct site *site;
    const char *bytes;
    size_t length;
    void *mapped; /* bytes, where they are the file's; else NULL */
    struct csv_reader *reader;
    struct csv_node *nodes; /* one of site->node_count */
    int64_t first_ns;
    int64_t last_ns;
    uint64_t samples;
};

/* The clock column's value in ns. */
int csv_clock_ns(const struct csv *csv, const struct csv_row *row, struct csv_cell cell,
                 int64_t *clock_sd_ns, struct error *error);
/* A cell's number; the error names line, node and column. */
int csv_cell_value(const struct csv *csv, const struct csv_row *row, size_t column,
                   struct decimal *value, struct error *error);

#endif
