/* A sink that counts a recording's samples, for the tests of imports whose allocations fail.
 * Must never be included by product code. */
#ifndef ROOMWAKE_TESTS_UNIT_FAULT_RECORDING_COUNTS_H
#define ROOMWAKE_TESTS_UNIT_FAULT_RECORDING_COUNTS_H

#include "collector/ingest/recording.h"
#include "tests/unit/fault/fault.h"

static int on_clock(void *context, uint32_t node, int64_t time_ns, int64_t clock_sd_ns,
                    struct error *error)
{
    (void)context;
    (void)node;
    (void)time_ns;
    (void)clock_sd_ns;
    (void)error;
    return 0;
}

static int on_blocks(void *context, uint32_t node, const struct block *blocks, size_t count,
                     struct error *error)
{
    (void)node;
    (void)error;
    for (size_t i = 0; i < count; i++) {
        *(size_t *)context += blocks[i].count;
    }
    return 0;
}

static int on_advance(void *context, uint32_t node, int64_t until_ns, struct error *error)
{
    (void)context;
    (void)node;
    (void)until_ns;
    (void)error;
    return 0;
}

/* Runs and closes a recording that was opened; all its samples come, or an error. */
static int count_samples(struct recording *recording, size_t wanted, struct error *error)
{
    size_t samples = 0;
    const struct recording_sink sink = {&samples, on_clock, on_blocks, on_advance};
    int result = recording_run(recording, &sink, error);
    if (result == 0) {
        assert_int_equal(samples, wanted);
    }
    recording_close(recording);
    return result;
}

#endif
