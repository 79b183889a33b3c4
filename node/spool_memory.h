/* A few frames in memory, for while the disk refuses them. Bounded in number and bytes.
 * Must never grow past its bounds: the caller makes room first. Used by spool.c alone. */
#ifndef ROOMWAKE_NODE_SPOOL_MEMORY_H
#define ROOMWAKE_NODE_SPOOL_MEMORY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define SPOOL_MEMORY_FRAMES 64u
#define SPOOL_MEMORY_BYTES (2u * 1024u * 1024u)

struct spool_memory_frame {
    uint64_t boot;
    uint64_t seq;
    uint8_t *bytes; /* owned by the queue */
    size_t length;
};

/* Start from {0}. */
struct spool_memory {
    struct spool_memory_frame frames[SPOOL_MEMORY_FRAMES];
    size_t start;
    size_t count;
    size_t bytes;
};

bool spool_memory_has_room(const struct spool_memory *memory, size_t length);
/* Copies. -1 without memory or room. */
int spool_memory_push(struct spool_memory *memory, uint64_t boot, uint64_t seq,
                      const uint8_t *bytes, size_t length);
/* The index-th oldest; index < count. */
const struct spool_memory_frame *spool_memory_at(const struct spool_memory *memory, size_t index);
void spool_memory_pop(struct spool_memory *memory);
void spool_memory_clear(struct spool_memory *memory);

#endif
