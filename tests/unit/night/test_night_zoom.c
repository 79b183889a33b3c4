/* That what is kept of a block beside its samples loses no extreme.
 * Must never depend on chance: seeds are fixed. */
#include "tests/unit/night/fixture.h"

#include "collector/night/zoom.h"

static void every_run_has_its_least_and_its_greatest_and_comes_back(void **state)
{
    (void)state;
    static const uint32_t lengths[] = {1, 63, 64, 65, 128, 1000, 6400, BLOCK_SAMPLES_MAX};
    struct codec *codec = codec_new();
    int32_t *counts = malloc(BLOCK_SAMPLES_MAX * sizeof *counts);
    static uint8_t bytes[ZOOM_RUNS_BYTES_MAX];
    static struct zoom_runs made;
    static struct zoom_runs back;
    uint64_t seed = 5;
    for (int shape = 0; shape < 3; shape++) {
        for (size_t i = 0; i < sizeof lengths / sizeof *lengths; i++) {
            struct error error;
            size_t length = 0;
            for (uint32_t j = 0; j < lengths[i]; j++) {
                counts[j] = shape == 0   ? 7
                            : shape == 1 ? fixture_noise(&seed, 4)
                                         : (int32_t)fixture_random(&seed);
            }
            zoom_runs_make(counts, lengths[i], &made);
            zoom_runs_encode(codec, &made, bytes, &length);
            assert_true(length <= sizeof bytes);
            fixture_check(zoom_runs_decode(codec, bytes, length, lengths[i], &back, &error),
                          &error);
            assert_int_equal(back.count, (lengths[i] + ZOOM_RUN - 1) / ZOOM_RUN);
            for (uint32_t j = 0; j < lengths[i]; j++) {
                assert_true(counts[j] >= back.min[j / ZOOM_RUN]);
                assert_true(counts[j] <= back.max[j / ZOOM_RUN]);
            }
            assert_memory_equal(made.min, back.min, made.count * sizeof *made.min);
            assert_memory_equal(made.max, back.max, made.count * sizeof *made.max);
            assert_int_equal(zoom_runs_decode(codec, bytes, length - 1, lengths[i], &back, &error),
                             -1);
            assert_int_equal(zoom_runs_decode(codec, bytes, length, 0, &back, &error), -1);
        }
    }
    free(counts);
    codec_free(codec);
}

static void a_falling_scale_keeps_least_below_greatest(void **state)
{
    (void)state;
    struct channel channel = {.step = {-1, 0}, .offset = {5, 0}};
    const int32_t counts[] = {-3, 10, 2};
    struct block block = {.count = 3, .period_ps = 1000, .counts = counts};
    struct zoom_summary summary;
    zoom_summarise(&block, &channel, &summary);
    assert_close(summary.values.min, -5, 0);
    assert_close(summary.values.max, 8, 0);
    assert_close(summary.values.sum, 6, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_run_has_its_least_and_its_greatest_and_comes_back),
        cmocka_unit_test(a_falling_scale_keeps_least_below_greatest),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
