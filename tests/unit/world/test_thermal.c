/* Closed formulas of warmth against step-by-step integration. */
#include "tests/unit/test.h"

#include "node/world/thermal.h"

static const struct script_heating heating = {
    .present = true, .on_s = 600, .off_s = 1500, .first_s = 100, .rise_c = 6, .lag_s = 1800};

static void the_heating_cycle_agrees_with_a_stepwise_integration(void **state)
{
    (void)state;
    double c = 0.0;
    const double dt = 0.05;
    for (long i = 0; i < 12L * 3600 * 20; i++) {
        double t = (double)i * dt;
        if (i % 6000 == 0) {
            assert_close(thermal_heating_c(&heating, t), c, 2e-3);
        }
        double in_turn = fmod(t - heating.first_s, heating.on_s + heating.off_s);
        double target = t >= heating.first_s && in_turn < heating.on_s ? heating.rise_c : 0.0;
        c += dt / heating.lag_s * (target - c);
    }
}

static void nothing_is_warmed_without_heating_or_before_it(void **state)
{
    (void)state;
    struct script_heating none = heating;
    none.present = false;
    assert_close(thermal_heating_c(&none, 1000.0), 0.0, 0.0);
    assert_close(thermal_heating_c(&heating, 99.0), 0.0, 0.0);
}

static void a_front_lags_and_then_recovers(void **state)
{
    (void)state;
    assert_close(thermal_front(-1.0, 60.0), 0.0, 0.0);
    assert_close(thermal_front(THERMAL_SENSOR_LAG_S, 60.0), 1.0 - exp(-1.0), 1e-12);
    assert_true(thermal_front(59.0, 60.0) > 0.99);
    assert_true(thermal_front(160.0, 60.0) < 0.05);
}

static void a_person_warms_slightly_and_less_from_further(void **state)
{
    (void)state;
    double near = thermal_person_c(THERMAL_SENSOR_LAG_S, 0.5);
    double far = thermal_person_c(THERMAL_SENSOR_LAG_S, 3.0);
    assert_true(near > 2.0 * far && far > 0.0 && near < 0.2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_heating_cycle_agrees_with_a_stepwise_integration),
        cmocka_unit_test(nothing_is_warmed_without_heating_or_before_it),
        cmocka_unit_test(a_front_lags_and_then_recovers),
        cmocka_unit_test(a_person_warms_slightly_and_less_from_further),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
