/* One node's rows of a recording: header `time,CHANNEL,...` or `time,node,CHANNEL,...`; a first
 * look at the whole file finds each channel's step and rate. Exact decimals throughout: must never
 * round a value. Used by replay.c alone. */
#ifndef ROOMWAKE_NODE_DRIVERS_REPLAY_CSV_H
#define ROOMWAKE_NODE_DRIVERS_REPLAY_CSV_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include "common/channel.h"
#include "common/error.h"

#define REPLAY_COLUMNS_MAX 128

struct replay_cell {
    bool present;
    struct decimal value;
};

struct replay_row {
    int64_t time_ns; /* since 1970 */
    bool ours;       /* false: another node's; the cells are not read */
    struct replay_cell cells[REPLAY_COLUMNS_MAX];
};

/* What the first look found of a column. */
struct replay_series {
    uint64_t count; /* of our samples; 0: the node has no such channel */
    int64_t last_ns;
    int exponent;     /* the finest power of ten that a value needs */
    bool any;         /* a value other than 0 came */
    double rate_hz;   /* 0 where the samples keep no cadence */
    int64_t *gaps_ns; /* the first times between samples, while looking */
    size_t gap_count;
};

struct replay_csv {
    char path[1024];
    FILE *file;
    char *line;
    size_t line_size;
    uint64_t line_number;
    char node[IDENT_SIZE];
    bool has_node;
    size_t column_count;
    char names[REPLAY_COLUMNS_MAX][CHANNEL_NAME_SIZE];
    struct replay_series series[REPLAY_COLUMNS_MAX];
    int64_t first_ns; /* of the whole file, whatever the node */
    int64_t last_ns;
};

/* Opens, looks through the whole file and goes back to its start. `node` is only needed for a file
 * with a node column. Errors name the line. Close also after a failure. */
int replay_csv_open(struct replay_csv *csv, const char *path, const char *node,
                    struct error *error);
/* 1: a row; 0: the end; -1: an error. */
int replay_csv_next(struct replay_csv *csv, struct replay_row *row, struct error *error);
void replay_csv_close(struct replay_csv *csv);

#endif
