/* Causes of what single members hardly show: bursts that are up for most of the time, reach an
 * antenna through the mains' window alone or come again; a swell of the earth's that few can see.
 * Must never test wording beyond numbers. */
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

/* The last that began at `seconds`, as it was called at the end. */
static enum cause_kind cause_at(double seconds)
{
    for (size_t i = heard.count; i > 0; i--) {
        const struct coincidence *one = &heard.finals[i - 1];
        if (llabs(one->start_ns - at_s(seconds)) < 1000000) {
            return one->verdict.cause;
        }
    }
    fail_msg("nothing began at %g s", seconds);
    return CAUSE_UNEXPLAINED;
}

static struct disturbance on_antenna(uint32_t node, double at, double score, double share)
{
    struct disturbance seen = house_see(node, QUANTITY_ELECTRIC, at);
    seen.baseline_scale = 2.5;
    seen.peak_score = score;
    seen.settle_peak_score = score;
    seen.peak_value = score * 2.5;
    seen.settle_step = share * seen.peak_value;
    seen.alike = 0.4;
    return seen;
}

static void what_jumps_is_bursts_also_where_it_is_up_for_most_of_the_time(void **state)
{
    (void)state;
    static const double alike[] = {0.4, 0.98, -0.9};
    for (size_t i = 0; i < 3; i++) {
        struct correlator *correlator = house_correlator(&house, &heard);
        for (uint32_t node = 0; node < 2; node++) {
            struct disturbance seen = on_antenna(node, 20.0 + 0.004 * node, 40.0, 0.7);
            seen.alike = alike[i];
            house_tell(correlator, seen, 4.0);
        }
        house_finish(correlator);
        assert_int_equal(cause_at(20.0), i ? CAUSE_UNEXPLAINED : CAUSE_RADIO_BURST);
        (void)fresh(NULL);
    }
}

static void an_antenna_that_shows_it_at_the_mains_alone_took_part(void **state)
{
    (void)state;
    for (int field = 0; field < 2; field++) {
        struct correlator *correlator = house_correlator(&house, &heard);
        house_tell(correlator, on_antenna(1, 20.0, 40.0, 0.25), 4.0);
        house_tell(correlator, on_antenna(2, 20.004, 9.0, 0.3), 4.0);
        struct disturbance far = on_antenna(0, 20.008, 8.0, 0.1);
        far.band = BAND_MAINS;
        if (field) { /* what else a node saw is something else */
            far = house_see(0, QUANTITY_SOUND, 20.008);
        }
        house_tell(correlator, far, 1.0);
        house_finish(correlator);
        assert_int_equal(cause_at(20.0), field ? CAUSE_UNEXPLAINED : CAUSE_RADIO_BURST);
        (void)fresh(NULL);
    }
}

static void weak_ones_that_come_again_and_again_at_several_antennas_are_a_radios(void **state)
{
    (void)state;
    for (int once = 0; once < 2; once++) {
        struct correlator *correlator = house_correlator(&house, &heard);
        for (int i = 0; i < (once ? 1 : 3); i++) {
            double at = 20.0 + 2.5 * i;
            house_tell(correlator, on_antenna(1, at, 6.5, 0.1), 0.1);
            house_tell(correlator, on_antenna(2, at + 0.02, 6.5, 0.1), 0.1);
        }
        house_finish(correlator);
        assert_int_equal(cause_at(20.0), once ? CAUSE_UNEXPLAINED : CAUSE_RADIO_BURST);
        (void)fresh(NULL);
    }
}

static struct disturbance swell(uint32_t node, double at, double scale)
{
    struct disturbance seen = house_see(node, QUANTITY_MAGNETIC, at);
    seen.baseline_scale = scale;
    seen.peak_score = 9.0;
    seen.settle_peak_score = 5.0;
    seen.peak_value = 9.0 * scale;
    seen.peak_ns = seen.onset_ns + 20 * INT64_C(1000000000);
    seen.settle_step = 0.1 * seen.peak_value;
    seen.alike = 0.9;
    return seen;
}

/* Two of five swell alike for long. The others told something of their own before: at thresholds
 * below that swell, or above. */
static void two_are_the_earths_where_nobody_else_could_see_it(void **state)
{
    (void)state;
    for (int blind = 0; blind < 2; blind++) {
        struct correlator *correlator = house_correlator(&house, &heard);
        for (uint32_t node = 2; node < 5; node++) {
            struct disturbance other = house_see(node, QUANTITY_MAGNETIC, 100.0 * node);
            other.baseline_scale = blind ? 2e-7 : 4e-8;
            house_tell(correlator, other, 0.3);
        }
        house_tell(correlator, swell(0, 1000.0, 4e-8), 30.0);
        house_tell(correlator, swell(1, 1004.0, 4.2e-8), 30.0);
        house_finish(correlator);
        assert_int_equal(cause_at(1000.0), blind ? CAUSE_GEOMAGNETIC : CAUSE_UNEXPLAINED);
        (void)fresh(NULL);
    }
}

/* Three of eight rooms, once: warming gently together is a heater's, cooling is not. */
static void three_rooms_that_warm_gently_together_are_heated(void **state)
{
    (void)state;
    for (int cool = 0; cool < 2; cool++) {
        house_build(&house, 8);
        for (size_t i = 0; i < 8; i++) {
            house.nodes[i].channel_count = 1;
            house.nodes[i].channels[0].quantity = QUANTITY_TEMPERATURE;
        }
        struct correlator *correlator = house_correlator(&house, &heard);
        for (uint32_t node = 0; node < 3; node++) {
            struct disturbance seen = house_see(node, QUANTITY_TEMPERATURE, 500.0 + 12.0 * node);
            seen.threshold = 4.0;
            seen.peak_score = 5.0;
            seen.peak_value = cool ? -0.2 : 0.2;
            house_tell(correlator, seen, 90.0);
        }
        house_finish(correlator);
        assert_true((cause_at(500.0) == CAUSE_HEATING_CYCLE) == !cool);
        (void)fresh(NULL);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(what_jumps_is_bursts_also_where_it_is_up_for_most_of_the_time,
                               fresh),
        cmocka_unit_test_setup(an_antenna_that_shows_it_at_the_mains_alone_took_part, fresh),
        cmocka_unit_test_setup(weak_ones_that_come_again_and_again_at_several_antennas_are_a_radios,
                               fresh),
        cmocka_unit_test_setup(three_rooms_that_warm_gently_together_are_heated, fresh),
        cmocka_unit_test_setup(two_are_the_earths_where_nobody_else_could_see_it, fresh),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
