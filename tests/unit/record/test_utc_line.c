/* Promises of the way from UTC to the site's time, against clocks and a kernel of the test's own.
 * Must never sleep: time goes on when the test says so. */
#include "tests/unit/test.h"

#include "collector/record/utc_line.h"

#define UTC_NS (INT64_C(1700000000) * NS_PER_S)
#define BEGUN_NS (5 * NS_PER_S)
#define CRYSTAL_PPM 35

static int64_t mono_ns;
static int64_t wall_off_ns; /* of the wall clock from UTC */
static struct kernel_reading says;
static struct site_clock site;
static struct utc_line line;

static int64_t true_utc_ns(void)
{
    int64_t since_ns = mono_ns - BEGUN_NS;
    return UTC_NS + since_ns - since_ns / 1000000 * CRYSTAL_PPM;
}

static int64_t mono(void *context)
{
    (void)context;
    return mono_ns;
}

static int64_t real(void *context)
{
    (void)context;
    return true_utc_ns() + wall_off_ns;
}

static void answer(void *context, struct kernel_reading *reading)
{
    (void)context;
    *reading = says;
}

static int begin(void **state)
{
    (void)state;
    mono_ns = BEGUN_NS;
    wall_off_ns = 0;
    says = (struct kernel_reading){.disciplined = true, .bound_ns = 2000000};
    site_clock_init(&site, (struct clock_source){.mono_ns = mono, .real_ns = real});
    site.utc_error_ns = NS_PER_S;
    utc_line_init(&line, (struct kernel_clock){.read = answer});
    return 0;
}

static void pass_s(int64_t seconds)
{
    for (int64_t i = 0; i < seconds; i++) {
        mono_ns += NS_PER_S;
        utc_line_look(&line, &site);
    }
}

/* Of a moment of UTC that is now. */
static int64_t error_ns(int64_t *sd_ns)
{
    struct clock_fit fit = utc_line_to_site(&line, &site);
    assert_true(fit.known);
    *sd_ns = clock_fit_uncertainty_ns(&fit, true_utc_ns());
    return clock_fit_site_ns(&fit, true_utc_ns()) - site_clock_now_ns(&site);
}

static void utc_is_followed_all_night_though_the_site_s_clock_leaves_it(void **state)
{
    (void)state;
    int64_t sd_ns;
    wall_off_ns = 300000; /* within what the kernel says */
    utc_line_look(&line, &site);
    for (int hour = 0; hour < 8; hour++) {
        pass_s(3600);
        assert_in_range(llabs(error_ns(&sd_ns)), 0, 700000);
        assert_in_range(sd_ns, 2000000 / 2, 2000000);
    }
    assert_in_range(site_clock_now_ns(&site) - true_utc_ns(), 1000000000, 1100000000);
}

static void a_kernel_that_does_not_vouch_leaves_the_first_second_and_the_crystal(void **state)
{
    (void)state;
    int64_t sd_ns;
    says.disciplined = false;
    pass_s(3600);
    assert_in_range(llabs(error_ns(&sd_ns)), 100000000, 130000000);
    assert_in_range(sd_ns, NS_PER_S + 359 * (NS_PER_S / 1000), NS_PER_S + 361 * (NS_PER_S / 1000));
    says.disciplined = true; /* and once it does: */
    pass_s(17);
    assert_in_range(llabs(error_ns(&sd_ns)), 0, 1000000);
}

static void a_kernel_that_is_lost_again_is_believed_ever_less(void **state)
{
    (void)state;
    int64_t before_sd_ns;
    int64_t sd_ns;
    pass_s(3600);
    (void)error_ns(&before_sd_ns);
    says.disciplined = false;
    wall_off_ns = 3600 * NS_PER_S; /* set by hand: not followed */
    pass_s(3600);
    int64_t off_ns = llabs(error_ns(&sd_ns));
    assert_in_range(off_ns, 0, 2 * sd_ns);
    assert_true(sd_ns > before_sd_ns);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(utc_is_followed_all_night_though_the_site_s_clock_leaves_it, begin),
        cmocka_unit_test_setup(a_kernel_that_does_not_vouch_leaves_the_first_second_and_the_crystal,
                               begin),
        cmocka_unit_test_setup(a_kernel_that_is_lost_again_is_believed_ever_less, begin),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
