/* Latency and noise of seeded channels come back within what is claimed. */
#include "../test.h"

#include <math.h>
#include <string.h>

#include "collector/calibrate/latency.h"
#include "draw.h"

#define S INT64_C(1000000000)

/* Jumps at seconds 5, 10, 15 ... (each a bit off), told `late_s` later at a rate. */
static void play(struct draw *draw, double rate_hz, double late_s, double noise, double jitter_s,
                 struct readings *series)
{
    struct error error;
    memset(series, 0, sizeof *series);
    struct draw jumps;
    jumps = draw_from(99);
    double next_s = 5 + 0.4 * draw_uniform(&jumps);
    double started = draw_uniform(draw) / rate_hz;
    double own = jitter_s * draw_normal(draw);
    double level = 0;
    for (int i = 0; i < (int)(120 * rate_hz); i++) {
        double at_s = started + i / rate_hz;
        if (at_s >= next_s + late_s + own) {
            level = 1 - level;
            next_s += 5 + 0.4 * draw_uniform(&jumps);
            own = jitter_s * draw_normal(draw);
        }
        assert_int_equal(
            readings_add(series, (int64_t)(at_s * 1e9), level + noise * draw_normal(draw), &error),
            0);
    }
}

static void a_known_latency_is_found_within_the_stated_uncertainty(void **state)
{
    (void)state;
    int inside = 0;
    int inside_three = 0;
    for (uint64_t seed = 1; seed <= 300; seed++) {
        struct draw draw;
        struct readings reference, series;
        struct latency_result found;
        struct error error;
        draw = draw_from(seed);
        double late_s = 0.3 * draw_uniform(&draw) - 0.1;
        play(&draw, 100, 0, 0.02, 0, &reference);
        play(&draw, 20, late_s, 0.02, 0.01, &series);
        assert_int_equal(latency_find(&reference, &series, 1, &found, &error), 0);
        inside += fabs(found.latency_s - late_s) < found.sd_s;
        inside_three += fabs(found.latency_s - late_s) < 3 * found.sd_s;
        readings_free(&reference);
        readings_free(&series);
    }
    assert_in_range(inside, 300 * 60 / 100, 300 * 80 / 100);
    assert_in_range(inside_three, 300 * 98 / 100, 300);
}

static void too_few_shared_events_are_refused_with_what_to_do(void **state)
{
    (void)state;
    struct draw draw;
    struct readings reference, series = {0};
    struct latency_result found;
    struct error error;
    draw = draw_from(1);
    play(&draw, 50, 0, 0.02, 0, &reference);
    assert_int_equal(latency_find(&reference, &series, 1, &found, &error), -1);
    assert_non_null(strstr(error.text, "make both channels jump together"));
    play(&draw, 50, 2.2, 0.02, 0, &series);
    assert_int_equal(latency_find(&reference, &series, 1, &found, &error), -1);
    readings_free(&reference);
    readings_free(&series);
}

static void noise_is_told_without_drift_and_jumps(void **state)
{
    (void)state;
    struct draw draw;
    struct readings series = {0};
    struct error error;
    draw = draw_from(4);
    for (int i = 0; i < 20000; i++) {
        double reading = 1e-3 * i + (i > 9000 ? 50 : 0) + 0.7 * draw_normal(&draw);
        assert_int_equal(readings_add(&series, i, reading, &error), 0);
    }
    assert_true(fabs(readings_noise(&series) / 0.7 - 1) < 0.03);
    readings_free(&series);
    assert_true(isnan(readings_noise(&series)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_known_latency_is_found_within_the_stated_uncertainty),
        cmocka_unit_test(too_few_shared_events_are_refused_with_what_to_do),
        cmocka_unit_test(noise_is_told_without_drift_and_jumps),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
