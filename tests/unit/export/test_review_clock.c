/* The review's lines on the nodes' clocks: least, median and most of what was told.
 * Must never need a running node. */
#include "tests/unit/night/fixture.h"

#include "collector/export/review_clock.h"
#include "common/message.h"
#include "common/text.h"

static void put_frame(struct night_writer *writer, uint64_t seq, int64_t rate_ppt,
                      int64_t uncertainty_ns)
{
    static const int32_t counts[4] = {1, 2, 3, 4};
    struct error error;
    struct clock_fit fit = {.known = true,
                            .offset_ns = 1500000000,
                            .rate_ppt = rate_ppt,
                            .uncertainty_ns = uncertainty_ns};
    struct block block = {.count = 4,
                          .period_ps = INT64_C(5000000000),
                          .t0_ns = FIXTURE_START_NS + (int64_t)seq * NS_PER_S,
                          .counts = counts};
    struct night_frame_id id = {0, FIXTURE_BOOT, seq};
    int64_t node_t0_ns = 5;
    fixture_check(night_put_frame(writer, &id, &fit, &block, &node_t0_ns, 1, false, &error),
                  &error);
}

static void put_age(struct night_writer *writer, int64_t age_ns)
{
    struct error error;
    struct text json = {0};
    struct message_state state = {
        .boot = FIXTURE_BOOT, .exchange_age_ns = age_ns, .battery_v = (double)NAN};
    assert_int_equal(message_state_write(&state, &json), 0);
    fixture_check(night_put_state(writer, 0, FIXTURE_START_NS, json.bytes, &error), &error);
    text_free(&json);
}

static void review(const struct fixture *fixture, char *text, size_t size)
{
    struct error error;
    struct night_reader *reader = NULL;
    FILE *out = fmemopen(text, size, "w");
    fixture_check(night_reader_open(fixture->night, &reader, &error), &error);
    fixture_check(review_write_clocks(reader, fixture->site, out, &error), &error);
    night_reader_close(reader);
    assert_int_equal(fclose(out), 0);
}

static void each_figure_is_told_as_least_median_and_most(void **state)
{
    const struct fixture *fixture = *state;
    struct error error;
    char text[2048] = "";
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    put_frame(writer, 1, -40000000, 2000000);
    put_frame(writer, 2, -41000000, 30000000);
    put_frame(writer, 3, -40500000, 1000000);
    put_age(writer, -1);
    put_age(writer, 2 * NS_PER_S);
    put_age(writer, 1800 * NS_PER_S);
    put_age(writer, 8 * NS_PER_S);
    fixture_check(night_writer_close(writer, FIXTURE_START_NS + 9 * NS_PER_S, &error), &error);
    review(fixture, text, sizeof text);
    assert_string_equal(text, "\nClocks over the night: least / median / most\n"
                              "  n1 (hall)\n"
                              "    site time less its own: 1.500 s / 1.500 s / 1.500 s\n"
                              "    crystal: +40.000 ppm / +40.500 ppm / +41.000 ppm\n"
                              "    uncertainty (one sigma): 1 ms / 2 ms / 30 ms\n"
                              "    since the last good exchange: 2 s / 8 s / 30 min\n");
}

static void a_night_without_clocks_has_no_such_part(void **state)
{
    const struct fixture *fixture = *state;
    struct error error;
    char text[2048] = "";
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    fixture_check(night_writer_close(writer, FIXTURE_START_NS + NS_PER_S, &error), &error);
    review(fixture, text, sizeof text);
    assert_string_equal(text, "");
}

int main(void)
{
#define PROMISE(name) cmocka_unit_test_setup_teardown(name, fixture_setup, fixture_teardown)
    const struct CMUnitTest tests[] = {
        PROMISE(each_figure_is_told_as_least_median_and_most),
        PROMISE(a_night_without_clocks_has_no_such_part),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
