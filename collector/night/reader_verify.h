/* What reader_verify.c, reader_verify_blocks.c and reader_verify_added.c share.
 * Must never be included by anything else. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_READER_VERIFY_H
#define ROOMWAKE_COLLECTOR_NIGHT_READER_VERIFY_H

#include "collector/night/reader_internal.h"
#include "collector/night/seal_check.h"
#include "collector/night/verify.h"

struct verifying {
    struct night_reader *reader;
    const struct verify_sink *sink;
    struct verify_result *result;
};

/* Tells a fault and counts it; a frame's or block's row is told with its node and time. */
void verify_tell(void *verifying, const char *table, const char *row, const char *text);
void verify_tell_id(struct verifying *verifying, const char *table, int64_t id, const char *text);

/* Every frame's blocks: that they decode, and that what their rows say of them is so. */
void verify_blocks(struct verifying *verifying);
/* That nothing came after the night's end but samples of nodes that had none. */
void verify_added(struct verifying *verifying, const struct seal_list *list);

#endif
