/* Tests of the system clock and its skewed view.
 * Must never sleep: bounds hold however slow the machine is.
 * Run by ctest. */
#include "tests/unit/test.h"

#include "common/clock.h"

static int64_t mono(const struct clock_source *clock)
{
    return clock->mono_ns(clock->context);
}

static int64_t real(const struct clock_source *clock)
{
    return clock->real_ns(clock->context);
}

/* That `skewed` is the plain clock plus `expected`, read between two plain readings. */
static void assert_ahead(int64_t before, int64_t skewed, int64_t after, int64_t expected)
{
    assert_true(skewed - expected >= before);
    assert_true(skewed - expected <= after);
}

static void the_machines_clocks_run_and_know_the_century(void **state)
{
    (void)state;
    struct clock_source clock = clock_system();
    int64_t first = mono(&clock);
    assert_true(mono(&clock) >= first);
    assert_true(first > 0);
    assert_true(real(&clock) > INT64_C(1600000000) * NS_PER_S);
}

static void an_offset_shifts_both_clocks(void **state)
{
    (void)state;
    struct clock_skew skew;
    assert_int_equal(clock_skew_parse("offset_s=0.25", &skew, NULL), 0);
    struct clock_source plain = clock_system();
    struct clock_source skewed = clock_skewed(&skew);
    int64_t before = mono(&plain);
    int64_t between = mono(&skewed);
    assert_ahead(before, between, mono(&plain), 250000000);
    before = real(&plain);
    between = real(&skewed);
    assert_ahead(before, between, real(&plain), 250000000);
}

static void a_jump_moves_only_the_wall_clock_and_only_after_its_time(void **state)
{
    (void)state;
    struct clock_skew skew = {.jumps = {{-3600 * NS_PER_S, 1000000 * NS_PER_S}}, .jump_count = 1};
    struct clock_source plain = clock_system();
    struct clock_source skewed = clock_skewed(&skew);
    int64_t before = real(&plain);
    int64_t between = real(&skewed);
    assert_ahead(before, between, real(&plain), 0);
    skew.start_mono_ns -= 1000001 * NS_PER_S;
    before = real(&plain);
    between = real(&skewed);
    assert_ahead(before, between, real(&plain), -3600 * NS_PER_S);
    before = mono(&plain);
    between = mono(&skewed);
    assert_ahead(before, between, mono(&plain), 0);
}

static void a_rate_error_grows_with_the_time_since_the_start(void **state)
{
    (void)state;
    struct clock_skew skew;
    assert_int_equal(clock_skew_parse("rate_ppm=-40", &skew, NULL), 0);
    struct clock_source plain = clock_system();
    struct clock_source skewed = clock_skewed(&skew);
    skew.start_mono_ns -= 10000 * NS_PER_S;
    skew.start_real_ns -= 10000 * NS_PER_S;
    int64_t ahead_ns = mono(&skewed) - mono(&plain);
    assert_close(ahead_ns, -400000000, 50000000);
    ahead_ns = real(&skewed) - real(&plain);
    assert_close(ahead_ns, -400000000, 50000000);
}

static void several_jumps_add_up(void **state)
{
    (void)state;
    struct clock_skew skew;
    assert_int_equal(clock_skew_parse("jump_s=3600,jump_after_s=10,jump_s=-1,jump_after_s=20",
                                      &skew, NULL),
                     0);
    assert_int_equal(skew.jump_count, 2);
    struct clock_source plain = clock_system();
    struct clock_source skewed = clock_skewed(&skew);
    skew.start_mono_ns -= 15 * NS_PER_S;
    int64_t before = real(&plain);
    int64_t between = real(&skewed);
    assert_ahead(before, between, real(&plain), 3600 * NS_PER_S);
    skew.start_mono_ns -= 10 * NS_PER_S;
    before = real(&plain);
    between = real(&skewed);
    assert_ahead(before, between, real(&plain), 3599 * NS_PER_S);
}

static void a_machine_that_does_not_sleep_says_so(void **state)
{
    (void)state;
    struct clock_source clock = clock_system();
    int64_t slept = clock_slept_ns(&clock);
    assert_true(slept >= 0);
    for (int i = 0; i < 100000; i++) {
        assert_int64_equal(clock_slept_ns(&clock), slept);
    }
    struct clock_source unknown = {.mono_ns = clock.mono_ns, .real_ns = clock.real_ns};
    assert_int64_equal(clock_slept_ns(&unknown), 0);
}

