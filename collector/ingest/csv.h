/* Import of `time,node,CHANNEL,...`: one look at every row, then blocks in time order.
 * Must never round a value, skip a row or go on after a fault: each is "FILE:LINE: what". */
#ifndef ROOMWAKE_COLLECTOR_INGEST_CSV_H
#define ROOMWAKE_COLLECTOR_INGEST_CSV_H

#include <stddef.h>
#include <stdint.h>

#include "common/block.h"
#include "common/error.h"
#include "common/site.h"

/* How far a row may be behind the latest before it. */
#define CSV_DISORDER_NS INT64_C(10000000000)
/* The column that carries a node's own 1-sigma clock uncertainty, in s, on change. */
#define CSV_CLOCK_COLUMN "clock-uncertainty"

/* A non-zero return stops the run and is returned; the function has filled *error. Times are site
 * time. Of each node: clock before the blocks that it counts for, blocks in time order, then the
 * advance. Over the nodes: a stretch of ten seconds of all of them, then the next. */
struct csv_sink {
    void *context;
    int (*clock)(void *context, uint32_t node, int64_t time_ns, int64_t clock_sd_ns,
                 struct error *error);
    /* All blocks of one node for the stretch; a channel may have several, in time order. */
    int (*blocks)(void *context, uint32_t node, const struct block *blocks, size_t count,
                  struct error *error);
    int (*advance)(void *context, uint32_t node, int64_t until_ns, struct error *error);
};

/* What the first look found. */
struct csv_node {
    uint64_t samples; /* 0: the file does not have the node */
    int64_t first_ns;
    int64_t last_ns;
    size_t channel_count; /* the site file's channels, each with the step that its values need */
    struct channel channels[NODE_CHANNELS_MAX];
};

struct csv;

/* Reads and checks every row. `site` must outlive the csv. On success *csv is the caller's:
 * csv_close. */
int csv_open(const char *path, const struct site *site, struct csv **csv, struct error *error);
/* The same from memory that stays the caller's and must outlive the csv. */
int csv_open_bytes(const char *name, const char *bytes, size_t length, const struct site *site,
                   struct csv **csv, struct error *error);
void csv_close(struct csv *csv);

/* One of site->node_count. */
const struct csv_node *csv_get_node(const struct csv *csv, size_t node);
int64_t csv_first_ns(const struct csv *csv);
int64_t csv_last_ns(const struct csv *csv);
uint64_t csv_samples(const struct csv *csv);

/* The second pass; the file must not have changed meanwhile. */
int csv_run(struct csv *csv, const struct csv_sink *sink, struct error *error);

#endif
