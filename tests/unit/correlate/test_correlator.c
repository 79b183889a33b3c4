/* What belongs together and what does not: prompt coincidences, walks, and both at once.
 * Must never depend on a clock. */
#include "tests/unit/correlate/house.h"

static struct house house;
static struct heard heard;

static int fresh(void **state)
{
    (void)state;
    house_build(&house, 3);
    memset(&heard, 0, sizeof heard);
    return 0;
}

static void tell_mains(struct correlator *correlator, double seconds)
{
    for (uint32_t node = 0; node < 3; node++) {
        for (int quantity = 0; quantity < 2; quantity++) {
            struct disturbance seen =
                house_see(node, quantity ? QUANTITY_ELECTRIC : QUANTITY_MAGNETIC,
                          seconds + 0.004 * node + 0.01 * quantity);
            seen.band = BAND_MAINS;
            seen.settle_step = 20e-8;
            seen.mains_before = 1e-7;
            seen.mains_after = 3e-7;
            house_tell(correlator, seen, 10.0);
            seen.band = BAND_REST;
            seen.onset_ns += 3000000;
            house_tell(correlator, seen, 0.1);
        }
    }
}

static void tell_walk(struct correlator *correlator, double seconds)
{
    for (uint32_t node = 0; node < 3; node++) {
        house_tell(correlator, house_see(node, QUANTITY_MOTION, seconds + 4.0 * node), 3.0);
    }
}

static void tell_pulse(struct correlator *correlator, double seconds)
{
    for (uint32_t node = 0; node < 3; node++) {
        struct disturbance field = house_see(node, QUANTITY_MAGNETIC, seconds + 0.003 * node);
        field.settle_step = 15e-8; /* it stands for most of the settling time */
        house_tell(correlator, field, 0.4);
        house_tell(correlator, house_see(node, QUANTITY_ELECTRIC, seconds + 0.005 * node), 0.4);
    }
}

static void a_switching_a_walk_and_a_pulse_stay_three(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    tell_mains(correlator, 24.0);
    tell_walk(correlator, 33.0);
    tell_pulse(correlator, 48.0);
    house_finish(correlator);
    assert_int_equal(heard.count, 3);
    assert_false(heard.out_of_order);
    const struct coincidence *mains = NULL;
    const struct coincidence *walk = NULL;
    const struct coincidence *pulse = NULL;
    for (size_t i = 0; i < 3; i++) {
        const struct coincidence *found = &heard.finals[i];
        mains = found->verdict.cause == CAUSE_MAINS_SWITCHING ? found : mains;
        walk = found->verdict.cause == CAUSE_PERSON_WALKING ? found : walk;
        pulse = found->verdict.cause == CAUSE_UNEXPLAINED ? found : pulse;
    }
    assert_non_null(mains);
    assert_non_null(walk);
    assert_non_null(pulse);
    assert_int_equal(mains->kind, COINCIDENCE_PROMPT);
    assert_int_equal(mains->member_count, 12);
    assert_int_equal(mains->witness_count, 6);
    assert_int_equal(mains->node_count, 3);
    assert_int_equal(walk->kind, COINCIDENCE_TRAVELLING);
    assert_int_equal(walk->member_count, 3);
    assert_int_equal(walk->path_count, 3);
    assert_int_equal(walk->path[2].room, 2);
    assert_true(walk->speed.known);
    assert_close(walk->speed.value_m_s, 1.25, 1e-6);
    assert_true(walk->speed.low_m_s < 1.1 && walk->speed.high_m_s > 1.5);
    assert_true(walk->first_known);
    assert_int_equal(walk->order[0].node, 0);
    assert_false(walk->together);
    assert_int_equal(pulse->kind, COINCIDENCE_PROMPT);
    assert_int_equal(pulse->member_count, 6);
    assert_true(pulse->together);
    assert_false(pulse->first_known);
    assert_true(pulse->chance.per_night < house.site.alert_limit_per_night);
}

