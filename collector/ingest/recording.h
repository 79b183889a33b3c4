/* Import of a recording made elsewhere, whatever its format: one look at every sample, then blocks
 * in time order. Must never round a value, skip a sample or go on after a fault: each error says
 * the file and the place. Used by record/import.c; csv.h, senml_file.h and mseed_file.h open one.
 */
#ifndef ROOMWAKE_COLLECTOR_INGEST_RECORDING_H
#define ROOMWAKE_COLLECTOR_INGEST_RECORDING_H

#include <stddef.h>
#include <stdint.h>

#include "common/block.h"
#include "common/error.h"
#include "common/site.h"

/* How far a sample may be behind the latest before it. */
#define RECORDING_DISORDER_NS INT64_C(10000000000)
/* The name that carries a node's own 1-sigma clock uncertainty, in s, on change. */
#define RECORDING_CLOCK_NAME "clock-uncertainty"

/* A non-zero return stops the run and is returned; the function has filled *error. Times are site
 * time. Of each node: clock before the blocks that it counts for, blocks in time order, then the
 * advance. Over the nodes: a stretch of ten seconds of all of them, then the next. */
struct recording_sink {
    void *context;
    int (*clock)(void *context, uint32_t node, int64_t time_ns, int64_t clock_sd_ns,
                 struct error *error);
    /* All blocks of one node for the stretch; a channel may have several, in time order. */
    int (*blocks)(void *context, uint32_t node, const struct block *blocks, size_t count,
                  struct error *error);
    int (*advance)(void *context, uint32_t node, int64_t until_ns, struct error *error);
};

/* What the first look found. */
struct recording_node {
    uint64_t samples; /* 0: the file does not have the node */
    int64_t first_ns;
    int64_t last_ns;
    size_t channel_count; /* the site file's channels, each with the step that its values need */
    struct channel channels[NODE_CHANNELS_MAX];
};

struct recording;

void recording_close(struct recording *recording);
/* One of site->node_count. */
const struct recording_node *recording_get_node(const struct recording *recording, size_t node);
int64_t recording_first_ns(const struct recording *recording);
int64_t recording_last_ns(const struct recording *recording);
uint64_t recording_samples(const struct recording *recording);

/* The second pass; the file must not have changed meanwhile. */
int recording_run(struct recording *recording, const struct recording_sink *sink,
                  struct error *error);

/* For the formats. */
#define RECORDING_CLOCK UINT16_MAX
struct recording_sample {
    uint64_t place; /* in the file, for errors: a line, a record */
    int64_t time_ns;
    uint32_t node;
    uint16_t channel; /* of the site file's node, or RECORDING_CLOCK: `value` in s */
    struct decimal value;
};
struct recording_source {
    void *context;
    /* 1: a sample, 0: the end, -1: error. */
    int (*next)(void *context, struct recording_sample *sample, struct error *error);
    void (*rewind)(void *context);
    /* "FILE:PLACE: what"; -1. */
    int (*fail)(void *context, uint64_t place, enum error_code code, const char *what,
                struct error *error);
    void (*close)(void *context);
};
/* Reads and checks every sample. `site` must outlive the recording. *source is copied and closed
 * with the recording, also where this fails. */
int recording_open(const char *name, const struct recording_source *source, const struct site *site,
                   struct recording **recording, struct error *error);

/* A file's bytes, read-only; ERROR_NOT_FOUND, ERROR_IO, or ERROR_FORMAT where it is empty. */
int recording_map(const char *path, const char **bytes, size_t *length, struct error *error);
void recording_unmap(const char *bytes, size_t length);

#endif
