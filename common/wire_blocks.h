/* The blocks inside a blocks message: wire.c's other half.
 * Must never be called but by wire.c, which has checked the head and the checksum. */
#ifndef ROOMWAKE_COMMON_WIRE_BLOCKS_H
#define ROOMWAKE_COMMON_WIRE_BLOCKS_H

#include <stdbool.h>

#include "common/bytes.h"
#include "common/wire.h"

/* Less than 2^62 ns from zero, so that the difference of any two times fits int64. */
bool wire_time_valid(int64_t ns);

/* Whether all blocks of a frame may be written: ERROR_RANGE names the block. */
int wire_blocks_check(const struct frame *frame, struct error *error);
/* Writes checked blocks; a failure sticks in the writer. */
void wire_blocks_write(struct bytes_writer *writer, const struct frame *frame);
/* Reads frame->block_count blocks into the arena. */
int wire_blocks_read(struct bytes_reader *reader, struct wire_arena *arena, struct frame *frame,
                     struct error *error);

/* The holes behind the blocks, in wire_holes.c; the reader goes up to the last octet. */
int wire_holes_check(const struct frame *frame, struct error *error);
void wire_holes_write(struct bytes_writer *writer, const struct frame *frame);
int wire_holes_read(struct bytes_reader *reader, struct frame *frame, struct error *error);

#endif
