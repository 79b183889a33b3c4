/* A stored night's lanes on all processors: nothing of that shows in what is told, nor does a
 * failure go untold. Must never seed from a clock. */
#include "tests/unit/pipeline/rig.h"

/* By single samples, so that batches fill, and one is told while the next is being done. */
static void all_processors_at_once_do_not_show(void **state)
{
    (void)state;
    static struct told live;
    static struct told ahead;
    struct error error;
    struct pipeline *pipeline = NULL;
    for (size_t with = 0; with < 2; with++) {
        pipeline = start_so(with ? &ahead : &live, with == 1);
        for (size_t from = 0; from < SAMPLES; from++) {
            for (uint32_t node = 0; node < NODES; node++) {
                push_node(pipeline, node, from, from + 1, node == 1);
                pipeline_set_clock(pipeline, node, sample_ns(from), 900000 + (int64_t)from);
            }
            /* Asked for in between: all that waits is done first. */
            if (from == 30 * RATE_HZ) {
                assert_int_equal(pipeline_set_waited_for(pipeline, 0, true, &error), 0);
            }
        }
        finish(pipeline);
    }
    same_lines(&live, &ahead);
    assert_int_equal(live.heard.count, 3);
    assert_int_equal(live.notices, ahead.notices);
}

static void what_fails_on_another_processor_is_told_by_the_end(void **state)
{
    (void)state;
    static struct told told;
    struct error error;
    struct pipeline *pipeline = start_so(&told, true);
    push_node(pipeline, 0, 0, RATE_HZ, false);
    push_node(pipeline, 1, 0, RATE_HZ, false);
    push_node(pipeline, 2, 0, RATE_HZ, false);
    push_axis(pipeline, 1, 0, RATE_HZ, 2 * RATE_HZ);
    push_axis(pipeline, 1, 0, RATE_HZ, 2 * RATE_HZ); /* the same samples again */
    assert_int_equal(pipeline_finish(pipeline, &error), -1);
    assert_error(error, ERROR_RANGE, "n2: magnetic.x");
    pipeline_free(pipeline);
}

/* One sample of each node, `twice`: of the second again. */
static int push_singly(struct pipeline *pipeline, size_t i, bool twice, struct error *error)
{
    struct block block = {.encoding = BLOCK_INT32,
                          .count = 1,
                          .t0_ns = sample_ns(i),
                          .period_ps = INT64_C(1000) * PERIOD_NS};
    for (uint32_t node = 0; node < NODES; node++) {
        block.counts = &field[node][0][i % SAMPLES];
        if (pipeline_push(pipeline, node, &block, error) != 0 ||
            (twice && node == 1 && pipeline_push(pipeline, node, &block, error) != 0)) {
            return -1;
        }
    }
    return 0;
}

static void what_fails_is_told_though_the_next_batch_is_being_done(void **state)
{
    (void)state;
    static struct told told;
    struct error error;
    struct pipeline *pipeline = start_so(&told, true);
    bool failed = false;
    for (size_t i = 0; i < 10 * SAMPLES && !failed; i++) {
        failed = push_singly(pipeline, i, i == RATE_HZ, &error) != 0;
    }
    assert_true(failed);
    assert_error(error, ERROR_RANGE, "n2: magnetic.x");
    pipeline_free(pipeline);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(all_processors_at_once_do_not_show),
        cmocka_unit_test(what_fails_on_another_processor_is_told_by_the_end),
        cmocka_unit_test(what_fails_is_told_though_the_next_batch_is_being_done),
    };
    return cmocka_run_group_tests(tests, build, NULL);
}
