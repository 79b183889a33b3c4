/* How messages become long blocks, as far as a reader of the file can see. */
#include "tests/unit/night/fixture.h"

/* Two nodes send the same seconds; were their blocks made in the same commits, those would be long
 * ones all night. */
static void nodes_that_begin_together_make_their_blocks_at_different_times(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    for (uint32_t node = 0; node < 2; node++) {
        fixture_put_channels(writer, fixture, node, FIXTURE_BOOT);
    }
    for (int64_t second = 0; second < 180; second++) {
        fixture_put_noise(writer, 0, second, 1, 7);
        fixture_put_noise(writer, 1, second, 1, 8);
    }
    fixture_close(writer, 180);
    assert_true(fixture_query(fixture, "SELECT count(*) FROM block") >= 8);
    /* But for the end of the night, no two blocks end within two seconds of each other. */
    assert_int_equal(fixture_query(fixture,
                                   "WITH ends AS (SELECT id, t0_ns + span_ns AS ns FROM block)"
                                   " SELECT count(*) FROM ends a JOIN ends b ON a.id < b.id"
                                   " AND abs(a.ns - b.ns) < 2000000000"
                                   " WHERE a.ns < (SELECT max(ns) - 2000000000 FROM ends)"),
                     0);
    assert_int_equal(fixture_query(fixture, "SELECT sum(n) FROM block"), 2 * 180 * 200);
}

/* What a long block must be long for: a row costs what it costs, however few samples it has. */
static void no_block_but_the_first_and_the_last_is_shorter_than_twenty_seconds(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_noise(writer, 0, 0, 240, 9);
    fixture_close(writer, 240);
    assert_int_equal(fixture_query(fixture, "SELECT count(*) FROM block WHERE n < 20 * 200"
                                            " AND t0_ns > (SELECT min(t0_ns) FROM block)"
                                            " AND t0_ns < (SELECT max(t0_ns) FROM block)"),
                     0);
    assert_true(fixture_query(fixture, "SELECT min(n) FROM block WHERE t0_ns ="
                                       " (SELECT min(t0_ns) FROM block)") >= 7 * 200);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(
            nodes_that_begin_together_make_their_blocks_at_different_times, fixture_setup,
            fixture_teardown),
        cmocka_unit_test_setup_teardown(
            no_block_but_the_first_and_the_last_is_shorter_than_twenty_seconds, fixture_setup,
            fixture_teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
