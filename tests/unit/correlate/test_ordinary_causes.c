/* Magnet, radio, draught, heating, geomagnetic and fault, each on the case that it is for and on
 * the nearest one that it is not. Must never test a reason's wording beyond its numbers. */
#include "tests/unit/correlate/house.h"

static struct house house;
static struct heard heard;

static int fresh(void **state)
{
    (void)state;
    house_build(&house, 4);
    for (size_t i = 0; i < 4; i++) {
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

static void assert_says(const char *name, const char *part)
{
    const char *text = reason(last_one(), name);
    if (!strstr(text, part)) {
        fail_msg("\"%s\" lacks \"%s\"", text, part);
    }
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

static void set_peak(struct disturbance *seen, double score, double rise_s)
{
    seen->baseline_scale = 6e-8;
    seen->peak_score = score;
    seen->peak_value = score * seen->baseline_scale;
    seen->peak_ns = seen->onset_ns + (int64_t)llround(rise_s * 1e9);
}

/* A dipole that passes at `nearest_m` with `speed`: seen above 6 sigma from its onset on. */
static struct disturbance passing(uint32_t node, double nearest_m, double speed, double at)
{
    double score = 300.0 / (nearest_m * nearest_m * nearest_m);
    double rise_s = nearest_m / speed * sqrt(pow(score / 6.0, 2.0 / 3.0) - 1.0);
    struct disturbance seen = house_see(node, QUANTITY_MAGNETIC, at - rise_s);
    set_peak(&seen, score, rise_s);
    seen.settle_peak_score = 7.0;
    seen.settle_step = 1.5 * seen.baseline_scale;
    return seen;
}

static void a_dipole_on_a_path_is_a_moving_magnet(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    house_tell(correlator, passing(0, 1.0, 1.0, 20.0), 7.0);
    house_tell(correlator, passing(1, 1.6, 1.0, 25.0), 7.0);
    house_tell(correlator, passing(2, 1.2, 1.0, 30.0), 7.0);
    house_finish(correlator);
    assert_cause(CAUSE_MOVING_MAGNET);
    assert_says("moving-magnet: ", "3 of 3 strong swells, 18 uT at n1");
    assert_says("moving-magnet: ",
                "comes and goes 10.1 s after another, 1.0 m/s, dipole law x1.0: fits");
}

static void a_swell_that_the_antennas_feel_too_is_no_moving_magnet(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    for (uint32_t node = 0; node < 3; node++) {
        struct disturbance field = passing(node, 1.0 + 0.2 * node, 1.0, 20.0 + 5.0 * node);
        struct disturbance antenna = house_see(node, QUANTITY_ELECTRIC, 0.0);
        antenna.onset_ns = field.onset_ns;
        set_peak(&antenna, 40.0, 2.0);
        house_tell(correlator, field, 7.0);
        house_tell(correlator, antenna, 7.0);
    }
    house_finish(correlator);
    assert_true(last_one()->verdict.cause != CAUSE_MOVING_MAGNET);
    assert_says("moving-magnet: ", "antennas swelled too");
}

static void a_field_that_comes_at_once_everywhere_is_no_moving_magnet(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    for (uint32_t node = 0; node < 3; node++) {
        struct disturbance seen = house_see(node, QUANTITY_MAGNETIC, 20.0 + 0.004 * node);
        set_peak(&seen, 40.0, 0.5);
        seen.settle_peak_score = 38.0;
        seen.settle_step = 0.9 * seen.peak_value;
        house_tell(correlator, seen, 2.0);
    }
    house_finish(correlator);
    assert_cause(CAUSE_UNEXPLAINED);
    assert_says("moving-magnet: ", "0 of 3 strong swells");
}

static struct disturbance on_antenna(uint32_t node, double at, double score, double share)
{
    struct disturbance seen = house_see(node, QUANTITY_ELECTRIC, at);
    seen.baseline_scale = 2.5;
    seen.peak_score = score;
    seen.settle_peak_score = score;
    seen.peak_value = score * 2.5;
    seen.settle_step = share * seen.peak_value;
    seen.alike = share > 0.5 ? 0.98 : 0.4; /* a level stays, bursts jump */
    return seen;
}

static void bursts_on_antennas_alone_are_a_radio(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    house_tell(correlator, on_antenna(1, 20.0, 40.0, 0.25), 6.0);
    house_tell(correlator, on_antenna(2, 20.004, 9.0, 0.3), 6.0);
    house_finish(correlator);
    assert_cause(CAUSE_RADIO_BURST);
    assert_says("radio-burst: ", "100 V at n2, on average 25 % of it, 6.0 s; 2 antennas");
}

static void a_level_on_antennas_or_a_field_with_it_is_no_radio(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    house_tell(correlator, on_antenna(1, 20.0, 40.0, 0.9), 6.0);
    house_tell(correlator, on_antenna(2, 20.004, 19.0, 0.9), 6.0);
    house_finish(correlator);
    assert_cause(CAUSE_UNEXPLAINED);
    correlator = house_correlator(&house, &heard);
    struct disturbance field = house_see(1, QUANTITY_MAGNETIC, 20.0);
    set_peak(&field, 30.0, 0.1);
    field.settle_step = 0.9 * field.peak_value;
    house_tell(correlator, field, 1.0);
    house_tell(correlator, on_antenna(1, 20.0, 40.0, 0.25), 6.0);
    house_tell(correlator, on_antenna(2, 20.004, 9.0, 0.3), 6.0);
    house_finish(correlator);
    assert_cause(CAUSE_UNEXPLAINED);
    assert_says("radio-burst: ", "field at 1: does not fit");
}

static void a_frame_rate_that_was_measured_decides(void **state)
{
    (void)state;
    /* 216.667 Hz sampled at 250 Hz appears at 33.333 Hz (CHECKS: 3GPP TS 45.002). */
    for (int i = 0; i < 2; i++) {
        struct correlator *correlator = house_correlator(&house, &heard);
        struct disturbance seen = on_antenna(1, 20.0, 40.0, 0.25);
        seen.sampling_sd_ns = 1154701; /* 4 ms / sqrt(12) */
        seen.repeat_hz = i ? 20.0 : 33.4;
        house_tell(correlator, seen, 6.0);
        house_tell(correlator, on_antenna(2, 20.004, 9.0, 0.3), 6.0);
        house_finish(correlator);
        assert_cause(i ? CAUSE_UNEXPLAINED : CAUSE_RADIO_BURST);
    }
}

static void tell_air(struct correlator *correlator, double at, double pace_s, double drop)
{
    for (uint32_t node = 0; node < 3; node++) {
        struct disturbance seen = house_see(node, QUANTITY_TEMPERATURE, at + pace_s * node);
        seen.peak_value = -drop;
        seen.settle_step = -drop;
        house_tell(correlator, seen, 60.0);
    }
}

static void cold_in_one_room_after_another_is_a_draught(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    tell_air(correlator, 100.0, 20.0, 1.5);
    house_finish(correlator);
    assert_cause(CAUSE_DRAUGHT);
    assert_says("draught: ",
                "fell at 3 of 3 nodes, by up to 1.5 Cel, one after another at 0.25 m/s");
    correlator = house_correlator(&house, &heard);
    tell_air(correlator, 100.0, 20.0, -1.5);
    house_finish(correlator);
    assert_cause(CAUSE_UNEXPLAINED);
    assert_says("draught: ", "fell at 0 of 3 nodes");
}

static void warmth_at_even_intervals_is_a_heating_cycle(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    for (int i = 0; i < 6; i++) {
        tell_air(correlator, 100.0 + 1200.0 * i + 10.0 * (i % 2), 20.0, -1.5);
    }
    house_finish(correlator);
    assert_cause(CAUSE_HEATING_CYCLE);
    assert_says("heating-cycle: ", "6 times, every 1202 s");
    assert_int_equal(heard.finals[0].verdict.cause, CAUSE_UNEXPLAINED);
    assert_int_equal(heard.finals[3].verdict.cause, CAUSE_HEATING_CYCLE);
}

static void warmth_now_and_then_is_no_cycle(void **state)
{
    (void)state;
    static const double at[] = {100.0, 900.0, 2800.0, 3300.0, 5900.0, 7000.0};
    struct correlator *correlator = house_correlator(&house, &heard);
    for (int i = 0; i < 6; i++) {
        tell_air(correlator, at[i], 20.0, -1.5);
    }
    house_finish(correlator);
    assert_cause(CAUSE_UNEXPLAINED);
}

static void tell_earth(struct correlator *correlator, double uneven)
{
    for (uint32_t node = 0; node < 4; node++) {
        struct disturbance seen = house_see(node, QUANTITY_MAGNETIC, 100.0 + 0.05 * node);
        set_peak(&seen, 8.0 + uneven * node, 30.0);
        seen.settle_peak_score = 6.5;
        seen.settle_step = 0.5 * seen.baseline_scale;
        house_tell(correlator, seen, 60.0);
    }
}

static void the_same_slow_field_everywhere_is_the_earths(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    tell_earth(correlator, 0.1);
    house_finish(correlator);
    assert_cause(CAUSE_GEOMAGNETIC);
    assert_says("geomagnetic: ", "480 nT to 498 nT at 4 of 4 nodes within 0 s, slowly at 4");
    correlator = house_correlator(&house, &heard);
    tell_earth(correlator, 4.0);
    house_finish(correlator);
    assert_true(last_one()->verdict.cause != CAUSE_GEOMAGNETIC);
}

static void what_is_too_fast_for_the_earth_is_not_the_earths(void **state)
{
    (void)state;
    for (int fast = 0; fast < 2; fast++) {
        (void)fresh(NULL);
        struct correlator *correlator = house_correlator(&house, &heard);
        for (uint32_t node = 0; node < 4; node++) {
            struct disturbance seen = house_see(node, QUANTITY_MAGNETIC, 100.0 + 0.05 * node);
            set_peak(&seen, 30.0, fast ? 5.0 : 60.0);
            seen.settle_peak_score = 6.5;
            house_tell(correlator, seen, 120.0);
        }
        house_finish(correlator);
        assert_true((last_one()->verdict.cause == CAUSE_GEOMAGNETIC) == !fast);
    }
}

static void a_sensor_at_its_rail_leaves_no_two_witnesses(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    struct disturbance rail = house_see(0, QUANTITY_MAGNETIC, 50.0);
    rail.clipped = true;
    rail.one_sample = true;
    house_tell(correlator, rail, 0.01);
    house_tell(correlator, house_see(1, QUANTITY_MAGNETIC, 50.004), 0.5);
    house_finish(correlator);
    assert_cause(CAUSE_SENSOR_FAULT);
    assert_says("sensor-fault: ", "1 of 2 at the rail");
    assert_says("sensor-fault: ", "1 of 2 nodes sound");
}

static void a_sensor_that_never_rests_is_no_witness(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    for (int i = 0; i < 30; i++) {
        house_tell(correlator, house_see(0, QUANTITY_ELECTRIC, 50.0 + 10.0 * i), 0.1);
    }
    house_tell(correlator, house_see(1, QUANTITY_ELECTRIC, 340.004), 0.1);
    house_finish(correlator);
    assert_cause(CAUSE_SENSOR_FAULT);
    assert_says("sensor-fault: ", "7 brief onsets within 60 s, 6 of them felt nowhere else");
}

static void two_spikes_that_no_neighbour_feels_are_a_loose_contact(void **state)
{
    (void)state;
    for (int lasting = 0; lasting < 2; lasting++) {
        (void)fresh(NULL);
        struct correlator *correlator = house_correlator(&house, &heard);
        for (int i = 0; i < 2; i++) {
            struct disturbance spike = house_see(0, QUANTITY_ELECTRIC, 50.0 + 8.0 * i);
            set_peak(&spike, 200.0, 0.0);
            spike.half_s = lasting ? 0.4 : 0.01;
            house_tell(correlator, spike, 0.4);
        }
        house_tell(correlator, house_see(1, QUANTITY_MAGNETIC, 58.004), 0.4);
        house_finish(correlator);
        assert_true((last_one()->verdict.cause == CAUSE_SENSOR_FAULT) == !lasting);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(a_dipole_on_a_path_is_a_moving_magnet, fresh),
        cmocka_unit_test_setup(a_swell_that_the_antennas_feel_too_is_no_moving_magnet, fresh),
        cmocka_unit_test_setup(a_field_that_comes_at_once_everywhere_is_no_moving_magnet, fresh),
        cmocka_unit_test_setup(bursts_on_antennas_alone_are_a_radio, fresh),
        cmocka_unit_test_setup(a_level_on_antennas_or_a_field_with_it_is_no_radio, fresh),
        cmocka_unit_test_setup(a_frame_rate_that_was_measured_decides, fresh),
        cmocka_unit_test_setup(cold_in_one_room_after_another_is_a_draught, fresh),
        cmocka_unit_test_setup(warmth_at_even_intervals_is_a_heating_cycle, fresh),
        cmocka_unit_test_setup(warmth_now_and_then_is_no_cycle, fresh),
        cmocka_unit_test_setup(the_same_slow_field_everywhere_is_the_earths, fresh),
        cmocka_unit_test_setup(what_is_too_fast_for_the_earth_is_not_the_earths, fresh),
        cmocka_unit_test_setup(a_sensor_at_its_rail_leaves_no_two_witnesses, fresh),
        cmocka_unit_test_setup(a_sensor_that_never_rests_is_no_witness, fresh),
        cmocka_unit_test_setup(two_spikes_that_no_neighbour_feels_are_a_loose_contact, fresh),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
