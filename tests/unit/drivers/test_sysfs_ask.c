/* One of the kernel's files, asked for within a deadline. */
#include "tests/unit/drivers/kernel_tree.h"

#include "common/clock.h"
#include "node/drivers/sysfs_ask.h"
#include "node/drivers/sysfs_reader.h"

static char path[512];

static int start(void **state)
{
    (void)state;
    tree_begin();
    snprintf(path, sizeof path, "%s/file", tree_root);
    return 0;
}

static int end(void **state)
{
    (void)state;
    return tree_end();
}

static void a_line_comes_without_its_end_and_a_number_as_it_is_written(void **state)
{
    (void)state;
    char text[SYSFS_TEXT_SIZE];
    struct decimal value;
    struct error error;
    tree_put("file", "0.000917431\n");
    assert_int_equal(sysfs_ask_text(path, 5000, text, sizeof text, &error), 0);
    assert_string_equal(text, "0.000917431");
    assert_int_equal(sysfs_ask_decimal(path, 5000, &value, &error), 0);
    assert_int_equal(value.mantissa, 917431);
    assert_int_equal(value.exponent, -9);
}

static void a_setting_is_written(void **state)
{
    (void)state;
    struct error error;
    tree_put("file", "0");
    assert_int_equal(sysfs_ask_write(path, 5000, "1", &error), 0);
    tree_has("file", "1");
}

static void what_is_not_there_is_told_apart_from_what_says_nonsense(void **state)
{
    (void)state;
    char text[SYSFS_TEXT_SIZE];
    struct decimal value;
    struct error error;
    assert_int_equal(sysfs_ask_text(path, 5000, text, sizeof text, &error), -1);
    assert_error(error, ERROR_NOT_FOUND, path);
    assert_int_equal(sysfs_ask_write(path, 5000, "1", &error), -1);
    assert_error(error, ERROR_NOT_FOUND, path);
    tree_put("file", "nonsense\n");
    assert_int_equal(sysfs_ask_decimal(path, 5000, &value, &error), -1);
    assert_error(error, ERROR_IO, path); /* the sensor's fault, not the config's */
}

static void who_does_not_answer_is_left_when_the_time_is_over(void **state)
{
    (void)state;
    char text[SYSFS_TEXT_SIZE];
    struct error error;
    assert_int_equal(mkfifo(path, 0600), 0); /* opening it waits for a writer */
    assert_int_equal(sysfs_ask_text(path, 50, text, sizeof text, &error), -1);
    assert_error(error, ERROR_IO, "no answer");
    FILE *writer = fopen(path, "w"); /* lets the thread go */
    assert_non_null(writer);
    fputs("late\n", writer);
    fclose(writer);
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, end)
    const struct CMUnitTest tests[] = {
        TEST(a_line_comes_without_its_end_and_a_number_as_it_is_written),
        TEST(a_setting_is_written),
        TEST(what_is_not_there_is_told_apart_from_what_says_nonsense),
        TEST(who_does_not_answer_is_left_when_the_time_is_over),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
