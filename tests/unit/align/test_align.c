/* Finding chirps and claps, and lining a recorder's clock up by them. Promises in the names. */
#include "tests/unit/test.h"

#include "collector/align/finder.h"
#include "collector/align/level.h"
#include "collector/align/match.h"
#include "tests/unit/align/scene.h"

#define NIGHT_NS INT64_C(1700000000000000000)

static void take(void *context, const float *samples, size_t count)
{
    finder_push(context, samples, count);
}

static struct finder *listen(const struct scene *scene)
{
    struct finder *finder = NULL;
    struct error error;
    assert_int_equal(finder_new(scene->rate_hz, &finder, &error), 0);
    scene_play(scene, take, finder);
    finder_finish(finder);
    return finder;
}

static size_t anchors_of(const double *times_s, size_t count, enum finder_kind kind, double sd_s,
                         struct match_anchor *anchors)
{
    for (size_t i = 0; i < count; i++) {
        anchors[i] = (struct match_anchor){kind, NIGHT_NS + llround(times_s[i] * 1e9), sd_s};
    }
    return count;
}

/* Errors over the recording, at its beginning, middle and end, against what is stated. */
static void holds(const struct match *match, const struct scene *scene, double most_s)
{
    for (int i = 0; i <= 2; i++) {
        double own_s = 0.5 * i * scene->length_s;
        double true_s = scene->start_s + own_s * (1 + scene->drift_ppm * 1e-6);
        double error_s = (double)(match_site_ns(match, own_s) - NIGHT_NS) / 1e9 - true_s;
        assert_true(fabs(error_s) < most_s);
        assert_true(fabs(error_s) < 5 * match_sd_s(match, own_s) + 1e-9);
        assert_close(match_own_s(match, match_site_ns(match, own_s)), own_s, 1e-8);
    }
}

static void chirps_line_up_a_noisy_echoing_recording_of_any_rate(void **state)
{
    (void)state;
    const double chirps[] = {103.21, 108.77, 117.5};
    const double rates[] = {44100, 48000, 96000};
    const double drifts[] = {200, -200, 31};
    for (size_t i = 0; i < 3; i++) {
        const struct scene scene = {rates[i], 20,   100.123456, drifts[i], 0.07, chirps,
                                    3,        NULL, 0,          7 + i,     0};
        struct finder *finder = listen(&scene);
        struct match_anchor anchors[3];
        struct match match;
        struct error error;
        anchors_of(chirps, 3, FINDER_CHIRP, 1e-4, anchors);
        if (match_find(anchors, 3, finder, scene.length_s, INT64_MIN, &match, &error) != 0) {
            fail_msg("%s", error.text);
        }
        assert_int_equal(match.used, 3);
        holds(&match, &scene, 0.002);
        assert_close(match.drift_ppm, drifts[i], 5 * match.drift_sd_ppm);
        finder_free(finder);
    }
}

static void an_unknown_sound_between_and_an_anchor_not_heard_do_no_harm(void **state)
{
    (void)state;
    const double heard[] = {103.2, 105.9, 109.1, 116.4}; /* the second is in no mark */
    const double told[] = {60.0, 103.2, 109.1, 116.4};   /* the first was before */
    const struct scene scene = {48000, 18, 101.5, 80, 0.02, heard, 4, NULL, 0, 3, 0};
    struct finder *finder = listen(&scene);
    struct match_anchor anchors[4];
    struct match match;
    struct error error;
    anchors_of(told, 4, FINDER_CHIRP, 1e-4, anchors);
    assert_int_equal(match_find(anchors, 4, finder, 18, INT64_MIN, &match, &error), 0);
    assert_int_equal(match.used, 3);
    assert_int_equal(match.anchors, 3);
    assert_false(match.arrival_of[0]);
    holds(&match, &scene, 0.002);
    finder_free(finder);
}

static void claps_marked_by_hand_line_up_as_well_as_hands_are(void **state)
{
    (void)state;
    const double claps[] = {102.0, 106.3, 111.9, 117.2};
    const double marked[] = {102.11, 106.22, 111.95, 117.1};
    const struct scene scene = {44100, 20, 100, 0, 0.003, NULL, 0, claps, 4, 5, 0};
    struct finder *finder = listen(&scene);
    size_t count = 0;
    const struct finder_arrival *arrivals = finder_arrivals(finder, FINDER_CLAP, &count);
    assert_int_equal(count, 4);
    for (size_t i = 0; i < 4; i++) {
        assert_close(arrivals[i].time_s, claps[i] - 100, 0.002);
    }
    struct match_anchor anchors[4];
    struct match match;
    struct error error;
    anchors_of(marked, 4, FINDER_CLAP, 0.15, anchors);
    assert_int_equal(match_find(anchors, 4, finder, 20, INT64_MIN, &match, &error), 0);
    assert_int_equal(match.used, 4);
    assert_true(match_sd_s(&match, 10) > 0.05 && match_sd_s(&match, 10) < 0.2);
    finder_free(finder);
}

