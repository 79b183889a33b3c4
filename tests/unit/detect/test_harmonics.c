/* Harmonics of the mains: followed where they fold to, told from everything that doesn't last.
 * Must never use an unseeded number. Run by ctest. */
#include "collector/detect/harmonics.h"
#include "tests/unit/detect/rig.h"

#define MAINS_HZ 50.0
#define REAL_HZ 50.03

/* A harmonic of 1 on one axis plus `extra` at each sample; what is left comes out. */
struct line {
    struct harmonics harmonics;
    double rate_hz;
    size_t at;
};

static double step(struct line *line, unsigned order, double amplitude, double extra, double bound)
{
    double turns = MAINS_HZ * (double)line->at / line->rate_hz;
    double real = REAL_HZ * (double)line->at / line->rate_hz;
    double turn = 2.0 * M_PI * (REAL_HZ - MAINS_HZ) / line->rate_hz;
    double x[1] = {amplitude * cos(2.0 * M_PI * order * real + 0.7) + extra};
    harmonics_take_off(&line->harmonics, cos(2.0 * M_PI * turns), sin(2.0 * M_PI * turns),
                       cos(turn), sin(turn), x, 1);
    harmonics_follow(&line->harmonics, x, bound, 1);
    line->at++;
    return x[0];
}

static void only_what_folds_to_a_place_of_its_own_is_followed(void **state)
{
    (void)state;
    /* By hand: 150, 250 and 350 Hz, less the nearest whole number of rates. */
    static const struct {
        double rate_hz;
        size_t count;
        unsigned places[HARMONICS_MAX];
    } cases[] = {
        {200.0, 0, {0}},        /* all three at 50, where the mains is */
        {80.0, 1, {0}},         /* 10, 10 again, 30 as the mains */
        {75.0, 0, {0}},         /* 0, 25 as the mains, 25 */
        {250.0, 1, {0}},        /* 100, 0, 100 */
        {128.0, 3, {0, 1, 2}},  /* 22, 6, 34 */
        {1000.0, 3, {0, 1, 2}}, /* as they are */
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct harmonics harmonics;
        harmonics_init(&harmonics, MAINS_HZ, cases[i].rate_hz, HARMONIC_OF_FIELDS);
        assert_int_equal(harmonics.count, cases[i].count);
        for (size_t k = 0; k < harmonics.count; k++) {
            assert_int_equal(harmonics.place[k], cases[i].places[k]);
        }
    }
}

static void nine_tenths_of_a_steady_harmonic_are_gone_in_half_a_second(void **state)
{
    (void)state;
    static const struct {
        double rate_hz;
        unsigned first;
        unsigned order;
    } cases[] = {{80.0, HARMONIC_OF_FIELDS, 3},     {128.0, HARMONIC_OF_FIELDS, 5},
                 {128.0, HARMONIC_OF_FIELDS, 7},    {250.0, HARMONIC_OF_FIELDS, 3},
                 {333.0, HARMONIC_OF_VIBRATION, 2}, {333.0, HARMONIC_OF_VIBRATION, 4}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct line line = {.rate_hz = cases[i].rate_hz};
        harmonics_init(&line.harmonics, MAINS_HZ, line.rate_hz, cases[i].first);
        while ((double)line.at < 20.0 * line.rate_hz) {
            double left = step(&line, cases[i].order, 1.0, 0.0, INFINITY);
            assert_true((double)line.at < 0.5 * line.rate_hz || fabs(left) < 0.1);
        }
    }
}

static void a_loud_pulse_is_left_as_it_is_and_nothing_rings_after_it(void **state)
{
    (void)state;
    struct line line = {.rate_hz = 80.0};
    harmonics_init(&line.harmonics, MAINS_HZ, line.rate_hz, HARMONIC_OF_FIELDS);
    while (line.at < 800) {
        step(&line, 3, 1.0, 0.0, 0.5);
    }
    for (size_t i = 0; i < 24; i++) {
        assert_close(step(&line, 3, 1.0, 100.0, 0.5), 100.0, 0.5);
    }
    for (size_t i = 0; i < 80; i++) {
        assert_close(step(&line, 3, 1.0, 0.0, 0.5), 0.0, 0.5);
    }
}

static void a_load_with_harmonics_leaves_the_rest_of_the_field_quiet(void **state)
{
    (void)state;
    struct rig rig;
    rig_init(&rig, "magnetic", 3, 80.0, 240.0, 71);
    rig_noise(&rig, 15.0, 20000.0);
    size_t on = 80 * 100;
    size_t off = 80 * 200;
    for (int twice = 0; twice < 2;
         twice++) { /* all the while, and half as much again by the load */
        size_t from = twice ? on : 0;
        size_t to = twice ? off : rig.capacity;
        rig_hum(&rig, REAL_HZ, twice ? 200.0 : 400.0, from, to);
        rig_hum(&rig, 3.0 * REAL_HZ, twice ? 40.0 : 80.0, from, to);
    }
    rig_detector(&rig, 60.0, 0.5);
    rig_run_all(&rig);
    assert_true(rig.closed_count > 0);
    for (size_t i = 0; i < rig.closed_count; i++) {
        const struct disturbance *it = &rig.closed[i];
        bool rest = it->band == BAND_REST;
        assert_true(!rest || it->baseline_scale < 20e-9); /* noise of 15 counts, none of the 80 */
        int64_t after_on = it->onset_ns - rig_time(&rig, on);
        int64_t after_off = it->onset_ns - rig_time(&rig, off);
        int64_t second = RIG_SECOND;
        assert_true((after_on > -second && after_on < 2 * second) ||
                    (after_off > -second && after_off < 2 * second));
        assert_true(it->end_ns - it->onset_ns < 5 * second || !rest);
    }
    rig_free(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(only_what_folds_to_a_place_of_its_own_is_followed),
        cmocka_unit_test(nine_tenths_of_a_steady_harmonic_are_gone_in_half_a_second),
        cmocka_unit_test(a_loud_pulse_is_left_as_it_is_and_nothing_rings_after_it),
        cmocka_unit_test(a_load_with_harmonics_leaves_the_rest_of_the_field_quiet),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
