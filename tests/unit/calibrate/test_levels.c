/* A coil gives back the gain that was put in, within what it claims. */
#include "../test.h"

#include <math.h>
#include <string.h>

#include "collector/calibrate/fields.h"
#include "collector/calibrate/levels.h"
#include "draw.h"

#define HZ 50
#define LEVEL_S 20

static void play(struct draw *draw, double gain, const double *currents, size_t count, double per_a,
                 double noise_t, struct readings *series, struct level *levels)
{
    struct error error;
    memset(series, 0, sizeof *series);
    for (size_t k = 0; k < count; k++) {
        int64_t start_ns = (int64_t)k * LEVEL_S * INT64_C(1000000000);
        levels[k] = (struct level){start_ns, start_ns + LEVEL_S * INT64_C(1000000000), currents[k]};
        for (int i = 0; i < HZ * LEVEL_S; i++) {
            double field = 31e-6 + per_a * currents[k];
            assert_int_equal(readings_add(series, start_ns + i * INT64_C(1000000000) / HZ,
                                          field / gain + noise_t * draw_normal(draw), &error),
                             0);
        }
    }
}

static void a_known_gain_is_found_within_the_stated_uncertainty(void **state)
{
    (void)state;
    static const double currents[] = {0, 0.1, 0, -0.1};
    double per_a = fields_helmholtz_t(20, 0.1, 1);
    int inside = 0;
    int inside_three = 0;
    for (uint64_t seed = 1; seed <= 400; seed++) {
        struct draw draw;
        draw = draw_from(seed);
        double gain = 0.8 + 0.4 * draw_uniform(&draw);
        struct readings series;
        struct level levels[4];
        struct levels_result found;
        struct error error;
        play(&draw, gain, currents, 4, per_a, 0.5e-6, &series, levels);
        assert_int_equal(levels_fit(&series, levels, 4, per_a, &found, &error), 0);
        double off = (found.gain / gain - 1) / found.gain_sd;
        inside += fabs(off) < 1;
        inside_three += fabs(off) < 3;
        readings_free(&series);
    }
    assert_in_range(inside, 400 * 60 / 100, 400 * 82 / 100);
    assert_in_range(inside_three, 400 * 98 / 100, 400);
}

static void two_levels_of_one_current_are_refused_with_what_to_do(void **state)
{
    (void)state;
    static const double currents[] = {0.1, 0.1};
    struct draw draw;
    struct readings series;
    struct level levels[2];
    struct levels_result found;
    struct error error;
    draw = draw_from(1);
    play(&draw, 1, currents, 2, 1e-4, 1e-7, &series, levels);
    assert_int_equal(levels_fit(&series, levels, 2, 1e-4, &found, &error), -1);
    assert_int_equal(error.code, ERROR_STATE);
    assert_non_null(strstr(error.text, "at least two levels of different current"));
    assert_int_equal(levels_fit(&series, levels, 1, 1e-4, &found, &error), -1);
    levels[0].end_ns = levels[0].start_ns + 1000;
    assert_int_equal(levels_fit(&series, levels, 2, 1e-4, &found, &error), -1);
    assert_non_null(strstr(error.text, "hold it longer"));
    readings_free(&series);
}

static void what_does_not_stand_out_of_the_noise_is_refused(void **state)
{
    (void)state;
    static const double currents[] = {0, 0.001};
    struct draw draw;
    struct readings series;
    struct level levels[2];
    struct levels_result found;
    struct error error;
    draw = draw_from(2);
    play(&draw, 1, currents, 2, 1e-6, 1e-6, &series, levels);
    assert_int_equal(levels_fit(&series, levels, 2, 1e-6, &found, &error), -1);
    assert_non_null(strstr(error.text, "noise"));
    readings_free(&series);
}

static void a_sensor_that_is_not_straight_shows_in_p_and_in_the_uncertainty(void **state)
{
    (void)state;
    static const double currents[] = {0, 0.1, 0.2, 0.3};
    struct draw draw;
    struct readings series;
    struct level levels[4];
    struct levels_result straight, bent;
    struct error error;
    draw = draw_from(3);
    play(&draw, 1, currents, 4, 1e-4, 1e-7, &series, levels);
    assert_int_equal(levels_fit(&series, levels, 4, 1e-4, &straight, &error), 0);
    for (size_t i = 0; i < series.count; i++) { /* it clips at the top */
        series.values[i] = fmin(series.values[i], 31e-6 + 2.5e-5);
    }
    assert_int_equal(levels_fit(&series, levels, 4, 1e-4, &bent, &error), 0);
    assert_true(straight.p_value > 0.001);
    assert_true(bent.p_value < 1e-6);
    assert_true(bent.gain_sd > 10 * straight.gain_sd);
    readings_free(&series);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_known_gain_is_found_within_the_stated_uncertainty),
        cmocka_unit_test(two_levels_of_one_current_are_refused_with_what_to_do),
        cmocka_unit_test(what_does_not_stand_out_of_the_noise_is_refused),
        cmocka_unit_test(a_sensor_that_is_not_straight_shows_in_p_and_in_the_uncertainty),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
