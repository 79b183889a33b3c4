/* Decoded blocks that wait for their turn, the one with the earliest first sample on top.
 * Must never read the night. Called by reader_blocks.c. */
#include "collector/night/reader_heap.h"

#include <stdlib.h>

static bool before(const struct pending *a, const struct pending *b)
{
    if (a->row.block.t0_ns != b->row.block.t0_ns) {
        return a->row.block.t0_ns < b->row.block.t0_ns;
    }
    if (a->row.node != b->row.node) {
        return a->row.node < b->row.node;
    }
    if (a->row.block.channel != b->row.block.channel) {
        return a->row.block.channel < b->row.block.channel;
    }
    return a->whole.id < b->whole.id;
}

static void hand_out(struct pending *pending)
{
    const struct cut *cut = &pending->whole.cuts[pending->cut_next++];
    struct block *block = &pending->row.block;
    const bool decimal = pending->whole.block.encoding == BLOCK_DECIMAL;
    pending->row.seq = cut->seq;
    pending->row.node_t0_ns = cut->node_t0_ns;
    *block = pending->whole.block;
    block->count = cut->count;
    block->t0_ns = cut->t0_ns;
    block->period_ps = cut->period_ps;
    block->times_ns = cut->period_ps > 0 ? NULL : pending->whole.memory.times_ns + pending->handed;
    if (block->times_ns) {
        block->t0_ns = block->times_ns[0];
    }
    block->counts = decimal ? NULL : pending->whole.memory.counts + pending->handed;
    block->decimals = decimal ? pending->whole.memory.decimals + pending->handed : NULL;
}

bool pending_first(struct pending *pending)
{
    pending->cut_next = 0;
    pending->handed = 0;
    if (pending->whole.cut_count == 0) {
        return false;
    }
    hand_out(pending);
    return true;
}

bool pending_next(struct pending *pending)
{
    if (pending->cut_next >= pending->whole.cut_count) {
        return false;
    }
    pending->handed += pending->row.block.count;
    hand_out(pending);
    return true;
}

int block_heap_push(struct block_heap *heap, struct pending *added, struct error *error)
{
    if (heap->count == heap->size) {
        size_t size = heap->size ? 2 * heap->size : 64;
        struct pending **list = realloc(heap->list, size * sizeof(struct pending *));
        if (!list) {
            return error_set(error, ERROR_MEMORY, "blocks: out of memory");
        }
        heap->list = list;
        heap->size = size;
    }
    size_t at = heap->count++;
    while (at > 0 && before(added, heap->list[(at - 1) / 2])) {
        heap->list[at] = heap->list[(at - 1) / 2];
        at = (at - 1) / 2;
    }
    heap->list[at] = added;
    return 0;
}

struct pending *block_heap_pop(struct block_heap *heap)
{
    struct pending *top = heap->list[0];
    struct pending *last = heap->list[--heap->count];
    size_t at = 0;
    for (;;) {
        size_t child = 2 * at + 1;
        if (child + 1 < heap->count && before(heap->list[child + 1], heap->list[child])) {
            child++;
        }
        if (child >= heap->count || !before(heap->list[child], last)) {
            break;
        }
        heap->list[at] = heap->list[child];
        at = child;
    }
    heap->list[at] = last;
    return top;
}

void block_heap_release(struct block_heap *heap, struct pending *pending)
{
    pending->next_free = heap->free;
    heap->free = pending;
}

struct pending *block_heap_acquire(struct block_heap *heap, struct error *error)
{
    struct pending *pending = heap->free;
    if (pending) {
        heap->free = pending->next_free;
        return pending;
    }
    pending = calloc(1, sizeof *pending);
    if (!pending) {
        (void)error_set(error, ERROR_MEMORY, "blocks: out of memory");
    }
    return pending;
}

static void pending_free(struct pending *pending)
{
    if (pending) {
        long_block_free(&pending->whole);
        free(pending);
    }
}

void block_heap_free(struct block_heap *heap)
{
    for (size_t i = 0; i < heap->count; i++) {
        pending_free(heap->list[i]);
    }
    while (heap->free) {
        struct pending *next = heap->free->next_free;
        pending_free(heap->free);
        heap->free = next;
    }
    free(heap->list);
    *heap = (struct block_heap){0};
}
