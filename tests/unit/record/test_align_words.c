/* What align tells of a recorder's clock, in words. Must never open a recording. */
#include "tests/unit/test.h"

#include "collector/record/align.h"

static void tells(double drift_ppm, double drift_sd_ppm, double distance_m, const char *words)
{
    const struct align_settings settings = {
        .night_path = "n.sqlite", .recording_path = "r.wav", .distance_m = distance_m};
    struct align_result result = {.info = {.rate_hz = 48000, .frames = 48000 * 60}};
    result.match.drift_ppm = drift_ppm;
    result.match.drift_sd_ppm = drift_sd_ppm;
    result.match.used = 3;
    char *text = NULL;
    size_t length = 0;
    FILE *out = open_memstream(&text, &length);
    assert_non_null(out);
    align_write(&settings, &result, out);
    assert_int_equal(fclose(out), 0);
    if (!strstr(text, words)) {
        fail_msg("%s", text);
    }
    free(text);
}

/* Its second is longer than the site's: it counts too few of them. */
static void a_clock_is_called_slow_or_fast_as_it_is(void **state)
{
    (void)state;
    tells(120.0, 3.0, 1.0, "its clock: -120.00 ppm, +- 3.00 (it runs slow)");
    tells(-20.0, 3.0, 1.0, "its clock: +20.00 ppm, +- 3.00 (it runs fast)");
    tells(5.0, 3.0, 1.0, "(right, as far as can be told)");
}

static void a_distance_that_was_not_told_is_said(void **state)
{
    (void)state;
    tells(0.0, 3.0, -1.0, "(--distance), so all of the recording may be that much early");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_clock_is_called_slow_or_fast_as_it_is),
        cmocka_unit_test(a_distance_that_was_not_told_is_said),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
