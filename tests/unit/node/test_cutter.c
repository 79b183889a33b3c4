/* Promises of the cutter: what goes in comes out, once, in numbered frames, with its own times.
 * Must never need a clock. */
#include "tests/unit/test.h"

#include "common/clock.h"
#include "node/cutter.h"

#define PERIOD_PS INT64_C(5000000000) /* 200 Hz */

struct told {
    int frames;
    uint64_t last_seq;
    int64_t until_ns;
    int blocks;
    size_t samples;
    struct block last; /* of the last frame; pointers replaced by the copies below */
    int32_t counts[64];
    int64_t times[64];
    uint16_t hole_count; /* of the last frame */
    struct hole holes[FRAME_HOLES_MAX];
};

static void on_frame(void *context, struct frame *frame)
{
    struct told *told = context;
    told->frames++;
    assert_int_equal(frame->seq, told->last_seq + 1);
    assert_true(frame->until_node_ns >= told->until_ns || told->frames == 1);
    assert_int_equal(frame->boot, 77);
    told->last_seq = frame->seq;
    told->until_ns = frame->until_node_ns;
    told->blocks = frame->block_count;
    told->hole_count = frame->hole_count;
    memcpy(told->holes, frame->holes, sizeof told->holes);
    for (int i = 0; i < frame->block_count; i++) {
        const struct block *block = &frame->blocks[i];
        told->samples += block->count;
        told->last = *block;
        for (uint32_t k = 0; k < block->count && k < 64; k++) {
            told->counts[k] = block->counts[k];
            told->times[k] = block_time_ns(block, k);
        }
    }
}

static struct cutter *make(struct told *told, size_t channels)
{
    struct cutter *cutter;
    memset(told, 0, sizeof *told);
    assert_int_equal(cutter_new(channels, 77, NS_PER_S, on_frame, told, &cutter, NULL), 0);
    return cutter;
}

static void runs_that_line_up_make_one_even_block(void **state)
{
    (void)state;
    struct told told;
    struct cutter *cutter = make(&told, 1);
    int32_t counts[7] = {1, 2, 3, 4, 5, 6, 7};
    cutter_advance(cutter, 1000, false);
    for (int64_t i = 0; i < 5; i++) {
        cutter_samples(cutter, 0, 2000 + i * 7 * 5000000 + (i % 2), PERIOD_PS, counts, 7);
    }
    cutter_advance(cutter, 1000 + NS_PER_S, false);
    assert_int_equal(told.frames, 1);
    assert_int_equal(told.last.count, 35);
    assert_int64_equal(told.last.period_ps, PERIOD_PS);
    assert_int64_equal(told.last.t0_ns, 2000);
    assert_null(told.last.times_ns);
    assert_int_equal(told.counts[34], 7);
    cutter_free(cutter);
}

static void a_run_that_does_not_line_up_keeps_each_samples_own_time(void **state)
{
    (void)state;
    struct told told;
    struct cutter *cutter = make(&told, 1);
    int32_t counts[2] = {10, -20};
    cutter_advance(cutter, 0, false);
    cutter_samples(cutter, 0, 100, PERIOD_PS, counts, 2);
    cutter_samples(cutter, 0, 100 + 2 * 5000000 + 3, PERIOD_PS, counts, 2);
    cutter_samples(cutter, 0, 60000000, PERIOD_PS / 2, counts, 1);
    cutter_advance(cutter, NS_PER_S, false);
    assert_int_equal(told.last.count, 5);
    assert_int64_equal(told.last.period_ps, 0);
    const int64_t expected[5] = {100, 5000100, 10000103, 15000103, 60000000};
    for (int i = 0; i < 5; i++) {
        assert_int64_equal(told.times[i], expected[i]);
    }
    cutter_free(cutter);
}

