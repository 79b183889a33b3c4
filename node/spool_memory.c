/* A ring of copied frames.
 * Must never grow past its bounds. Called by spool.c. */
#include "node/spool_memory.h"

#include <stdlib.h>
#include <string.h>

bool spool_memory_has_room(const struct spool_memory *memory, size_t length)
{
    return memory->count < SPOOL_MEMORY_FRAMES && length <= SPOOL_MEMORY_BYTES - memory->bytes;
}

int spool_memory_push(struct spool_memory *memory, uint64_t boot, uint64_t seq,
                      const uint8_t *bytes, size_t length)
{
    if (length == 0 || length > SPOOL_MEMORY_BYTES || !spool_memory_has_room(memory, length)) {
        return -1;
    }
    uint8_t *copy = malloc(length);
    if (!copy) {
        return -1;
    }
    memcpy(copy, bytes, length);
    size_t at = (memory->start + memory->count) % SPOOL_MEMORY_FRAMES;
    memory->frames[at] =
        (struct spool_memory_frame){.boot = boot, .seq = seq, .bytes = copy, .length = length};
    memory->count++;
    memory->bytes += length;
    return 0;
}

const struct spool_memory_frame *spool_memory_at(const struct spool_memory *memory, size_t index)
{
    return &memory->frames[(memory->start + index) % SPOOL_MEMORY_FRAMES];
}

void spool_memory_pop(struct spool_memory *memory)
{
    if (memory->count == 0) {
        return;
    }
    struct spool_memory_frame *oldest = &memory->frames[memory->start];
    memory->bytes -= oldest->length;
    free(oldest->bytes);
    oldest->bytes = NULL;
    memory->start = (memory->start + 1) % SPOOL_MEMORY_FRAMES;
    memory->count--;
}

void spool_memory_clear(struct spool_memory *memory)
{
    while (memory->count > 0) {
        spool_memory_pop(memory);
    }
}
