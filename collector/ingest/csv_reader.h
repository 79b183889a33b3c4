/* The rows of a CSV file: time, node and cells, each checked for its shape. Private to csv*.c.
 * Must never copy a row nor take one whose cells don't match the header. */
#ifndef ROOMWAKE_COLLECTOR_INGEST_CSV_READER_H
#define ROOMWAKE_COLLECTOR_INGEST_CSV_READER_H

#include <stddef.h>
#include <stdint.h>

#include "common/error.h"
#include "common/site.h"

#define CSV_COLUMNS_MAX 1024
#define CSV_NO_CHANNEL UINT16_MAX
#define CSV_IS_CLOCK (UINT16_MAX - 1)

struct csv_cell {
    const char *text;
    size_t length; /* 0: no sample */
};

struct csv_row {
    uint64_t line;
    int64_t time_ns;
    uint32_t node;
    const struct csv_cell *cells; /* column_count, after time and node */
};

struct csv_reader;

/* Reads the header. `bytes` must outlive the reader; `name` is what errors call the file. */
int csv_reader_new(const char *name, const char *bytes, size_t length, const struct site *site,
                   struct csv_reader **reader, struct error *error);
void csv_reader_free(struct csv_reader *reader);
/* Back to the first row. */
void csv_reader_rewind(struct csv_reader *reader);
/* 1: *row is filled, valid until the next call; 0: the end; -1: "FILE:LINE: what". */
int csv_reader_next(struct csv_reader *reader, struct csv_row *row, struct error *error);

size_t csv_reader_columns(const struct csv_reader *reader);
const char *csv_reader_column_name(const struct csv_reader *reader, size_t column);
/* The node's channel for each column: an index, CSV_IS_CLOCK or CSV_NO_CHANNEL. */
const uint16_t *csv_reader_map(const struct csv_reader *reader, uint32_t node);
/* "FILE:LINE: what" with the row's line. */
int csv_reader_fail(const struct csv_reader *reader, uint64_t line, enum error_code code,
                    const char *what, struct error *error);

#endif