/* A board's samples are under way for a while: what another channel tells of that time waits. */
static void what_lies_behind_the_promise_waits_and_stays_even(void **state)
{
    (void)state;
    struct told told;
    struct cutter *cutter = make(&told, 2);
    int32_t counts[40] = {0};
    for (int32_t i = 0; i < 40; i++) {
        counts[i] = i;
    }
    cutter_advance(cutter, 0, false);
    cutter_samples(cutter, 0, 0, PERIOD_PS, counts, 20);
    cutter_samples(cutter, 0, NS_PER_S, PERIOD_PS, counts + 20, 20); /* a new line: uneven so far */
    cutter_change(cutter, 1, NS_PER_S + 33000000, 5);
    cutter_advance(cutter, NS_PER_S + 10000000, false);
    assert_int_equal(told.frames, 1);
    assert_int_equal(told.blocks, 1);
    assert_int_equal(told.last.count, 22);
    assert_true(told.times[21] < told.until_ns);
    cutter_samples(cutter, 0, NS_PER_S + 20 * 5000000, PERIOD_PS, counts, 20);
    cutter_advance(cutter, 2 * NS_PER_S + 10000000, false);
    assert_int_equal(told.samples, 61);
    assert_int_equal(told.blocks, 2);
    cutter_samples(cutter, 0, 2 * NS_PER_S + 15000000, PERIOD_PS, counts, 20);
    cutter_advance(cutter, 2 * NS_PER_S + 20000000, true);
    assert_int_equal(told.samples, 81);
    cutter_free(cutter);
}

static void a_rest_that_waited_makes_one_even_block_with_what_follows(void **state)
{
    (void)state;
    struct told told;
    struct cutter *cutter = make(&told, 1);
    int32_t counts[20] = {0};
    cutter_advance(cutter, 0, false);
    cutter_samples(cutter, 0, 3, PERIOD_PS, counts, 20);
    cutter_samples(cutter, 0, NS_PER_S, PERIOD_PS, counts, 20);
    cutter_advance(cutter, NS_PER_S + 10000000, false);
    assert_int64_equal(told.last.period_ps, 0);
    cutter_samples(cutter, 0, NS_PER_S + 20 * 5000000, PERIOD_PS, counts, 20);
    cutter_advance(cutter, 2 * NS_PER_S + 10000000, false);
    assert_int_equal(told.last.count, 38);
    assert_int64_equal(told.last.period_ps, PERIOD_PS);
    assert_int64_equal(told.last.t0_ns, NS_PER_S + 10000000);
    cutter_free(cutter);
}

static void the_frame_after_an_uneven_one_is_even_again(void **state)
{
    (void)state;
    struct told told;
    struct cutter *cutter = make(&told, 1);
    int32_t counts[2] = {1, 2};
    cutter_advance(cutter, 0, false);
    cutter_samples(cutter, 0, 100, PERIOD_PS, counts, 2);
    cutter_samples(cutter, 0, 50000000, PERIOD_PS, counts, 2);
    cutter_advance(cutter, NS_PER_S, false);
    cutter_samples(cutter, 0, NS_PER_S, PERIOD_PS, counts, 2);
    cutter_advance(cutter, 2 * NS_PER_S, false);
    assert_int64_equal(told.last.period_ps, PERIOD_PS);
    cutter_free(cutter);
}

static void a_quiet_on_change_channel_is_told_by_the_promise_alone(void **state)
{
    (void)state;
    struct told told;
    struct cutter *cutter = make(&told, 1);
    cutter_advance(cutter, 5, false);
    cutter_advance(cutter, 5 + NS_PER_S, false);
    assert_int_equal(told.frames, 1);
    assert_int_equal(told.blocks, 0);
    assert_int64_equal(told.until_ns, 5 + NS_PER_S);
    cutter_change(cutter, 0, 7 + NS_PER_S, 1);
    cutter_advance(cutter, 5 + 2 * NS_PER_S, false);
    assert_int_equal(told.last.count, 1);
    assert_int64_equal(told.times[0], 7 + NS_PER_S);
    cutter_free(cutter);
}

static void a_frame_is_cut_only_when_it_is_due_or_asked_for(void **state)
{
    (void)state;
    struct told told;
    struct cutter *cutter = make(&told, 1);
    cutter_advance(cutter, 0, false);
    cutter_advance(cutter, NS_PER_S - 1, false);
    assert_int_equal(told.frames, 0);
    cutter_advance(cutter, NS_PER_S - 1, true);
    assert_int_equal(told.frames, 1);
    cutter_advance(cutter, NS_PER_S, false);
    assert_int_equal(told.frames, 1);
    cutter_advance(cutter, NS_PER_S - 5, true); /* the promise never goes back */
    assert_int64_equal(told.until_ns, NS_PER_S);
    cutter_free(cutter);
}

