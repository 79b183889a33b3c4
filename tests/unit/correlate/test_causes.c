/* Ordinary causes through the correlator: which fit, and the numbers that they say.
 * Must never test a reason's wording beyond its numbers. */
#include "tests/unit/correlate/house.h"

#include "collector/correlate/path.h"

static struct house house;
static struct heard heard;

static int fresh(void **state)
{
    (void)state;
    house_build(&house, 3);
    memset(&heard, 0, sizeof heard);
    return 0;
}

static const struct coincidence *only_one(void)
{
    assert_int_equal(heard.count, 1);
    return &heard.finals[0];
}

static const char *reason(const struct coincidence *coincidence, const char *name)
{
    for (size_t i = 0; i < coincidence->verdict.reason_count; i++) {
        if (strncmp(coincidence->verdict.reasons[i], name, strlen(name)) == 0) {
            return coincidence->verdict.reasons[i];
        }
    }
    fail_msg("no reason for %s", name);
    return "";
}

static void assert_says(const struct coincidence *coincidence, const char *name, const char *part)
{
    const char *text = reason(coincidence, name);
    if (!strstr(text, part)) {
        fail_msg("\"%s\" lacks \"%s\"", text, part);
    }
}

static void tell_walk(struct correlator *correlator, double pace_s)
{
    for (uint32_t node = 0; node < 3; node++) {
        house_tell(correlator, house_see(node, QUANTITY_MOTION, 33.0 + pace_s * node), 2.0);
    }
}

static void tell_pulse(struct correlator *correlator, enum band band, double step)
{
    for (uint32_t node = 0; node < 3; node++) {
        struct disturbance seen = house_see(node, QUANTITY_ELECTRIC, 10.0 + 0.01 * node);
        seen.band = band;
        seen.settle_step = step;
        house_tell(correlator, seen, 1.0);
    }
}

static void put_mark(struct correlator *correlator, int64_t id, double from, double to,
                     double noted, const char *room)
{
    struct mark mark = {
        .id = id, .start_ns = at_s(from), .end_ns = at_s(to), .noted_ns = at_s(noted)};
    struct error error;
    snprintf(mark.room, sizeof mark.room, "%s", room);
    assert_int_equal(correlator_mark(correlator, &mark, &error), 0);
}

static void a_walk_says_rooms_and_speed(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    tell_walk(correlator, 4.0);
    house_finish(correlator);
    const struct coincidence *walk = only_one();
    assert_int_equal(walk->verdict.cause, CAUSE_PERSON_WALKING);
    assert_says(walk, "person-walking: ", "hall, passage, kitchen at 1.2 m/s (1.0 to 1.5): fits");
    assert_says(walk, "mains-switching: ", "0 of 3 nodes: does not fit");
    assert_says(walk, "team: ", "no mark was made");
}

static void a_run_beyond_any_walk_is_not_walking(void **state)
{
    (void)state;
    /* Four rooms at 6 m/s: even the slow end of the interval is beyond 2.6 m/s. */
    house_build(&house, 12);
    struct correlator *correlator = house_correlator(&house, &heard);
    for (uint32_t node = 0; node < 12; node++) {
        house_tell(correlator, house_see(node, QUANTITY_MOTION, 33.0 + 5.0 / 6.0 * node), 2.0);
    }
    house_finish(correlator);
    const struct coincidence *run = only_one();
    assert_true(run->speed.low_m_s > 2.6);
    assert_says(run, "person-walking: ", "does not fit");
    assert_int_equal(run->verdict.cause, CAUSE_UNEXPLAINED);
}

static void one_motion_and_magnetic_next_door_is_walking(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    house_tell(correlator, house_see(0, QUANTITY_MOTION, 33.0), 2.0);
    house_tell(correlator, house_see(1, QUANTITY_MAGNETIC, 36.8), 2.0);
    house_finish(correlator);
    assert_int_equal(only_one()->verdict.cause, CAUSE_PERSON_WALKING);
    assert_says(only_one(), "person-walking: ", "motion and magnetic in hall, passage");
}

static void a_mains_band_step_at_most_nodes_is_switching(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    tell_pulse(correlator, BAND_MAINS, 20e-8);
    house_finish(correlator);
    assert_int_equal(only_one()->verdict.cause, CAUSE_MAINS_SWITCHING);
    assert_says(only_one(), "mains-switching: ", "onsets within 20 ms");
    assert_says(only_one(), "mains-switching: ", "3 of 3 nodes");
}

