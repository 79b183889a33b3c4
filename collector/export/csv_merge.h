/* The samples of all nodes and channels of a night as one stream in time order.
 * Must never hold a block longer than until its last sample was given. Used by csv.c. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_CSV_MERGE_H
#define ROOMWAKE_COLLECTOR_EXPORT_CSV_MERGE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/night/reader.h"
#include "common/decimal.h"

/* The column that carries each node's own one sigma, in s, on change. */
#define CSV_CLOCK_COLUMN "clock-uncertainty"

struct csv_column {
    char name[CHANNEL_NAME_SIZE];
};

struct csv_cell {
    bool filled;
    char text[DECIMAL_TEXT_SIZE];
};

struct csv_sample {
    int64_t time_ns;
    uint32_t node;
    size_t column;
    struct csv_cell cell;
};

struct csv_clock {
    int64_t time_ns;
    uint32_t node;
    int64_t sd_ns;
};

struct csv_source; /* a block that is being given */

/* Start from {0}. The fields but `columns` are csv_merge.c's own. */
struct csv_merge {
    struct csv_column *columns; /* sorted by name */
    size_t column_count;

    struct night_blocks *blocks;
    struct night_block_row row; /* the next block, while `has_row` */
    bool has_row;
    int64_t from_ns;
    int64_t to_ns;
    struct csv_source **heap;
    size_t heap_count;
    size_t heap_size;
    struct csv_source *free;
    struct csv_clock *clocks; /* sorted by time, then node */
    size_t clock_count;
    size_t clock_size;
    size_t clock_next;
    size_t clock_column;
};

int csv_merge_open(struct csv_merge *merge, struct night_reader *reader, int64_t from_ns,
                   int64_t to_ns, struct error *error);
/* 1: a sample; by time, then node, then column. 0: the end. -1: error. */
int csv_merge_next(struct csv_merge *merge, struct csv_sample *sample, struct error *error);
void csv_merge_close(struct csv_merge *merge);

#endif
