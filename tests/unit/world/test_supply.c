/* The supply's phase and the wires' currents. */
#include "tests/unit/world/house.h"

#include "node/world/supply.h"

#define WIRES                                                                                      \
    ",\"wires\":[{\"id\":\"feed\",\"through_m\":[0,0,0],\"along\":[0,0,1],\"standing_amps\":1},"   \
    "{\"id\":\"ring\",\"through_m\":[9,1,0],\"along\":[0,1,0],\"fed_by\":\"feed\"}]"

static void a_load_flows_on_its_wire_and_on_what_feeds_it(void **state)
{
    (void)state;
    struct house house;
    struct supply supply;
    struct error error = {0};
    house_build(&house, HOUSE_QUIET(WIRES ",\"events\":[{\"at_s\":10,\"kind\":\"load\","
                                          "\"wire\":\"ring\",\"amps\":8,\"for_s\":5}]"));
    assert_int_equal(supply_init(&supply, house.script, &error), 0);
    const int64_t on = 10 * NS_PER_S;
    const int64_t off = 15 * NS_PER_S;
    assert_close(supply_wire_amps(&supply, 0, 1, on - 1), 1.0, 1e-12);
    assert_close(supply_wire_amps(&supply, 0, 1, on), 9.0, 1e-12);
    assert_close(supply_wire_amps(&supply, 1, 1, off - 1), 8.0, 1e-12);
    assert_close(supply_wire_amps(&supply, 1, 1, off), 0.0, 1e-12);
    assert_close(supply_total_amps(&supply, on), 9.0, 1e-12);
    int64_t last;
    int64_t next;
    supply_switch_bounds(&supply, on, &last, &next);
    assert_int64_equal(last, on);
    assert_int64_equal(next, off);
    supply_switch_bounds(&supply, off, &last, &next);
    assert_int64_equal(next, INT64_MAX);
    supply_free(&supply);
    house_free(&house);
}

static void harmonics_belong_to_standing_loads_only(void **state)
{
    (void)state;
    struct house house;
    struct supply supply;
    struct error error = {0};
    house_build(&house, HOUSE_QUIET(WIRES ",\"events\":[{\"at_s\":10,\"kind\":\"load\","
                                          "\"wire\":\"ring\",\"amps\":8}]"));
    assert_int_equal(supply_init(&supply, house.script, &error), 0);
    assert_close(supply_wire_amps(&supply, 0, 3, 20 * NS_PER_S), 0.1, 1e-12);
    assert_close(supply_wire_amps(&supply, 1, 3, 20 * NS_PER_S), 0.0, 1e-12);
    supply_free(&supply);
    house_free(&house);
}

/* EN 50160, frequency in interconnected systems: 50 Hz +- 1 % for 99.5 % of a year. */
static void the_frequency_wanders_slowly_within_what_the_grid_allows(void **state)
{
    (void)state;
    struct house house;
    struct supply supply;
    struct error error = {0};
    house_build(&house, "{\"version\":1,\"seed\":3,\"mains\":{\"wander_hz\":0.02}}");
    assert_int_equal(supply_init(&supply, house.script, &error), 0);
    double before = 50.0;
    double squares = 0.0;
    for (int64_t s = 0; s < 28800; s++) {
        double hz =
            supply_cycles(&supply, (s + 1) * NS_PER_S) - supply_cycles(&supply, s * NS_PER_S);
        assert_true(hz > 49.5 && hz < 50.5);
        assert_true(s == 0 || fabs(hz - before) < 0.01);
        squares += (hz - 50.0) * (hz - 50.0);
        before = hz;
    }
    assert_close(sqrt(squares / 28800.0), 0.02, 0.003);
    supply_free(&supply);
    house_free(&house);
}

static void a_cycle_switches_on_and_off_with_its_jitter(void **state)
{
    (void)state;
    struct house house;
    struct supply supply;
    struct error error = {0};
    house_build(&house, HOUSE_QUIET(WIRES ",\"cycles\":[{\"wire\":\"ring\",\"amps\":1.5,"
                                          "\"on_s\":20,\"off_s\":30,\"first_s\":5,"
                                          "\"jitter\":0.1}]"));
    assert_int_equal(supply_init(&supply, house.script, &error), 0);
    assert_true(supply.switch_count >= 22 && supply.switch_count <= 26);
    assert_int64_equal(supply.switch_ns[0], 5 * NS_PER_S);
    for (size_t i = 1; i < supply.switch_count; i++) {
        double s = (double)(supply.switch_ns[i] - supply.switch_ns[i - 1]) / 1e9;
        double nominal = i % 2 ? 20.0 : 30.0;
        assert_true(fabs(s - nominal) <= 0.1 * nominal + 1e-6);
    }
    supply_free(&supply);
    house_free(&house);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_load_flows_on_its_wire_and_on_what_feeds_it),
        cmocka_unit_test(harmonics_belong_to_standing_loads_only),
        cmocka_unit_test(the_frequency_wanders_slowly_within_what_the_grid_allows),
        cmocka_unit_test(a_cycle_switches_on_and_off_with_its_jitter),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