static void an_amplitude_step_counts_beyond_its_noise_only(void **state)
{
    (void)state;
    /* 10 nT of scale, 100 Hz: 25 samples in the settling time, sigma of the difference 4 nT. */
    for (int loud = 0; loud < 2; loud++) {
        (void)fresh(NULL);
        struct correlator *correlator = house_correlator(&house, &heard);
        for (uint32_t node = 0; node < 3; node++) {
            struct disturbance seen = house_see(node, QUANTITY_MAGNETIC, 10.0);
            seen.settle_peak_score = 6.0;
            seen.mains_before = 100e-9;
            seen.mains_after = loud ? 125e-9 : 118e-9;
            house_tell(correlator, seen, 1.0);
        }
        house_finish(correlator);
        assert_int_equal(only_one()->verdict.cause,
                         loud ? CAUSE_MAINS_SWITCHING : CAUSE_UNEXPLAINED);
        if (loud) {
            assert_says(only_one(), "mains-switching: ", "100 nT to 125 nT");
        }
    }
}

static void a_pulse_that_leaks_into_the_mains_band_is_not_switching(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    for (uint32_t node = 0; node < 3; node++) {
        struct disturbance seen = house_see(node, QUANTITY_MAGNETIC, 10.0);
        seen.settle_peak_score = 200.0;
        house_tell(correlator, seen, 1.0);
        seen.band = BAND_MAINS;
        seen.onset_ns += 20000000;
        seen.settle_peak_score = 12.0;
        house_tell(correlator, seen, 0.2);
    }
    house_finish(correlator);
    assert_int_equal(only_one()->verdict.cause, CAUSE_UNEXPLAINED);
    assert_says(only_one(), "mains-switching: ", "0 of 3 nodes");
}

static struct disturbance stepped_in_mains(uint32_t node, double seconds)
{
    struct disturbance seen = house_see(node, QUANTITY_MAGNETIC, seconds);
    seen.band = BAND_MAINS;
    seen.settle_peak_score = 12.0;
    seen.settle_step = 10e-8;
    return seen;
}

static void nodes_that_cannot_tell_the_mains_leave_it_to_two_that_can(void **state)
{
    (void)state;
    for (uint32_t able = 1; able < 3; able++) {
        (void)fresh(NULL);
        struct correlator *correlator = house_correlator(&house, &heard);
        for (uint32_t node = 0; node < 3; node++) {
            house_tell(correlator,
                       node < able ? stepped_in_mains(node, 10.0)
                                   : house_see(node, QUANTITY_MAGNETIC, 10.0),
                       1.0);
        }
        house_finish(correlator);
        assert_int_equal(only_one()->verdict.cause,
                         able > 1 ? CAUSE_MAINS_SWITCHING : CAUSE_UNEXPLAINED);
        assert_says(only_one(), "mains-switching: ", able > 1 ? "2 of 2 nodes" : "1 of 1 nodes");
    }
}

static void steps_at_every_node_may_be_picked_further_apart(void **state)
{
    (void)state;
    for (int all = 0; all < 2; all++) {
        (void)fresh(NULL);
        struct correlator *correlator = house_correlator(&house, &heard);
        for (uint32_t node = 0; node < 3; node++) {
            struct disturbance seen = stepped_in_mains(node, 10.0 + 0.05 * node);
            seen.settle_step = all || node > 0 ? seen.settle_step : 0.0;
            house_tell(correlator, seen, 1.0);
            if (!all && node == 0) {
                seen.band = BAND_REST;
                seen.settle_peak_score = 200.0;
                house_tell(correlator, seen, 1.0);
            }
        }
        house_finish(correlator);
        assert_int_equal(only_one()->verdict.cause,
                         all ? CAUSE_MAINS_SWITCHING : CAUSE_UNEXPLAINED);
    }
}

static void steps_too_far_apart_are_not_one_switching(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    for (uint32_t node = 0; node < 3; node++) {
        struct disturbance seen = house_see(node, QUANTITY_ELECTRIC, 10.0 + 0.09 * node);
        seen.band = BAND_MAINS;
        seen.settle_step = 20e-8;
        house_tell(correlator, seen, 1.0);
    }
    house_finish(correlator);
    assert_int_equal(only_one()->verdict.cause, CAUSE_UNEXPLAINED);
}

