/* Causes by how a field turned or alternated, and by what came after: each on the case that it is
 * for and on the nearest one that it is not. Must never test wording beyond numbers. */
#include "tests/unit/correlate/house.h"

static struct house house;
static struct heard heard;

static int fresh(void **state)
{
    (void)state;
    house_build(&house, 5);
    for (size_t i = 0; i < 5; i++) {
        house.nodes[i].channel_count = 1;
        house.nodes[i].channels[0].quantity = QUANTITY_MAGNETIC;
    }
    memset(&heard, 0, sizeof heard);
    return 0;
}

static const struct coincidence *last_one(void)
{
    assert_true(heard.count > 0);
    return &heard.finals[heard.count - 1];
}

static void assert_cause(enum cause_kind cause)
{
    if (last_one()->verdict.cause != cause) {
        for (size_t i = 0; i < last_one()->verdict.reason_count; i++) {
            print_message("%s\n", last_one()->verdict.reasons[i]);
        }
        fail_msg("%s instead of %s", cause_text(last_one()->verdict.cause), cause_text(cause));
    }
}

/* A field that stands within a quarter of a second, `turn` across what it is along. */
static struct disturbance sharp_field(uint32_t node, double at, double score, double turn)
{
    struct disturbance seen = house_see(node, QUANTITY_MAGNETIC, at);
    seen.baseline_scale = 6e-8;
    seen.peak_score = score;
    seen.settle_peak_score = score;
    seen.peak_value = score * seen.baseline_scale;
    seen.settle_step = 0.9 * seen.peak_value;
    seen.along_score = 0.5 * score;
    seen.across_score = turn * seen.along_score;
    seen.across_least = 0.6;
    seen.alike = 1.0;
    return seen;
}

static void tell_fields(double turn, double score)
{
    struct correlator *correlator = house_correlator(&house, &heard);
    for (uint32_t node = 0; node < 3; node++) {
        house_tell(correlator, sharp_field(node, 20.0 + 0.004 * node, score, turn), 3.0);
    }
    house_finish(correlator);
}

static void a_field_that_turns_is_a_moving_magnets_and_one_that_stays_is_not(void **state)
{
    (void)state;
    tell_fields(0.4, 60.0);
    assert_cause(CAUSE_MOVING_MAGNET);
    tell_fields(0.0, 60.0);
    assert_cause(CAUSE_UNEXPLAINED);
}

static void what_is_felt_weakly_beside_a_passing_magnet_is_its_own(void **state)
{
    (void)state;
    for (int turns = 0; turns < 2; turns++) {
        (void)fresh(NULL);
        struct correlator *correlator = house_correlator(&house, &heard);
        house_tell(correlator, sharp_field(4, 17.0, 80.0, turns ? 0.4 : 0.0), 6.0);
        house_tell(correlator, sharp_field(0, 20.0, 6.5, 0.0), 0.3);
        house_tell(correlator, sharp_field(1, 20.004, 6.5, 0.0), 0.3);
        house_finish(correlator);
        assert_cause(turns ? CAUSE_MOVING_MAGNET : CAUSE_UNEXPLAINED);
    }
}

/* Motion in three rooms, and beside it a field that turned at two of them, at once. */
static void a_field_that_turns_where_somebody_walks_is_what_he_carries(void **state)
{
    (void)state;
    for (int walks = 0; walks < 2; walks++) {
        (void)fresh(NULL);
        struct correlator *correlator = house_correlator(&house, &heard);
        for (uint32_t node = 0; node < 3 && walks; node++) {
            house_tell(correlator, house_see(node, QUANTITY_MOTION, 20.0 + 3.0 * node), 3.0);
        }
        house_tell(correlator, sharp_field(0, 21.5, 30.0, 0.4), 2.0);
        house_tell(correlator, sharp_field(1, 21.504, 30.0, 0.4), 2.0);
        house_finish(correlator);
        for (size_t i = 0; i < heard.count; i++) {
            assert_int_equal(heard.finals[i].verdict.cause,
                             walks ? CAUSE_PERSON_WALKING : CAUSE_MOVING_MAGNET);
        }
    }
}

static void one_motion_and_a_field_that_stays_next_door_are_no_walk(void **state)
{
    (void)state;
    for (int turns = 0; turns < 2; turns++) {
        (void)fresh(NULL);
        struct correlator *correlator = house_correlator(&house, &heard);
        house_tell(correlator, house_see(0, QUANTITY_MOTION, 20.0), 3.0);
        house_tell(correlator, sharp_field(1, 23.8, 60.0, turns ? 0.4 : 0.0), 2.0);
        house_finish(correlator);
        assert_cause(turns ? CAUSE_PERSON_WALKING : CAUSE_UNEXPLAINED);
    }
}

/* 50 Hz at 100 samples a second stands at half the rate: it alternates. */
static void two_nodes_that_alternate_as_the_mains_would_are_a_switched_load(void **state)
{
    (void)state;
    for (int alternates = 0; alternates < 2; alternates++) {
        (void)fresh(NULL);
        struct correlator *correlator = house_correlator(&house, &heard);
        for (uint32_t node = 0; node < 2; node++) {
            struct disturbance seen = sharp_field(node, 20.0 + 0.004 * node, 30.0, 0.0);
            seen.settle_step = 0.05 * seen.peak_value;
            seen.alike = alternates ? -0.9 : 0.95;
            house_tell(correlator, seen, 8.0);
        }
        house_finish(correlator);
        assert_cause(alternates ? CAUSE_MAINS_SWITCHING : CAUSE_UNEXPLAINED);
    }
}

