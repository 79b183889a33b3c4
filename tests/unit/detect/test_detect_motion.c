/* A switch's edges, and channels that never make a disturbance.
 * Must never use a real recording or an unseeded number. Run by ctest.
 */
#include "tests/unit/test.h"

#include "tests/unit/detect/rig.h"

#define QUIET_S 10.0

/* On-change samples of value 0, 1, 0, 1 ... at these seconds. */
static void tell_changes(struct rig *rig, const double *seconds, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        int64_t time_ns = RIG_START + llround(seconds[i] * 1e9);
        int32_t value = (int32_t)(i % 2);
        struct block block = {.count = 1, .t0_ns = time_ns, .times_ns = &time_ns, .counts = &value};
        detector_push(rig->detector, &block);
    }
}

static void make_switch(struct rig *rig, const char *name, double rate_hz)
{
    rig_init(rig, name, 1, rate_hz, 100.0, 1);
    rig->channels[0].step = (struct decimal){1, 0};
    rig_detector(rig, QUIET_S, 0.5);
}

static int64_t at(double seconds)
{
    return RIG_START + llround(seconds * 1e9);
}

static void test_a_rising_edge_is_an_onset_and_a_falling_one_the_end(void **state)
{
    (void)state;
    static const double seconds[] = {0.0, 20.0, 24.5, 40.0, 41.0};
    struct rig rig;
    make_switch(&rig, "motion", 0.0);
    tell_changes(&rig, seconds, 5);
    detector_advance(rig.detector, at(42.0));
    assert_int_equal(rig.opened_count, 2);
    assert_int_equal(rig.closed_count, 1);
    assert_int64_equal(rig.closed[0].onset_ns, at(20.0));
    assert_int64_equal(rig.closed[0].end_ns, at(24.5));
    assert_int64_equal(rig.closed[0].closed_ns, at(27.5));
    assert_int64_equal(rig.closed[0].pick_sd_ns, 300000000);
    assert_true(rig.closed[0].returned);
    assert_int64_equal(rig.opened[1].end_ns, 0);
    detector_advance(rig.detector, at(44.0));
    assert_int_equal(rig.closed_count, 2);
    assert_int64_equal(detector_horizon_ns(rig.detector), at(44.0));
    rig_free(&rig);
}

static void test_rising_again_within_three_seconds_is_the_same(void **state)
{
    (void)state;
    static const double seconds[] = {0.0, 20.0, 22.0, 24.9, 26.0, 29.1, 30.0};
    struct rig rig;
    make_switch(&rig, "motion", 0.0);
    tell_changes(&rig, seconds, 7);
    detector_finish(rig.detector);
    assert_int_equal(rig.closed_count, 2);
    assert_int64_equal(rig.closed[0].onset_ns, at(20.0));
    assert_int64_equal(rig.closed[0].end_ns, at(26.0));
    assert_int64_equal(rig.closed[1].onset_ns, at(29.1));
    assert_false(rig.closed[1].returned);
    rig_free(&rig);
}

static void test_edges_of_the_quiet_spell_are_not_told(void **state)
{
    (void)state;
    static const double seconds[] = {0.0, 3.0, 5.0, 9.9, 12.0, 16.0, 17.0};
    struct rig rig;
    make_switch(&rig, "motion", 0.0);
    assert_false(detector_learnt(rig.detector));
    tell_changes(&rig, seconds, 7);
    detector_advance(rig.detector, at(30.0));
    assert_true(detector_learnt(rig.detector));
    assert_int_equal(rig.opened_count, 1);
    assert_int64_equal(rig.opened[0].onset_ns, at(16.0));
    assert_int_equal(rig.notices, 1);
    rig_free(&rig);
}

