/* Blocks of three nodes through detect and correlate: what comes out, and that cutting, order of
 * nodes and order of channels do not show. Must never seed from a clock. */
#include "tests/unit/pipeline/rig.h"

static const struct coincidence *find(const struct told *told, enum cause_kind cause)
{
    const struct coincidence *found = NULL;
    for (size_t i = 0; i < told->heard.count; i++) {
        if (told->heard.finals[i].verdict.cause == cause) {
            assert_null(found);
            found = &told->heard.finals[i];
        }
    }
    assert_non_null(found);
    return found;
}

static void a_switching_a_walk_and_a_pulse_come_out_as_three(void **state)
{
    (void)state;
    static struct told told;
    run_by_seconds(&told);
    assert_int_equal(told.heard.count, 3);
    const struct coincidence *mains = find(&told, CAUSE_MAINS_SWITCHING);
    const struct coincidence *walk = find(&told, CAUSE_PERSON_WALKING);
    const struct coincidence *pulse = find(&told, CAUSE_UNEXPLAINED);
    assert_int_equal(mains->kind, COINCIDENCE_PROMPT);
    assert_int_equal(mains->node_count, 3);
    assert_close((double)(mains->start_ns - at_s(24.0)) * 1e-9, 0.0, 0.03);
    assert_int_equal(walk->verdict.cause, CAUSE_PERSON_WALKING);
    assert_int_equal(walk->node_count, 3);
    assert_close(walk->speed.value_m_s, 1.25, 0.01);
    assert_int_equal(pulse->kind, COINCIDENCE_PROMPT);
    assert_int_equal(pulse->node_count, 3);
    assert_close((double)(pulse->start_ns - at_s(48.0)) * 1e-9, 0.0, 0.03);
    assert_false(pulse->first_known);
    assert_true(pulse->chance.per_night < 0.1);
    assert_int64_equal(pulse->members[0].clock_sd_ns, 1000000);
    assert_true(told.notices >= 3 * NODES);
}

static void cutting_and_order_of_nodes_do_not_show(void **state)
{
    (void)state;
    static struct told reference;
    static struct told other;
    run_by_seconds(&reference);
    /* All of one node, then of the next, in pieces of their own. */
    struct pipeline *pipeline = start(&other);
    struct error error;
    for (uint32_t node = 0; node < NODES; node++) {
        /* The others have begun, so that they are waited for. */
        push_node(pipeline, node, 0, 1, node % 2 == 0);
    }
    for (uint32_t node = NODES; node-- > 0;) {
        size_t step = 37 + 400 * node;
        for (size_t from = 1; from < SAMPLES; from += step) {
            size_t to = from + step < SAMPLES ? from + step : SAMPLES;
            push_node(pipeline, node, from, to, node % 2 == 0);
        }
    }
    assert_int_equal(pipeline_set_waited_for(pipeline, 0, true, &error), 0);
    finish(pipeline);
    same_lines(&reference, &other);
}

static const struct quiet_order hand_begins = {.from_ns = HOUSE_T0 + 5213000000};
static const struct quiet_order hand_ends = {.from_ns = HOUSE_T0 + 22771000000, .end = true};

static void a_quiet_spell_by_hand_is_the_same_live_and_again(void **state)
{
    (void)state;
    static struct told live;
    static struct told again;
    struct error error;
    struct pipeline *pipeline = start(&live);
    for (size_t from = 0; from < SAMPLES; from += RATE_HZ) {
        if (from == 5 * RATE_HZ) {
            assert_int_equal(pipeline_quiet(pipeline, &hand_begins, &error), 0);
        }
        if (from == 22 * RATE_HZ) {
            assert_int_equal(pipeline_count_learning(pipeline), NODES * 3);
            assert_int_equal(pipeline_quiet(pipeline, &hand_ends, &error), 0);
        }
        for (uint32_t node = 0; node < NODES; node++) {
            push_node(pipeline, node, from, from + RATE_HZ, false);
        }
    }
    assert_int_equal(pipeline_count_learning(pipeline), 0);
    finish(pipeline);
    pipeline = start(&again);
    assert_int_equal(pipeline_quiet(pipeline, &hand_begins, &error), 0);
    assert_int_equal(pipeline_quiet(pipeline, &hand_ends, &error), 0);
    for (uint32_t node = 0; node < NODES; node++) {
        push_node(pipeline, node, 0, 1, true); /* so that it is waited for */
    }
    for (size_t from = 1; from < SAMPLES; from += 1777) {
        size_t to = from + 1777 < SAMPLES ? from + 1777 : SAMPLES;
        for (uint32_t node = 0; node < NODES; node++) {
            push_node(pipeline, node, from, to, true);
        }
    }
    assert_int_equal(pipeline_quiet(pipeline, &hand_ends, &error), -1);
    assert_int_equal(error.code, ERROR_STATE);
    finish(pipeline);
    same_lines(&live, &again);
    assert_int_equal(live.heard.count, 3);
    assert_int_equal(live.notices, again.notices);
}

