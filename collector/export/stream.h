/* The samples of a night as one stream in time order: a step is a time, a node and the samples that
 * it took then. Must never hold a block longer than until its last sample was given. Used by csv,
 * csv_seconds and senml. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_STREAM_H
#define ROOMWAKE_COLLECTOR_EXPORT_STREAM_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/export/exporter.h"
#include "collector/export/write.h"
#include "common/decimal.h"
#include "common/site.h"

/* The column that carries each node's own one sigma, in s, on change. */
#define STREAM_CLOCK_COLUMN "clock-uncertainty"

struct stream_column {
    char name[CHANNEL_NAME_SIZE];
    char unit[UNIT_SIZE]; /* of the first node that has it */
};

/* One channel's block that is being given. */
struct stream_part {
    struct channel channel;
    size_t column;
    struct block block;
    void *memory; /* the block's samples and times */
    size_t memory_size;
};

/* Blocks of one node with the same times, given side by side. */
struct stream_source {
    uint32_t node;
    uint32_t next;
    uint32_t count;
    int64_t time_ns; /* of the next sample */
    size_t part_count;
    struct stream_part *parts[NODE_CHANNELS_MAX]; /* by column */
    struct stream_source *next_free;
};

struct stream_clock {
    int64_t time_ns;
    uint32_t node;
    int64_t sd_ns;
};

/* Either samples: sample `index` of each part; or, with no parts, the node's clock. Valid until the
 * next step. */
struct stream_row {
    int64_t time_ns;
    uint32_t node;
    uint32_t index;
    size_t part_count;
    struct stream_part *const *parts;
    int64_t clock_sd_ns;
};

/* Start from {0}; stream_close also after a failure. Only `site`, `columns` and `clock_column` are
 * for reading. */
struct stream {
    struct site *site;
    struct stream_column *columns; /* sorted by name */
    size_t column_count;
    size_t clock_column; /* SIZE_MAX: no clock was told, or none is wanted */

    const struct export_options *options;
    struct progress progress;
    bool *wanted_nodes; /* one of site->node_count */
    struct night_blocks *blocks;
    struct night_block_row row; /* the next block, while `has_row` */
    bool has_row;
    struct stream_source **heap;
    size_t heap_count;
    size_t heap_size;
    struct stream_source *free;
    struct stream_source *last;  /* the one that a block may still join */
    bool stale;                  /* the top was given: it is to be moved on */
    struct stream_clock *clocks; /* sorted by time, then node */
    size_t clock_count;
    size_t clock_size;
    size_t clock_next;
};

int stream_open(struct stream *stream, struct night_reader *reader,
                const struct export_options *options, struct error *error);
/* 1: a row; by time, then node. 0: the end. -1: error. */
int stream_next(struct stream *stream, struct stream_row *row, struct error *error);
void stream_close(struct stream *stream);

/* The exact text of a sample; only where a count times a long step needs more than 18 digits is it
 * the shortest decimal of the double that detection sees. Returns its length; -1: not a number. */
int stream_value_text(const struct stream_part *part, uint32_t index, char text[DECIMAL_TEXT_SIZE],
                      struct error *error);

#endif