static struct disturbance spike(uint32_t node, double at)
{
    struct disturbance seen = house_see(node, QUANTITY_ELECTRIC, at);
    seen.peak_score = 200.0;
    seen.half_s = 0.01;
    return seen;
}

static void what_follows_explains_a_contacts_first_spike(void **state)
{
    (void)state;
    for (int more = 0; more < 2; more++) {
        (void)fresh(NULL);
        struct correlator *correlator = house_correlator(&house, &heard);
        house_tell(correlator, spike(0, 50.0), 0.05);
        house_tell(correlator, sharp_field(1, 50.004, 60.0, 0.0), 0.4);
        for (int i = 0; i < 6 && more; i++) {
            house_tell(correlator, spike(0, 90.0 + i), 0.05);
        }
        house_finish(correlator);
        assert_int_equal(heard.finals[0].verdict.cause, CAUSE_UNEXPLAINED);
        assert_false(heard.finals[0].again);
        assert_int_equal(heard.count, more ? 2 : 1);
        assert_cause(more ? CAUSE_SENSOR_FAULT : CAUSE_UNEXPLAINED);
        assert_int_equal(last_one()->again, more);
        assert_int64_equal(last_one()->id, heard.finals[0].id);
        assert_close(last_one()->chance.per_night, heard.finals[0].chance.per_night, 0.0);
    }
}

/* The looks come in the order of the data, so another rhythm of calls changes nothing. */
static void a_second_look_waits_for_its_time(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    struct error error;
    house_tell(correlator, spike(0, 50.0), 0.05);
    house_tell(correlator, sharp_field(1, 50.004, 60.0, 0.0), 0.4);
    house_tell(correlator, spike(0, 90.0), 0.05);
    assert_int_equal(correlator_advance(correlator, at_s(200.0), &error), 0);
    assert_int_equal(heard.count, 1);
    assert_int_equal(correlator_advance(correlator, at_s(202.0), &error), 0);
    assert_int_equal(heard.count, 2);
    assert_cause(CAUSE_SENSOR_FAULT);
    house_finish(correlator);
    assert_int_equal(heard.count, 2);
}

/* n1 never rests; it links a field at n2 to something at n3 on the way. */
static void a_restless_node_makes_no_witness_of_what_is_weak(void **state)
{
    (void)state;
    for (int strong = 0; strong < 2; strong++) {
        (void)fresh(NULL);
        struct correlator *correlator = house_correlator(&house, &heard);
        house_tell(correlator, spike(0, 50.0), 0.05);
        house_tell(correlator, sharp_field(1, 53.0, 60.0, 0.0), 0.4);
        house_tell(correlator, sharp_field(2, 57.0, strong ? 30.0 : 6.2, 0.0), 0.4);
        for (int i = 0; i < 6; i++) {
            house_tell(correlator, spike(0, 90.0 + i), 0.05);
        }
        house_finish(correlator);
        assert_int_equal(heard.finals[0].node_count, 3);
        assert_cause(strong ? CAUSE_UNEXPLAINED : CAUSE_SENSOR_FAULT);
    }
}

static void spikes_that_another_node_feels_too_are_no_contact(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    for (int i = 0; i < 6; i++) {
        house_tell(correlator, spike(0, 50.0 + i), 0.05);
        house_tell(correlator, spike(1, 50.003 + i), 0.05);
    }
    house_finish(correlator);
    for (size_t i = 0; i < heard.count; i++) {
        assert_true(heard.finals[i].verdict.cause != CAUSE_SENSOR_FAULT);
    }
}

/* 5 m from node to node in 7 s: faster than a draught that is felt, slower than a gale. */
static void a_sharp_front_of_cold_air_may_run_faster(void **state)
{
    (void)state;
    for (int sharp = 0; sharp < 2; sharp++) {
        (void)fresh(NULL);
        struct correlator *correlator = house_correlator(&house, &heard);
        for (uint32_t node = 0; node < 4; node++) {
            struct disturbance seen = house_see(node, QUANTITY_TEMPERATURE, 100.0 + 7.0 * node);
            seen.peak_value = -1.0;
            seen.peak_score = sharp ? 30.0 : 8.0;
            house_tell(correlator, seen, 60.0);
        }
        house_finish(correlator);
        assert_true((last_one()->verdict.cause == CAUSE_DRAUGHT) == (sharp != 0));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(a_field_that_turns_is_a_moving_magnets_and_one_that_stays_is_not,
                               fresh),
        cmocka_unit_test_setup(what_is_felt_weakly_beside_a_passing_magnet_is_its_own, fresh),
        cmocka_unit_test_setup(a_field_that_turns_where_somebody_walks_is_what_he_carries, fresh),
        cmocka_unit_test_setup(one_motion_and_a_field_that_stays_next_door_are_no_walk, fresh),
        cmocka_unit_test_setup(two_nodes_that_alternate_as_the_mains_would_are_a_switched_load,
                               fresh),
        cmocka_unit_test_setup(what_follows_explains_a_contacts_first_spike, fresh),
        cmocka_unit_test_setup(a_second_look_waits_for_its_time, fresh),
        cmocka_unit_test_setup(a_restless_node_makes_no_witness_of_what_is_weak, fresh),
        cmocka_unit_test_setup(spikes_that_another_node_feels_too_are_no_contact, fresh),
        cmocka_unit_test_setup(a_sharp_front_of_cold_air_may_run_faster, fresh),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