static void a_spell_by_hand_goes_on_until_it_is_ended(void **state)
{
    (void)state;
    static struct told told;
    struct error error;
    struct pipeline *pipeline = start(&told);
    assert_int_equal(pipeline_quiet(pipeline, &hand_begins, &error), 0);
    for (size_t from = 0; from < SAMPLES; from += RATE_HZ) {
        for (uint32_t node = 0; node < NODES; node++) {
            push_node(pipeline, node, from, from + RATE_HZ, false);
        }
    }
    assert_int_equal(pipeline_count_learning(pipeline), NODES * 3);
    finish(pipeline);
    assert_int_equal(told.heard.count, 0);
}

static void a_block_behind_the_others_is_refused(void **state)
{
    (void)state;
    static struct told told;
    struct pipeline *pipeline = start(&told);
    struct error error;
    for (uint32_t node = 0; node < NODES; node++) {
        push_node(pipeline, node, 0, RATE_HZ, false);
    }
    assert_int_equal(pipeline_set_waited_for(pipeline, 2, false, &error), 0);
    push_node(pipeline, 0, RATE_HZ, 20 * RATE_HZ, false);
    push_node(pipeline, 1, RATE_HZ, 20 * RATE_HZ, false);
    struct block late = {.channel = 0,
                         .encoding = BLOCK_INT32,
                         .count = RATE_HZ,
                         .t0_ns = sample_ns(RATE_HZ),
                         .period_ps = INT64_C(1000) * PERIOD_NS,
                         .counts = &field[2][0][RATE_HZ]};
    assert_int_equal(pipeline_push(pipeline, 2, &late, &error), -1);
    assert_error(error, ERROR_RANGE, "n3");
    /* The same samples again, on a node in time. */
    late.t0_ns = sample_ns(19 * RATE_HZ + 40);
    assert_int_equal(pipeline_push(pipeline, 0, &late, &error), -1);
    assert_error(error, ERROR_RANGE, "magnetic.x");
    pipeline_free(pipeline);
}

static void what_is_not_known_yet_is_an_error(void **state)
{
    (void)state;
    struct finding_sink sink = {0};
    struct pipeline *pipeline = NULL;
    struct error error;
    int32_t count = 0;
    struct block block = {.count = 1, .period_ps = 1000000, .t0_ns = HOUSE_T0, .counts = &count};
    assert_int_equal(pipeline_new(&house.site, &sink, &pipeline, &error), 0);
    assert_int_equal(pipeline_push(pipeline, 0, &block, &error), -1);
    assert_error(error, ERROR_STATE, "n1");
    assert_int_equal(pipeline_push(pipeline, NODES, &block, &error), -1);
    assert_error(error, ERROR_RANGE, "node 3");
    assert_int_equal(pipeline_set_channels(pipeline, 0, channels, CHANNELS, &error), 0);
    block.channel = CHANNELS;
    assert_int_equal(pipeline_push(pipeline, 0, &block, &error), -1);
    assert_error(error, ERROR_RANGE, "channel 5");
    assert_int_equal(pipeline_finish(pipeline, &error), 0);
    pipeline_free(pipeline);
}

static void a_node_that_returns_with_other_channels_starts_over(void **state)
{
    (void)state;
    static struct told told;
    struct pipeline *pipeline = start(&told);
    struct error error;
    for (size_t from = 0; from < 30 * RATE_HZ; from += RATE_HZ) {
        for (uint32_t node = 0; node < NODES; node++) {
            push_node(pipeline, node, from, from + RATE_HZ, false);
        }
    }
    size_t before = told.notices;
    assert_int_equal(pipeline_set_channels(pipeline, 1, channels, 3, &error), 0);
    for (size_t from = 30 * RATE_HZ; from < SAMPLES; from += RATE_HZ) {
        push_axis(pipeline, 1, 0, from, from + RATE_HZ);
        push_axis(pipeline, 1, 1, from, from + RATE_HZ);
        push_axis(pipeline, 1, 2, from, from + RATE_HZ);
        assert_int_equal(pipeline_advance(pipeline, 1, sample_ns(from + RATE_HZ), &error), 0);
        push_node(pipeline, 0, from, from + RATE_HZ, false);
        push_node(pipeline, 2, from, from + RATE_HZ, false);
    }
    finish(pipeline);
    assert_int_equal(told.notices, before + 1);
    /* Its second quiet spell ends at 50 s, so that the pulse at 48 s is seen by two. */
    for (size_t i = 0; i < told.heard.count; i++) {
        if (told.heard.finals[i].start_ns > at_s(45.0)) {
            assert_int_equal(told.heard.finals[i].node_count, 2);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_switching_a_walk_and_a_pulse_come_out_as_three),
        cmocka_unit_test(cutting_and_order_of_nodes_do_not_show),
        cmocka_unit_test(a_quiet_spell_by_hand_is_the_same_live_and_again),
        cmocka_unit_test(a_spell_by_hand_goes_on_until_it_is_ended),
        cmocka_unit_test(a_block_behind_the_others_is_refused),
        cmocka_unit_test(what_is_not_known_yet_is_an_error),
        cmocka_unit_test(a_node_that_returns_with_other_channels_starts_over),
    };
    return cmocka_run_group_tests(tests, build, NULL);
}