static void test_the_quiet_spell_counts_from_the_recordings_start_where_told(void **state)
{
    (void)state;
    static const uint16_t indices[] = {0};
    struct rig rig;
    make_switch(&rig, "motion", 0.0);
    struct detector_settings settings = {.mains_hz = 50.0,
                                         .baseline_s = QUIET_S,
                                         .false_onsets_per_hour = 0.5,
                                         .start_ns = RIG_START - 100 * RIG_SECOND};
    struct detector_sink sink = {&rig, rig_on_opened, rig_on_closed, NULL};
    struct error error;
    detector_free(rig.detector);
    assert_int_equal(
        detector_new(&settings, 1, rig.channels, indices, 1, &sink, &rig.detector, &error), 0);
    int64_t time_ns = RIG_START;
    int32_t value = 1;
    struct block block = {.count = 1, .t0_ns = time_ns, .times_ns = &time_ns, .counts = &value};
    detector_push(rig.detector, &block);
    detector_advance(rig.detector, at(1.0));
    assert_int_equal(rig.opened_count, 1);
    assert_int64_equal(rig.opened[0].onset_ns, RIG_START);
    rig_free(&rig);
}

static void test_the_horizon_of_a_switch_moves_without_samples(void **state)
{
    (void)state;
    static const double seconds[] = {0.0, 20.0};
    struct rig rig;
    make_switch(&rig, "motion", 0.0);
    detector_advance(rig.detector, at(-5.0));
    assert_int64_equal(detector_horizon_ns(rig.detector), at(-5.0));
    tell_changes(&rig, seconds, 2);
    detector_advance(rig.detector, at(20.1));
    assert_int_equal(rig.opened_count, 0);
    assert_int64_equal(detector_horizon_ns(rig.detector), at(20.0));
    detector_advance(rig.detector, at(20.3));
    assert_int_equal(rig.opened_count, 1);
    assert_int64_equal(detector_horizon_ns(rig.detector), at(20.3));
    rig_free(&rig);
}

static void test_a_sampled_switch_is_cut_by_a_gap(void **state)
{
    (void)state;
    struct rig rig;
    make_switch(&rig, "motion", 10.0);
    rig_add(&rig, 0, 200, 300, 1.0);
    rig_run(&rig, 0, 250);
    rig_run(&rig, 400, 500);
    assert_int_equal(rig.closed_count, 1);
    assert_int64_equal(rig.closed[0].onset_ns, at(20.0));
    assert_int64_equal(rig.closed[0].end_ns, at(24.9));
    assert_int64_equal(rig.closed[0].closed_ns, at(25.05));
    assert_false(rig.closed[0].returned);
    rig_free(&rig);
}

static void test_battery_and_clock_never_make_a_disturbance(void **state)
{
    (void)state;
    static const char *const names[] = {"battery", "clock-uncertainty"};
    for (size_t k = 0; k < 2; k++) {
        struct rig rig;
        rig_init(&rig, names[k], 1, 10.0, 100.0, 5);
        rig_noise(&rig, 10.0, 0.0);
        rig_add(&rig, 0, 500, 510, 100000.0);
        rig_detector(&rig, QUIET_S, 0.5);
        assert_true(detector_learnt(rig.detector));
        rig_run(&rig, 0, rig.capacity);
        assert_int64_equal(detector_horizon_ns(rig.detector), rig_time(&rig, rig.capacity));
        detector_finish(rig.detector);
        assert_int_equal(rig.opened_count, 0);
        rig_free(&rig);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_rising_edge_is_an_onset_and_a_falling_one_the_end),
        cmocka_unit_test(test_rising_again_within_three_seconds_is_the_same),
        cmocka_unit_test(test_edges_of_the_quiet_spell_are_not_told),
        cmocka_unit_test(test_the_quiet_spell_counts_from_the_recordings_start_where_told),
        cmocka_unit_test(test_the_horizon_of_a_switch_moves_without_samples),
        cmocka_unit_test(test_a_sampled_switch_is_cut_by_a_gap),
        cmocka_unit_test(test_battery_and_clock_never_make_a_disturbance),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
