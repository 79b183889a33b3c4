/* A block that outlives whoever lent it.
 * Must never change a sample or a time. Called by lane and ahead. */
#ifndef ROOMWAKE_COLLECTOR_PIPELINE_BLOCK_COPY_H
#define ROOMWAKE_COLLECTOR_PIPELINE_BLOCK_COPY_H

#include "common/block.h"

/* With its times and values in one piece of memory, the caller's to free(); NULL: no memory. */
struct block *block_copy(const struct block *block);

#endif