static void too_few_sounds_and_another_night_are_said(void **state)
{
    (void)state;
    const double heard[] = {103.2, 109.1, 116.4};
    const double other[] = {203.2, 205.1, 214.4, 218.0};
    const struct scene scene = {48000, 18, 101.5, 0, 0.02, heard, 3, NULL, 0, 3, 0};
    struct finder *finder = listen(&scene);
    struct match_anchor anchors[4];
    struct match match;
    struct error error;
    anchors_of(heard, 3, FINDER_CHIRP, 1e-4, anchors);
    assert_int_equal(match_find(anchors, 1, finder, 18, INT64_MIN, &match, &error), -1);
    assert_error(error, ERROR_STATE, "two are needed");
    assert_int_equal(
        match_find(anchors, 3, finder, 18, NIGHT_NS + INT64_C(200000000000000), &match, &error),
        -1);
    assert_error(error, ERROR_STATE, "another day");
    anchors_of(other, 4, FINDER_CHIRP, 1e-4, anchors);
    assert_int_equal(match_find(anchors, 4, finder, 18, INT64_MIN, &match, &error), -1);
    assert_error(error, ERROR_STATE, "is it of this night");
    finder_free(finder);
}

static void where_it_fits_at_several_times_alike_it_says_so_and_takes_a_hint(void **state)
{
    (void)state;
    const double heard[] = {103.2, 108.2, 113.2};
    const double told[] = {93.2, 98.2, 103.2, 108.2, 113.2, 118.2, 123.2}; /* like a clockwork */
    const struct scene scene = {16000, 13, 101.5, 40, 0.02, heard, 3, NULL, 0, 3, 0};
    struct finder *finder = listen(&scene);
    struct match_anchor anchors[7];
    struct match match;
    struct error error;
    anchors_of(told, 7, FINDER_CHIRP, 1e-4, anchors);
    assert_int_equal(match_find(anchors, 7, finder, 13, INT64_MIN, &match, &error), -1);
    assert_error(error, ERROR_STATE, "--start");
    /* A hint so coarse that several are near it does not help. */
    assert_int_equal(match_find(anchors, 7, finder, 13, NIGHT_NS, &match, &error), -1);
    assert_error(error, ERROR_STATE, "--start");
    finder_free(finder);

    /* Hours apart, as by a timer: here an hour is 400 s so that five minutes tell them apart. */
    const double hourly[] = {500, 900};
    const double all[] = {100, 500, 900, 1300};
    const struct scene night = {8000, 600, 400, 40, 0.02, hourly, 2, NULL, 0, 3, 0};
    finder = listen(&night);
    anchors_of(all, 4, FINDER_CHIRP, 1e-4, anchors);
    assert_int_equal(match_find(anchors, 4, finder, 600, INT64_MIN, &match, &error), -1);
    assert_error(error, ERROR_STATE, "--start");
    assert_int_equal(
        match_find(anchors, 4, finder, 600, NIGHT_NS + INT64_C(450000000000), &match, &error), 0);
    holds(&match, &night, 0.002);
    finder_free(finder);
}

struct tenths {
    size_t count;
    double last_s;
    double loudness_db;
    double peak_db;
};

static int take_tenth(void *context, double own_s, double loudness_db, double peak_db,
                      struct error *error)
{
    (void)error;
    *(struct tenths *)context =
        (struct tenths){((struct tenths *)context)->count + 1, own_s, loudness_db, peak_db};
    return 0;
}

/* ITU-R BS.1770-4: a 997 Hz sine of full scale in one channel is -3.01 LKFS. */
static void the_level_is_the_standards(void **state)
{
    (void)state;
    struct tenths tenths = {0};
    struct level *level = NULL;
    struct error error;
    assert_int_equal(level_new(48000, 1, take_tenth, &tenths, &level, &error), 0);
    float piece[480];
    for (size_t i = 0; i < 200; i++) {
        for (size_t j = 0; j < 480; j++) {
            piece[j] = (float)sin(2 * 3.14159265358979 * 997 * (double)(i * 480 + j) / 48000);
        }
        assert_int_equal(level_push(level, piece, 480, &error), 0);
    }
    assert_int_equal(tenths.count, 20);
    assert_close(tenths.last_s, 2.0, 1e-9);
    assert_close(tenths.loudness_db, -3.01, 0.01);
    assert_close(tenths.peak_db, 0, 0.01);
    memset(piece, 0, sizeof piece);
    for (size_t i = 0; i < 200; i++) {
        assert_int_equal(level_push(level, piece, 480, &error), 0);
    }
    assert_close(tenths.peak_db, LEVEL_FLOOR_DB, 0);
    assert_close(tenths.loudness_db, LEVEL_FLOOR_DB, 0);
    level_free(level);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(chirps_line_up_a_noisy_echoing_recording_of_any_rate),
        cmocka_unit_test(an_unknown_sound_between_and_an_anchor_not_heard_do_no_harm),
        cmocka_unit_test(claps_marked_by_hand_line_up_as_well_as_hands_are),
        cmocka_unit_test(too_few_sounds_and_another_night_are_said),
        cmocka_unit_test(where_it_fits_at_several_times_alike_it_says_so_and_takes_a_hint),
        cmocka_unit_test(the_level_is_the_standards),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
