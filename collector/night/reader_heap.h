/* Decoded blocks that wait for their turn, the one with the earliest next sample on top. A long
 * block waits as a whole and is handed out cut by cut, as its messages came.
 * Must never be included outside reader*.c. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_READER_HEAP_H
#define ROOMWAKE_COLLECTOR_NIGHT_READER_HEAP_H

#include "collector/night/reader.h"
#include "collector/night/reader_long.h"

/* A decoded block with memory of its own, in the heap or free for the next. `row` is what it hands
 * out next. */
struct pending {
    struct night_block_row row;
    struct long_block whole;
    size_t cut_next; /* after the one in `row` */
    uint32_t handed; /* samples before those in `row` */
    struct pending *next_free;
};

/* Makes `row` the first cut, or the next; false where there is none. */
bool pending_first(struct pending *pending);
bool pending_next(struct pending *pending);

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