static void a_walk_with_magnetic_and_electric_answers_is_one(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    tell_mains(correlator, 24.0);
    tell_walk(correlator, 33.0);
    for (uint32_t node = 0; node < 3; node++) {
        double there = 33.0 + 4.0 * node;
        house_tell(correlator, house_see(node, QUANTITY_MAGNETIC, there - 1.4), 2.0);
        house_tell(correlator, house_see(node, QUANTITY_ELECTRIC, there - 0.6), 2.0);
    }
    tell_pulse(correlator, 48.0);
    house_finish(correlator);
    assert_int_equal(heard.count, 3);
    size_t walks = 0;
    for (size_t i = 0; i < heard.count; i++) {
        if (heard.finals[i].verdict.cause == CAUSE_PERSON_WALKING) {
            walks++;
            assert_int_equal(heard.finals[i].member_count, 9);
            assert_close(heard.finals[i].speed.value_m_s, 1.25, 1e-6);
        }
    }
    assert_int_equal(walks, 1);
}

static void a_pulse_while_somebody_walks_past_keeps_apart(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    tell_walk(correlator, 33.0);
    tell_pulse(correlator, 36.9); /* 100 ms before the motion in the passage */
    house_finish(correlator);
    assert_int_equal(heard.count, 2);
    size_t walk = heard.finals[0].kind == COINCIDENCE_TRAVELLING ? 0 : 1;
    assert_int_equal(heard.finals[walk].kind, COINCIDENCE_TRAVELLING);
    assert_int_equal(heard.finals[walk].member_count, 3);
    assert_int_equal(heard.finals[1 - walk].kind, COINCIDENCE_PROMPT);
    assert_int_equal(heard.finals[1 - walk].member_count, 6);
}

static void a_walker_may_come_back_and_stays_one(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    house.doors[2] = (struct site_door){{0, 2}, {2.5, 2.0}};
    tell_walk(correlator, 33.0);
    house_tell(correlator, house_see(0, QUANTITY_MOTION, 49.0), 3.0);
    house_finish(correlator);
    assert_int_equal(heard.count, 1);
    assert_int_equal(heard.finals[0].path_count, 4);
    assert_int_equal(heard.finals[0].node_count, 3);
}

static void a_hop_three_times_as_fast_is_not_the_same_traveller(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    house_tell(correlator, house_see(0, QUANTITY_MAGNETIC, 10.0), 1.0);
    house_tell(correlator, house_see(1, QUANTITY_MAGNETIC, 14.0), 1.0);
    house_tell(correlator, house_see(2, QUANTITY_MAGNETIC, 15.3), 1.0); /* 3.85 m/s after 1.25 */
    house_tell(correlator, house_see(0, QUANTITY_MAGNETIC, 500.0), 1.0);
    house_tell(correlator, house_see(1, QUANTITY_MAGNETIC, 504.0), 1.0);
    house_tell(correlator, house_see(2, QUANTITY_MAGNETIC, 505.4), 1.0); /* 3.57 m/s */
    house_finish(correlator);
    assert_int_equal(heard.count, 2);
    assert_int_equal(heard.finals[0].node_count, 2);
    assert_int_equal(heard.finals[1].node_count, 3);
}

static void straight_back_is_no_second_hop(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    house_tell(correlator, house_see(0, QUANTITY_MAGNETIC, 10.0), 1.0);
    house_tell(correlator, house_see(1, QUANTITY_MAGNETIC, 14.0), 1.0);
    house_tell(correlator, house_see(0, QUANTITY_MAGNETIC, 18.0), 1.0);
    house_finish(correlator);
    assert_int_equal(heard.count, 1);
    assert_int_equal(heard.finals[0].member_count, 2);
}

static void one_node_alone_is_no_coincidence(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    house_tell(correlator, house_see(1, QUANTITY_MAGNETIC, 10.0), 1.0);
    house_tell(correlator, house_see(1, QUANTITY_ELECTRIC, 10.1), 1.0);
    house_finish(correlator);
    assert_int_equal(heard.told_count, 0);
    assert_int_equal(heard.disturbances, 2);
    assert_int_equal(heard.ended, 2);
}

static void the_gate_is_as_wide_as_told_and_no_wider(void **state)
{
    (void)state;
    /* Two clocks of 1 ms: 250 ms + 2 * sqrt(2) ms. Magnetic 252.9 ms apart can't have travelled
     * 5 m either. */
    struct correlator *correlator = house_correlator(&house, &heard);
    house_tell(correlator, house_see(0, QUANTITY_MAGNETIC, 10.0), 1.0);
    house_tell(correlator, house_see(1, QUANTITY_MAGNETIC, 10.2528), 1.0);
    house_tell(correlator, house_see(0, QUANTITY_MAGNETIC, 500.0), 1.0);
    house_tell(correlator, house_see(1, QUANTITY_MAGNETIC, 500.2529), 1.0);
    house_finish(correlator);
    assert_int_equal(heard.count, 1);
    assert_int64_equal(heard.finals[0].start_ns, at_s(10.0));
    assert_int_equal(heard.finals[0].kind, COINCIDENCE_PROMPT);
}

