/* Which frame: a node's boot and the number within it. A frame is stored whole or not at all.
 * Must never hold what is in the frame. Used by the writer, its queue and all who wait for commits.
 */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_FRAME_ID_H
#define ROOMWAKE_COLLECTOR_NIGHT_FRAME_ID_H

#include <stdint.h>

struct night_frame_id {
    uint32_t node;
    uint64_t boot;
    uint64_t seq;
};

#endif