static void a_flood_is_cut_early_without_a_false_promise_and_fits_a_message(void **state)
{
    (void)state;
    struct told told;
    struct cutter *cutter = make(&told, 2);
    size_t size = 3 * CUTTER_SAMPLES_MAX;
    int32_t *counts = calloc(size, sizeof *counts);
    cutter_advance(cutter, 50, false);
    cutter_samples(cutter, 0, 60, 1000000, counts, size);
    cutter_samples(cutter, 1, 60, 1000000, counts, 10);
    assert_int_equal(told.frames, 3);
    assert_int64_equal(told.until_ns, 50);
    cutter_advance(cutter, NS_PER_S, true);
    assert_int_equal(told.samples, size + 10);
    assert_int_equal(told.blocks, 1);
    assert_true((size_t)CUTTER_SAMPLES_MAX * 15 + 8192 < WIRE_MESSAGE_MAX);
    free(counts);
    cutter_free(cutter);
}

static void a_hole_is_told_once_with_the_next_frame_and_its_cause(void **state)
{
    (void)state;
    struct told told;
    struct cutter *cutter = make(&told, 2);
    cutter_advance(cutter, 1000, false);
    cutter_hole(cutter, 1, 2000, 5000, "the wire\tbroke");
    cutter_hole(cutter, 1, 5000, 5000, "no length");
    cutter_hole(cutter, 2, 2000, 5000, "no such channel");
    cutter_advance(cutter, 1000 + NS_PER_S, false);
    assert_int_equal(told.hole_count, 1);
    assert_int_equal(told.holes[0].channel, 1);
    assert_int64_equal(told.holes[0].start_ns, 2000);
    assert_int64_equal(told.holes[0].end_ns, 5000);
    assert_string_equal(told.holes[0].reason, "the wire?broke");
    cutter_advance(cutter, 1000 + 2 * NS_PER_S, false);
    assert_int_equal(told.hole_count, 0);
    cutter_free(cutter);
}

static void more_holes_than_a_frame_holds_grow_together_and_none_is_forgotten(void **state)
{
    (void)state;
    struct told told;
    struct cutter *cutter = make(&told, FRAME_HOLES_MAX + 1);
    cutter_advance(cutter, 1000, false);
    for (size_t i = 0; i < FRAME_HOLES_MAX; i++) {
        cutter_hole(cutter, i, 2000, 3000, "lost");
    }
    cutter_hole(cutter, 0, 7000, 9000, "lost");   /* of the same cause */
    cutter_hole(cutter, 1, 6000, 8000, "broken"); /* of another: still of its channel */
    cutter_hole(cutter, FRAME_HOLES_MAX, 1, 2, "no room");
    assert_int_equal(cutter_refused(cutter), 1);
    cutter_advance(cutter, 1000 + NS_PER_S, false);
    assert_int_equal(told.hole_count, FRAME_HOLES_MAX);
    assert_int64_equal(told.holes[0].start_ns, 2000);
    assert_int64_equal(told.holes[0].end_ns, 9000);
    assert_int64_equal(told.holes[1].end_ns, 8000);
    cutter_free(cutter);
}

static void samples_that_are_not_later_are_refused_and_counted(void **state)
{
    (void)state;
    struct told told;
    struct cutter *cutter = make(&told, 1);
    int32_t counts[3] = {1, 2, 3};
    cutter_advance(cutter, 0, false);
    cutter_samples(cutter, 0, 5000000, PERIOD_PS, counts, 3);
    cutter_samples(cutter, 0, 10000000, PERIOD_PS, counts, 3); /* two overlap, one is new */
    cutter_change(cutter, 0, 1, 5);
    cutter_samples(cutter, 9, NS_PER_S, PERIOD_PS, counts, 3); /* no such channel */
    cutter_advance(cutter, NS_PER_S, true);
    assert_int_equal(told.samples, 4);
    assert_int_equal(cutter_refused(cutter), 6);
    cutter_free(cutter);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(runs_that_line_up_make_one_even_block),
        cmocka_unit_test(a_run_that_does_not_line_up_keeps_each_samples_own_time),
        cmocka_unit_test(what_lies_behind_the_promise_waits_and_stays_even),
        cmocka_unit_test(a_rest_that_waited_makes_one_even_block_with_what_follows),
        cmocka_unit_test(the_frame_after_an_uneven_one_is_even_again),
        cmocka_unit_test(a_quiet_on_change_channel_is_told_by_the_promise_alone),
        cmocka_unit_test(a_frame_is_cut_only_when_it_is_due_or_asked_for),
        cmocka_unit_test(a_flood_is_cut_early_without_a_false_promise_and_fits_a_message),
        cmocka_unit_test(a_hole_is_told_once_with_the_next_frame_and_its_cause),
        cmocka_unit_test(more_holes_than_a_frame_holds_grow_together_and_none_is_forgotten),
        cmocka_unit_test(samples_that_are_not_later_are_refused_and_counted),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