static void a_mark_overrules_but_the_others_still_say_their_numbers(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    put_mark(correlator, 7, 30.0, 39.5, 0.0, "kitchen"); /* the last onset is 1.5 s after it */
    tell_walk(correlator, 4.0);
    house_finish(correlator);
    assert_int_equal(only_one()->verdict.cause, CAUSE_TEAM);
    assert_int64_equal(only_one()->mark_id, 7);
    assert_says(only_one(), "person-walking: ", ": fits");
}

static void a_mark_that_misses_time_or_room_does_not_cover(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    put_mark(correlator, 1, 35.1, 50.0, 0.0, ""); /* the first onset is 2.1 s before it */
    put_mark(correlator, 2, 30.0, 50.0, 0.0, "cellar");
    tell_walk(correlator, 4.0);
    house_finish(correlator);
    assert_int_equal(only_one()->verdict.cause, CAUSE_PERSON_WALKING);
    assert_int64_equal(only_one()->mark_id, 0);
    assert_says(only_one(), "team: ", "1 of 2 marks");
}

static void a_mark_counts_from_when_it_was_noted(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    /* Told early at 10.5 s; noted at 11 s; ends at 11 s, final at about 12 s. */
    put_mark(correlator, 1, 9.0, 12.0, 11.0, "");
    tell_pulse(correlator, BAND_REST, 0.0);
    house_finish(correlator);
    assert_int_equal(heard.early_count, 1);
    assert_int_equal(heard.earlies[0].verdict.cause, CAUSE_UNEXPLAINED);
    assert_int_equal(only_one()->verdict.cause, CAUSE_TEAM);
}

/* Speed of points that scatter about 1.25 m/s as much as they are told to: a 95 % interval holds it
 * in 380 of 400 runs, sd 4.4; it widens where the points scatter more, so that it may hold more. */
static void the_speed_interval_holds_the_truth(void **state)
{
    (void)state;
    house_build(&house, 6);
    uint64_t random = 12345;
    int held = 0;
    for (int run = 0; run < 400; run++) {
        struct path_point points[6];
        for (uint32_t i = 0; i < 6; i++) {
            double sum = -6.0;
            for (int k = 0; k < 12; k++) {
                random ^= random << 13;
                random ^= random >> 7;
                random ^= random << 17;
                sum += (double)(random >> 11) / 9007199254740992.0;
            }
            double sd_s = hypot(0.3, 0.8 * PATH_RANGE_SD_M);
            points[i] = (struct path_point){i, at_s(10.0 + 4.0 * i + sd_s * sum), 300000000};
        }
        struct speed speed;
        path_fit_speed(&house.site, points, 6, &speed);
        held += speed.known && speed.low_m_s <= 1.25 && speed.high_m_s >= 1.25;
    }
    assert_true(held >= 365 && held <= 400);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(a_walk_says_rooms_and_speed, fresh),
        cmocka_unit_test_setup(a_run_beyond_any_walk_is_not_walking, fresh),
        cmocka_unit_test_setup(one_motion_and_magnetic_next_door_is_walking, fresh),
        cmocka_unit_test_setup(a_mains_band_step_at_most_nodes_is_switching, fresh),
        cmocka_unit_test_setup(an_amplitude_step_counts_beyond_its_noise_only, fresh),
        cmocka_unit_test_setup(a_pulse_that_leaks_into_the_mains_band_is_not_switching, fresh),
        cmocka_unit_test_setup(nodes_that_cannot_tell_the_mains_leave_it_to_two_that_can, fresh),
        cmocka_unit_test_setup(steps_at_every_node_may_be_picked_further_apart, fresh),
        cmocka_unit_test_setup(steps_too_far_apart_are_not_one_switching, fresh),
        cmocka_unit_test_setup(a_mark_overrules_but_the_others_still_say_their_numbers, fresh),
        cmocka_unit_test_setup(a_mark_that_misses_time_or_room_does_not_cover, fresh),
        cmocka_unit_test_setup(a_mark_counts_from_when_it_was_noted, fresh),
        cmocka_unit_test_setup(the_speed_interval_holds_the_truth, fresh),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
