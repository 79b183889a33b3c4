/* Conversions to batches with peaks, pin edges to a queue: what interrupts write and the loop
 * reads. Freestanding, no heap. Must never wait: what finds no room is counted and given up. */
#ifndef ROOMWAKE_NODE_BOARD_SAMPLE_H
#define ROOMWAKE_NODE_BOARD_SAMPLE_H

#include <stdbool.h>
#include <stdint.h>

#include "node/board/report.h"

#define SAMPLE_EDGES 8u /* a power of two */

struct sample_batch {
    uint32_t tick; /* of values[0] */
    struct report_samples samples;
};

struct sample_edge {
    uint32_t tick;
    bool level;
};

/* Batches have one writer (an interrupt) and one reader (the loop); the loop has both ends of the
 * edges. All zero to begin with. */
struct sampler {
    struct sample_batch batches[2];
    uint8_t filling;       /* which one the interrupt writes */
    volatile bool full[2]; /* the loop may read it, and clears this when done */
    uint32_t next_tick;    /* of the sample that is taken next */
    uint16_t after;        /* ticks from the batch's first sample to the last one taken */
    uint8_t lost;
    volatile bool alive; /* a sample was taken; the loop clears it */
    struct sample_edge edges[SAMPLE_EDGES];
    volatile uint8_t edge_in;
    volatile uint8_t edge_out;
    volatile uint8_t edges_lost;
};

/* A conversion that was started at the sample's tick. */
void sampler_take(struct sampler *sampler, uint16_t value);
/* One in between, `since` ticks after the sample: it counts for the extremes only. */
void sampler_glance(struct sampler *sampler, uint16_t value, uint8_t since);
/* A sample whose conversion never came: its place stays empty. */
void sampler_miss(struct sampler *sampler);
void sampler_edge(struct sampler *sampler, uint32_t tick, bool level);

/* The loop's side. NULL: none is full. Give it back with sampler_done. */
const struct sample_batch *sampler_full(const struct sampler *sampler);
void sampler_done(struct sampler *sampler, const struct sample_batch *batch);
bool sampler_next_edge(struct sampler *sampler, struct sample_edge *edge);

#endif