static void a_process_that_stood_still_finds_that_it_slept(void **state)
{
    (void)state;
    struct clock_skew skew;
    assert_int_equal(clock_skew_parse("sleep_over_s=1000,sleep_error_s=0.25", &skew, NULL), 0);
    struct clock_source plain = clock_system();
    struct clock_source skewed = clock_skewed(&skew);
    int64_t slept = clock_slept_ns(&skewed);
    assert_int64_equal(slept, clock_slept_ns(&plain));
    skew.last_ns -= 2000 * NS_PER_S;
    int64_t before = mono(&plain);
    int64_t between = mono(&skewed);
    assert_ahead(before, between, mono(&plain), NS_PER_S / 4);
    assert_true(clock_slept_ns(&skewed) - slept >= 2000 * NS_PER_S);
    assert_true(clock_slept_ns(&skewed) - slept < 3000 * NS_PER_S);
}

static void all_parts_are_read_exactly(void **state)
{
    (void)state;
    struct clock_skew skew;
    assert_int_equal(clock_skew_parse("jump_after_s=10,offset_s=-0.123456789,rate_ppm=12.345,"
                                      "jump_s=3600",
                                      &skew, NULL),
                     0);
    assert_int64_equal(skew.offset_ns, -123456789);
    assert_int64_equal(skew.rate_ppb, 12345);
    assert_int_equal(skew.jump_count, 1);
    assert_int64_equal(skew.jumps[0].by_ns, 3600 * NS_PER_S);
    assert_int64_equal(skew.jumps[0].after_ns, 10 * NS_PER_S);
}

static void a_malformed_skew_is_named(void **state)
{
    (void)state;
    const struct {
        const char *text;
        const char *part;
    } cases[] = {
        {"", "unknown part"},
        {"offset=1", "\"offset=1\": unknown part"},
        {"offset_s=1,", "unknown part"},
        {"offset_s=abc", "offset_s: \"abc\": not a number"},
        {"offset_s=1,offset_s=1", "offset_s given twice"},
        {"offset_s=0.0000000001", "offset_s: too large or too fine"},
        {"jump_s=1e12", "jump_s: too large"},
        {"rate_ppm=1000000", "rate_ppm: too large"},
        {"jump_after_s=-1", "jump_after_s is negative"},
        {"jump_s=1,jump_s=1,jump_s=1,jump_s=1,jump_s=1", "jump_s given too often"},
        {"sleep_over_s=1,sleep_over_s=1", "sleep_over_s given twice"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct clock_skew skew;
        struct error error = {0};
        assert_int_equal(clock_skew_parse(cases[i].text, &skew, &error), -1);
        assert_non_null(strstr(error.text, cases[i].part));
    }
}

static void the_environment_decides_between_plain_and_skewed(void **state)
{
    (void)state;
    struct clock_skew skew;
    struct clock_source clock;
    struct error error = {0};
    (void)unsetenv("ROOMWAKE_CLOCK");
    assert_int_equal(clock_from_environment(&skew, &clock, &error), 0);
    assert_null(clock.context);
    (void)setenv("ROOMWAKE_CLOCK", "offset_s=5", 1);
    assert_int_equal(clock_from_environment(&skew, &clock, &error), 0);
    assert_ptr_equal(clock.context, &skew);
    (void)setenv("ROOMWAKE_CLOCK", "offset_s", 1);
    assert_int_equal(clock_from_environment(&skew, &clock, &error), -1);
    assert_error(error, ERROR_FORMAT, "ROOMWAKE_CLOCK: clock skew");
    (void)unsetenv("ROOMWAKE_CLOCK");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_machines_clocks_run_and_know_the_century),
        cmocka_unit_test(an_offset_shifts_both_clocks),
        cmocka_unit_test(a_jump_moves_only_the_wall_clock_and_only_after_its_time),
        cmocka_unit_test(a_rate_error_grows_with_the_time_since_the_start),
        cmocka_unit_test(several_jumps_add_up),
        cmocka_unit_test(a_machine_that_does_not_sleep_says_so),
        cmocka_unit_test(a_process_that_stood_still_finds_that_it_slept),
        cmocka_unit_test(all_parts_are_read_exactly),
        cmocka_unit_test(a_malformed_skew_is_named),
        cmocka_unit_test(the_environment_decides_between_plain_and_skewed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
