/* Promises of the site's clock, against clocks of the test's own.
 * Must never sleep: time goes on when the test says so. */
#include "tests/unit/test.h"

#include "collector/record/site_clock.h"

static struct {
    int64_t mono_ns, real_ns, slept_ns;
} machine;

static int64_t mono(void *context)
{
    (void)context;
    return machine.mono_ns;
}

static int64_t real(void *context)
{
    (void)context;
    return machine.real_ns;
}

static int64_t slept(void *context)
{
    (void)context;
    return machine.slept_ns;
}

static const struct clock_source source = {.mono_ns = mono, .real_ns = real, .slept_ns = slept};
static struct site_clock site;
static struct site_clock_news news;

static void pass(int64_t ns)
{
    machine.mono_ns += ns;
    machine.real_ns += ns;
}

static int begin(void **state)
{
    (void)state;
    machine.mono_ns = 5 * NS_PER_S;
    machine.real_ns = INT64_C(1700000000) * NS_PER_S;
    machine.slept_ns = 0;
    site_clock_init(&site, source);
    return 0;
}

static void a_wall_clock_that_steps_is_told_and_not_followed(void **state)
{
    (void)state;
    const int64_t steps_ns[] = {3600 * NS_PER_S, -3600 * NS_PER_S, -NS_PER_S};
    int64_t start_ns = site_clock_now_ns(&site);
    assert_false(site_clock_look(&site, &news));
    for (size_t i = 0; i < sizeof steps_ns / sizeof steps_ns[0]; i++) {
        pass(NS_PER_S);
        machine.real_ns += steps_ns[i];
        assert_true(site_clock_look(&site, &news));
        assert_int64_equal(news.wall_step_ns, steps_ns[i]);
        assert_int64_equal(site_clock_now_ns(&site), start_ns + (int64_t)(i + 1) * NS_PER_S);
        assert_false(site_clock_look(&site, &news));
    }
}

static void a_wall_clock_that_is_steered_is_no_news(void **state)
{
    (void)state;
    for (int i = 0; i < 10000; i++) {
        pass(NS_PER_S);
        machine.real_ns += 500000; /* 500 ppm, the most that a kernel is slewed by */
        assert_false(site_clock_look(&site, &news));
    }
}

static void a_sleep_is_told_and_the_clock_counts_as_set_anew(void **state)
{
    (void)state;
    int64_t error_ns = site.utc_error_ns;
    pass(60 * NS_PER_S);
    machine.slept_ns += 50 * NS_PER_S;
    machine.real_ns += NS_PER_S / 3; /* the two count a sleep differently */
    assert_true(site_clock_look(&site, &news));
    assert_int64_equal(news.slept_ns, 50 * NS_PER_S);
    assert_int64_equal(site.set_ns, site_clock_now_ns(&site));
    assert_int64_equal(site.utc_error_ns, error_ns + SITE_CLOCK_SLEEP_ERROR_NS);
    assert_false(site_clock_look(&site, &news));
}

static void another_recorder_goes_on_where_the_first_one_was(void **state)
{
    (void)state;
    int64_t less_ns = site_clock_less_mono_ns(&site);
    int64_t set_ns = site.set_ns;
    pass(NS_PER_S);
    int64_t before_ns = site_clock_now_ns(&site);
    machine.real_ns -= 3600 * NS_PER_S;
    site_clock_init(&site, source);
    site_clock_resume(&site, less_ns, set_ns);
    assert_int64_equal(site_clock_now_ns(&site), before_ns);
    assert_int64_equal(site.set_ns, set_ns);
    assert_int64_equal(site_clock_less_mono_ns(&site), less_ns);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(a_wall_clock_that_steps_is_told_and_not_followed, begin),
        cmocka_unit_test_setup(a_wall_clock_that_is_steered_is_no_news, begin),
        cmocka_unit_test_setup(a_sleep_is_told_and_the_clock_counts_as_set_anew, begin),
        cmocka_unit_test_setup(another_recorder_goes_on_where_the_first_one_was, begin),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
