/* A gap: a stretch without samples of one node, with its cause. Plain value.
 * Must never be left unnamed: a gap whose cause is not known says so. */
#ifndef ROOMWAKE_COLLECTOR_MODEL_GAP_H
#define ROOMWAKE_COLLECTOR_MODEL_GAP_H

#include <stdint.h>

#define GAP_REASON_SIZE 160

struct gap {
    uint32_t node;
    int64_t start_ns; /* site time of the last sample before */
    int64_t end_ns;   /* site time of the first sample after */
    char reason[GAP_REASON_SIZE];
};

#endif
