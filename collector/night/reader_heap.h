/* Decoded blocks that wait for their turn, the one with the earliest first sample on top.
 * Must never be included outside reader*.c. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_READER_HEAP_H
#define ROOMWAKE_COLLECTOR_NIGHT_READER_HEAP_H

#include "collector/night/reader.h"

/* A decoded block with memory of its own, in the heap or free for the next. */
struct pending {
    struct night_block_row row;
    int64_t id;
    int32_t *counts;
    int64_t *times_ns;
    struct decimal *decimals;
    size_t counts_size;
    size_t times_size;
    size_t decimals_size;
    struct pending *next_free;
};

/* Start from {0}. */
struct block_heap {
    struct pending **list;
    size_t count;
    size_t size;
    struct pending *free; /* with memory to use again */
};

/* A block to fill, from the free ones where there is one; NULL: out of memory. */
struct pending *block_heap_acquire(struct block_heap *heap, struct error *error);
void block_heap_release(struct block_heap *heap, struct pending *pending);
/* The heap takes `added` on success. */
int block_heap_push(struct block_heap *heap, struct pending *added, struct error *error);
/* The heap must not be empty. */
struct pending *block_heap_pop(struct block_heap *heap);
void block_heap_free(struct block_heap *heap);

#endif
