/* Tests of the clock that a simulation keeps for all programs of a test.
 * Must never sleep: what runs is waited for by its limit.
 * Run by ctest. */
#include "tests/unit/test.h"

#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "common/clock.h"
#include "common/clock_page.h"

static char path[64];

static int make_name(void **state)
{
    (void)state;
    snprintf(path, sizeof path, "/tmp/roomwake-page-%ld", (long)getpid());
    (void)unlink(path);
    return 0;
}

static int take_away(void **state)
{
    (void)state;
    (void)unlink(path);
    return 0;
}

static int64_t wait_for_limit(const struct clock_page *page, int64_t limit_ns)
{
    int64_t now_ns = clock_page_mono_ns(page);
    while (now_ns < limit_ns) {
        int64_t then_ns = clock_page_mono_ns(page);
        assert_true(then_ns >= now_ns);
        now_ns = then_ns;
    }
    return now_ns;
}

static void it_runs_to_its_limit_and_waits_there(void **state)
{
    (void)state;
    struct clock_page *page;
    const struct clock_page *seen;
    assert_int_equal(clock_page_make(path, 8, &page, NULL), 0);
    assert_int_equal(clock_page_open(path, &seen, NULL), 0);
    int64_t begin_ns = clock_page_mono_ns(seen);
    for (int64_t i = 1; i <= 20; i++) {
        int64_t limit_ns = begin_ns + i * 500000;
        clock_page_allow(page, limit_ns);
        assert_int_equal(wait_for_limit(seen, limit_ns), limit_ns);
    }
    clock_page_allow(page, begin_ns); /* never back */
    assert_int_equal(clock_page_mono_ns(seen), begin_ns + 20 * 500000);
    assert_int_equal(clock_page_hurry(seen), 8);
}

static void programs_live_in_it_by_their_environment(void **state)
{
    (void)state;
    struct clock_page *page;
    struct clock_skew skew;
    char text[96];
    assert_int_equal(clock_page_make(path, 3, &page, NULL), 0);
    int64_t stands_ns = clock_page_mono_ns(page);
    snprintf(text, sizeof text, "page=%s,offset_s=5", path);
    assert_int_equal(clock_skew_parse(text, &skew, NULL), 0);
    struct clock_source clock = clock_skewed(&skew);
    assert_int_equal(clock.mono_ns(clock.context), stands_ns + 5 * NS_PER_S);
    assert_int_equal(clock.hurry, 3);
    assert_int_equal(clock_wait_ms(&clock, 30 * 1000000), 11);
}

static void what_is_no_clocks_page_is_refused(void **state)
{
    (void)state;
    const struct clock_page *seen;
    struct clock_page *page;
    struct error error;
    assert_int_equal(clock_page_open(path, &seen, &error), -1);
    assert_non_null(strstr(error.text, path));
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    assert_true(fputs("something else", file) >= 0);
    assert_int_equal(fclose(file), 0);
    assert_int_equal(clock_page_open(path, &seen, &error), -1);
    assert_int_equal(clock_page_make(path, 1, &page, &error),
                     -1); /* nor is anything written over */
    assert_int_equal(clock_page_make(path, 0, &page, &error), -1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(it_runs_to_its_limit_and_waits_there, make_name, take_away),
        cmocka_unit_test_setup_teardown(programs_live_in_it_by_their_environment, make_name,
                                        take_away),
        cmocka_unit_test_setup_teardown(what_is_no_clocks_page_is_refused, make_name, take_away),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
