/* That a recording's own time is the one that its line says, and that a line that is not whole is
 * refused. Must never write outside its temp folder. */
#include "tests/unit/test.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "collector/export/own_time.h"

#define START_NS INT64_C(1700000000123456789)

static char folder[] = "/tmp/roomwake-own-XXXXXX";
static char recording[64];
static char line_path[96];

static int read_text(const char *text, struct own_time *own, struct error *error)
{
    FILE *file = fopen(line_path, "w");
    assert_non_null(file);
    assert_true(fputs(text, file) >= 0);
    assert_int_equal(fclose(file), 0);
    return own_time_read(recording, own, error);
}

#define LINE(format, start, rate)                                                                  \
    "{\"format\":\"" format "\",\"version\":1,\"night\":\"lodge-1\",\"start\":\"" start            \
    "\",\"drift_ppm\":100,\"rate_hz\":" rate ",\"frames\":480000,\"middle_s\":5,"                  \
    "\"middle_sd_s\":0.001,\"drift_sd_ppm\":1,\"anchors_used\":3}"
#define START_TEXT "2023-11-14T22:13:20.123456789Z"

/* A second of a clock that is 100 ppm slow lasts 1.0001 s: 10,001 s are 10,000 of its own. */
static void times_are_by_the_recordings_own_clock(void **state)
{
    struct own_time own;
    struct error error;
    (void)state;
    assert_int_equal(read_text(LINE("roomwake-align", START_TEXT, "48000"), &own, &error), 0);
    assert_string_equal(own.night, "lodge-1");
    assert_int_equal(own.start_ns, START_NS);
    assert_int_equal(own.length_ns, INT64_C(10000000000));
    assert_int_equal(own_time_ns(&own, START_NS), 0);
    assert_in_range(own_time_ns(&own, START_NS + INT64_C(10001000000000)), INT64_C(9999999999998),
                    INT64_C(10000000000002));
}

static void a_line_that_is_not_whole_is_refused(void **state)
{
    static const char *const bad[] = {"", "{}", LINE("another", START_TEXT, "48000"),
                                      LINE("roomwake-align", "yesterday", "48000"),
                                      LINE("roomwake-align", START_TEXT, "0")};
    struct own_time own;
    struct error error;
    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        assert_int_equal(read_text(bad[i], &own, &error), -1);
        assert_non_null(strstr(error.text, line_path));
    }
    assert_int_equal(unlink(line_path), 0);
    assert_int_equal(own_time_read(recording, &own, &error), -1);
    assert_non_null(strstr(error.text, "roomwake align"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(times_are_by_the_recordings_own_clock),
        cmocka_unit_test(a_line_that_is_not_whole_is_refused),
    };
    if (!mkdtemp(folder)) {
        return 1;
    }
    (void)snprintf(recording, sizeof recording, "%s/r.wav", folder);
    (void)snprintf(line_path, sizeof line_path, "%s.align.json", recording);
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    (void)rmdir(folder);
    return failed;
}