static void a_prompt_coincidence_is_told_early_and_again_when_final(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    struct error error;
    for (uint32_t node = 0; node < 3; node++) {
        struct disturbance seen = house_see(node, QUANTITY_MAGNETIC, 48.0);
        assert_int_equal(correlator_open(correlator, &seen, &error), 0);
    }
    assert_int_equal(correlator_advance(correlator, at_s(48.24), &error), 0);
    assert_int_equal(heard.told_count, 0);
    assert_int_equal(correlator_advance(correlator, at_s(48.3), &error), 0);
    assert_int_equal(heard.early_count, 1);
    assert_int64_equal(heard.earlies[0].id, 1);
    assert_int_equal(correlator_advance(correlator, at_s(167.9), &error), 0);
    assert_int_equal(heard.count, 0);
    /* None has ended: final two minutes after the last onset. */
    assert_int_equal(correlator_advance(correlator, at_s(168.1), &error), 0);
    assert_int_equal(heard.count, 1);
    assert_int64_equal(heard.finals[0].id, 1);
    assert_int64_equal(heard.finals[0].end_ns, at_s(48.0));
    correlator_free(correlator);
}

static void a_walk_in_the_making_raises_no_prompt_coincidence(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    struct error error;
    house.nodes[1].room = 0; /* both in the hall */
    house_tell(correlator, house_see(0, QUANTITY_MOTION, 10.0), 3.0);
    house_tell(correlator, house_see(1, QUANTITY_MOTION, 10.1), 3.0);
    assert_int_equal(correlator_advance(correlator, at_s(12.0), &error), 0);
    assert_int_equal(heard.told_count, 0);
    house_finish(correlator);
    assert_int_equal(heard.count, 1);
    assert_int_equal(heard.finals[0].verdict.cause, CAUSE_PERSON_WALKING);
}

static void cool_air_makes_a_slow_chain(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    for (uint32_t node = 0; node < 3; node++) {
        house_tell(correlator, house_see(node, QUANTITY_TEMPERATURE, 10.0 + 25.0 * node), 60.0);
    }
    house_finish(correlator);
    assert_int_equal(heard.count, 1);
    assert_int_equal(heard.finals[0].kind, COINCIDENCE_TRAVELLING);
    assert_close(heard.finals[0].speed.value_m_s, 0.2, 1e-6);
    assert_int_equal(heard.finals[0].verdict.cause, CAUSE_UNEXPLAINED);
}

static void a_node_of_another_site_is_refused(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    struct error error;
    struct disturbance seen = house_see(3, QUANTITY_MAGNETIC, 1.0);
    assert_int_equal(correlator_open(correlator, &seen, &error), -1);
    assert_error(error, ERROR_RANGE, "node 3");
    assert_int_equal(correlator_watch(correlator, 3, "magnetic", HOUSE_T0, &error), -1);
    correlator_free(correlator);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(a_switching_a_walk_and_a_pulse_stay_three, fresh),
        cmocka_unit_test_setup(a_walk_with_magnetic_and_electric_answers_is_one, fresh),
        cmocka_unit_test_setup(a_pulse_while_somebody_walks_past_keeps_apart, fresh),
        cmocka_unit_test_setup(a_walker_may_come_back_and_stays_one, fresh),
        cmocka_unit_test_setup(a_hop_three_times_as_fast_is_not_the_same_traveller, fresh),
        cmocka_unit_test_setup(straight_back_is_no_second_hop, fresh),
        cmocka_unit_test_setup(one_node_alone_is_no_coincidence, fresh),
        cmocka_unit_test_setup(the_gate_is_as_wide_as_told_and_no_wider, fresh),
        cmocka_unit_test_setup(a_prompt_coincidence_is_told_early_and_again_when_final, fresh),
        cmocka_unit_test_setup(a_walk_in_the_making_raises_no_prompt_coincidence, fresh),
        cmocka_unit_test_setup(cool_air_makes_a_slow_chain, fresh),
        cmocka_unit_test_setup(a_node_of_another_site_is_refused, fresh),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
