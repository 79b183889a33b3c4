/* One miniSEED record as samples with exact times and values. Private to mseed_*.c.
 * Must never hand a record to the library whose frame was not checked. */
#ifndef ROOMWAKE_COLLECTOR_INGEST_MSEED_RECORD_H
#define ROOMWAKE_COLLECTOR_INGEST_MSEED_RECORD_H

#include <stdbool.h>

#include "collector/ingest/mseed_file.h"

/* A record's samples. Start from {0}; mseed_record_free. */
struct mseed_samples {
    uint64_t place; /* the record's number, from 1 */
    uint32_t node;
    uint16_t channel; /* or RECORDING_CLOCK */
    int64_t t0_ns;
    int64_t period_ps;
    uint32_t count;
    uint32_t next;
    struct decimal *values;
    size_t size;
};

/* What a record's names and scales are looked up in. */
struct mseed_names {
    const char *file;
    const struct site *site;
    struct mseed_step *steps;
    size_t step_count;
};

/* The length of the record at the bytes' beginning and its start in site time (to the library's
 * microsecond); -1 where there is none, or MSEED_NO_MEMORY. */
#define MSEED_NO_MEMORY (-1000)
int mseed_record_look(const char *bytes, size_t left, size_t *length, int64_t *start_ns);
/* Decodes a record that was looked at. `place` is for errors. */
int mseed_record_read(const struct mseed_names *names, const char *bytes, size_t length,
                      uint64_t place, struct mseed_samples *samples, struct error *error);
void mseed_record_free(struct mseed_samples *samples);

#endif
