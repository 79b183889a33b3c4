/* Exact samples to blocks: no time moved, no digit lost. */
#include "tests/unit/test.h"

#include "collector/ingest/series.h"
#include "common/clock.h"

static void samples_sort_in_and_doubles_are_told(void **state)
{
    (void)state;
    struct series series = {0};
    const struct decimal value = {1, 0};
    assert_int_equal(series_insert(&series, 30, value), 0);
    assert_int_equal(series_insert(&series, 10, value), 0);
    assert_int_equal(series_insert(&series, 20, value), 0);
    assert_int_equal(series_insert(&series, 20, value), 1);
    assert_int_equal(series.count, 3);
    assert_int64_equal(series.times_ns[0], 10);
    assert_int64_equal(series.times_ns[2], 30);
    series_drop(&series, 2);
    assert_int64_equal(series.times_ns[0], 30);
    series_free(&series);
}

/* Any period of a block that was cooked is found again from its rounded times. */
static void even_times_of_any_period_are_recognised_exactly(void **state)
{
    (void)state;
    static int64_t times[1000];
    uint32_t random = 1;
    for (int round = 0; round < 200; round++) {
        random = random * 1664525u + 1013904223u;
        int64_t period = 1000 + (int64_t)(random % 2000000000u) * 5;
        struct block block = {.count = 1000, .t0_ns = 1700000000 * NS_PER_S, .period_ps = period};
        for (uint32_t i = 0; i < 1000; i++) {
            times[i] = block_time_ns(&block, i);
        }
        int64_t found;
        assert_int_equal(series_even_run(times, 1000, 0, &found), 1000);
        block.period_ps = found;
        for (uint32_t i = 0; i < 1000; i++) {
            assert_int64_equal(block_time_ns(&block, i), times[i]);
        }
    }
}

static void a_run_ends_where_the_times_leave_the_line(void **state)
{
    (void)state;
    int64_t times[] = {0, 1000000, 2000000, 3000002, 4000000};
    int64_t period;
    assert_int_equal(series_even_run(times, 5, 1000000000, &period), 3);
    assert_int64_equal(period, 1000000000); /* the nominal one where it fits */
    assert_int_equal(series_even_run(times, 1, 1000000000, &period), 1);
    int64_t far[] = {INT64_MIN / 2, INT64_MAX / 2 - 1};
    assert_int_equal(series_even_run(far, 2, 0, &period), 1);
}

static void values_beyond_int32_steps_keep_their_decimals(void **state)
{
    (void)state;
    struct error error;
    struct channel channel;
    struct series series = {0};
    assert_int_equal(channel_init(&channel, "temperature", NULL, 1, &error), 0);
    channel.step = (struct decimal){1, -2};
    (void)series_insert(&series, 0, (struct decimal){2147, 4}); /* 21470000 = 2147000000 steps */
    (void)series_insert(&series, NS_PER_S, (struct decimal){215, -1});
    assert_int_equal(series_block_count(&series, 2, &channel), 1);
    struct block block;
    series_make_blocks(&series, 2, 7, &channel, &block);
    assert_int_equal(block.encoding, BLOCK_INT32);
    assert_int_equal(block.channel, 7);
    assert_int_equal(block.counts[0], 2147000000);
    assert_int_equal(block.counts[1], 2150);
    assert_int64_equal(block.period_ps, PS_PER_S);
    (void)series_insert(&series, 2 * NS_PER_S, (struct decimal){2148, 4});
    series_make_blocks(&series, 3, 7, &channel, &block);
    assert_int_equal(block.encoding, BLOCK_DECIMAL);
    assert_int64_equal(block.decimals[2].mantissa, 2148);
    series_drop(&series, 3);
    (void)series_insert(&series, 0, (struct decimal){21503, -3}); /* finer than the step */
    series_make_blocks(&series, 1, 7, &channel, &block);
    assert_int_equal(block.encoding, BLOCK_DECIMAL);
    series_free(&series);
}

static void ragged_times_become_one_explicit_block(void **state)
{
    (void)state;
    struct error error;
    struct channel channel;
    struct series series = {0};
    struct block blocks[64];
    assert_int_equal(channel_init(&channel, "temperature", NULL, 50, &error), 0);
    for (int i = 0; i < 60; i++) {
        (void)series_insert(&series, i * 20000000 + (i * i) % 7 * 1000, (struct decimal){i, 0});
    }
    assert_int_equal(series_block_count(&series, 60, &channel), 1);
    series_make_blocks(&series, 60, 0, &channel, blocks);
    assert_int64_equal(blocks[0].period_ps, 0);
    for (uint32_t i = 0; i < 60; i++) {
        assert_int64_equal(block_time_ns(&blocks[0], i), series.times_ns[i]);
    }
    series_free(&series);
}

static void two_even_runs_become_two_blocks(void **state)
{
    (void)state;
    struct error error;
    struct channel channel;
    struct series series = {0};
    struct block blocks[4];
    assert_int_equal(channel_init(&channel, "temperature", NULL, 50, &error), 0);
    for (int i = 0; i < 100; i++) {
        (void)series_insert(&series, i * 20000000 + (i >= 50 ? 777 : 0), (struct decimal){i, 0});
    }
    assert_int_equal(series_block_count(&series, 100, &channel), 2);
    series_make_blocks(&series, 100, 0, &channel, blocks);
    assert_int_equal(blocks[0].count + blocks[1].count, 100);
    assert_int_equal(blocks[0].count, 50);
    assert_int_equal(blocks[1].counts[0], 50);
    series_free(&series);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(samples_sort_in_and_doubles_are_told),
        cmocka_unit_test(even_times_of_any_period_are_recognised_exactly),
        cmocka_unit_test(a_run_ends_where_the_times_leave_the_line),
        cmocka_unit_test(values_beyond_int32_steps_keep_their_decimals),
        cmocka_unit_test(ragged_times_become_one_explicit_block),
        cmocka_unit_test(two_even_runs_become_two_blocks),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
