/* A calibration survives being told, changes how counts are read and no count, and is strict. */
#include "../test.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "common/channel_calibrations.h"
#include "common/message.h"

static struct calibration some(void)
{
    struct calibration calibration = calibration_begin(INT64_C(1709330400000000000));
    (void)snprintf(calibration.how, sizeof calibration.how, "rotation, coil");
    calibration.gain = (struct decimal){1012, -3};
    calibration.offset = (struct decimal){-21, -7};
    calibration.gain_sd = 0.004;
    calibration.offset_sd = 1.5e-8;
    calibration.latency_s = -0.012;
    calibration.latency_sd_s = 0.001;
    (void)snprintf(calibration.against, sizeof calibration.against, "n2/motion");
    return calibration;
}

static struct channel magnetic(void)
{
    struct channel channel;
    assert_int_equal(channel_init(&channel, "magnetic.x", "T", 50, NULL), 0);
    channel.step = (struct decimal){15, -9};
    channel.offset = (struct decimal){3, -6};
    return channel;
}

static void what_was_not_found_stays_unknown(void **state)
{
    (void)state;
    struct calibration told = some();
    struct calibration heard;
    struct text text = {0};
    struct error error;
    assert_int_equal(calibration_write(&told, &text), 0);
    assert_null(strstr(text.bytes, "noise"));
    assert_int_equal(calibration_parse(text.bytes, text.length, "c", &heard, &error), 0);
    assert_true(calibration_same(&told, &heard));
    assert_true(isnan(heard.noise) && isnan(heard.residual));
    heard.noise = 1;
    assert_false(calibration_same(&told, &heard));
    text_free(&text);
}

static void a_hello_carries_it(void **state)
{
    (void)state;
    struct message_hello told = {.boot = 7, .software = "x", .channel_count = 2};
    struct message_hello heard;
    struct text text = {0};
    struct error error;
    struct calibration calibration = some();
    told.channels[0] = magnetic();
    assert_int_equal(channel_calibrate(&told.channels[0], &calibration, &error), 0);
    assert_int_equal(channel_init(&told.channels[1], "motion", NULL, 0, &error), 0);
    assert_int_equal(message_hello_write(&told, &text), 0);
    assert_int_equal(message_hello_read(text.bytes, text.length, &heard, &error), 0);
    assert_true(calibration_same(&heard.channels[0].calibration, &calibration));
    assert_int_equal(heard.channels[1].calibration.date_ns, 0);
    assert_true(channel_calibrated(&heard.channels[0]));
    text_free(&text);
}

static void values_follow_gain_and_offset_exactly(void **state)
{
    (void)state;
    struct channel channel = magnetic();
    struct calibration calibration = some();
    struct error error;
    char text[DECIMAL_TEXT_SIZE];
    assert_int_equal(channel_calibrate(&channel, &calibration, &error), 0);
    /* (1000 * 15e-9 + 3e-6) * 1.012 - 2.1e-6 */
    assert_int_equal(channel_value_text(&channel, 1000, text), 0);
    assert_string_equal(text, "0.000016116");
    assert_true(fabs(channel_reading(&channel, 16.116e-6) - 18e-6) < 1e-12);
    assert_int_equal(channel_calibrate(&channel, &calibration, &error), -1);
    assert_int_equal(error.code, ERROR_STATE);
}

static void what_cannot_be_exact_is_refused(void **state)
{
    (void)state;
    struct channel channel = magnetic();
    struct calibration calibration = some();
    struct error error;
    calibration.gain = (struct decimal){INT64_C(1000000000000001), -15};
    channel.step = (struct decimal){INT64_C(123456789), -16};
    assert_int_equal(channel_calibrate(&channel, &calibration, &error), -1);
    assert_int_equal(error.code, ERROR_RANGE);
    assert_int_equal(channel.step.mantissa, 123456789);
}

static void an_axis_scale_alone_is_no_calibration_of_the_unit(void **state)
{
    (void)state;
    struct channel channel = magnetic();
    struct calibration calibration = some();
    struct error error;
    assert_false(channel_calibrated(&channel));
    calibration.gain_sd = NAN;
    assert_int_equal(channel_calibrate(&channel, &calibration, &error), 0);
    assert_false(channel_calibrated(&channel));
    assert_int_equal(channel_init(&channel, "motion", NULL, 0, &error), 0);
    assert_true(channel_calibrated(&channel));
}

static void faults_name_their_field(void **state)
{
    (void)state;
    static const char *const wrong[][2] = {
        {"{\"date\":\"2024-03-01T22:00:00Z\",\"how\":\"coil\",\"gain\":\"0\",\"offset\":\"0\"}",
         "c.gain: 0"},
        {"{\"date\":\"2024\",\"how\":\"coil\",\"gain\":\"1\",\"offset\":\"0\"}", "c.date"},
        {"{\"date\":\"2024-03-01T22:00:00Z\",\"how\":\"coil\",\"gain\":1,\"offset\":\"0\"}",
         "gain"},
        {"{\"date\":\"2024-03-01T22:00:00Z\",\"how\":\"coil\",\"gain\":\"1\",\"offset\":\"0\","
         "\"gain_sd\":-1}",
         "gain_sd"},
        {"{\"date\":\"2024-03-01T22:00:00Z\",\"how\":\"a\\nb\",\"gain\":\"1\",\"offset\":\"0\"}",
         "c.how"},
        {"{\"date\":\"2024-03-01T22:00:00Z\",\"gain\":\"1\",\"offset\":\"0\",\"more\":1}", "more"},
    };
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        struct calibration calibration;
        struct error error;
        assert_int_equal(
            calibration_parse(wrong[i][0], strlen(wrong[i][0]), "c", &calibration, &error), -1);
        assert_non_null(strstr(error.text, wrong[i][1]));
    }
}

static void a_file_comes_back_whole_and_is_strict(void **state)
{
    (void)state;
    char path[] = "/tmp/roomwake-calibration-XXXXXX";
    int made = mkstemp(path);
    struct channel_calibrations told = {.node = "n1"};
    struct channel_calibrations heard;
    struct calibration calibration = some();
    struct error error;
    assert_true(made >= 0);
    close(made);
    assert_int_equal(channel_calibrations_put(&told, "magnetic.x", "T", &calibration, &error), 0);
    assert_int_equal(channel_calibrations_put(&told, "magnetic.x", "T", &calibration, &error), 0);
    assert_int_equal(told.count, 1);
    assert_int_equal(channel_calibrations_save(path, &told, &error), 0);
    assert_int_equal(channel_calibrations_load(path, &heard, &error), 0);
    assert_string_equal(heard.node, "n1");
    assert_true(calibration_same(channel_calibrations_find(&heard, "magnetic.x"), &calibration));
    assert_null(channel_calibrations_find(&heard, "magnetic.y"));
    assert_int_equal(unlink(path), 0);
    assert_int_equal(channel_calibrations_load(path, &heard, &error), -1);
    assert_int_equal(error.code, ERROR_NOT_FOUND);
    static const char later[] =
        "{\"format\":\"roomwake-calibration\",\"version\":2,\"node\":\"n1\",\"channels\":[]}";
    assert_int_equal(channel_calibrations_parse(later, strlen(later), "f", &heard, &error), -1);
    assert_int_equal(error.code, ERROR_VERSION);
}

static void another_unit_or_a_missing_channel_is_refused(void **state)
{
    (void)state;
    struct channel_calibrations file = {.node = "n1"};
    struct calibration calibration = some();
    struct channel channel = magnetic();
    struct error error;
    assert_int_equal(channel_calibrations_put(&file, "magnetic.x", "V", &calibration, &error), 0);
    assert_int_equal(channel_calibrations_check(&file, &channel, 1, &error), 0);
    assert_int_equal(channel_calibrations_apply(&file, &channel, 1, &error), -1);
    assert_non_null(strstr(error.text, "done in V"));
    assert_int_equal(channel_calibrations_put(&file, "magnetic.w", "T", &calibration, &error), 0);
    assert_int_equal(channel_calibrations_check(&file, &channel, 1, &error), -1);
    assert_int_equal(error.code, ERROR_NOT_FOUND);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_was_not_found_stays_unknown),
        cmocka_unit_test(a_hello_carries_it),
        cmocka_unit_test(values_follow_gain_and_offset_exactly),
        cmocka_unit_test(what_cannot_be_exact_is_refused),
        cmocka_unit_test(an_axis_scale_alone_is_no_calibration_of_the_unit),
        cmocka_unit_test(faults_name_their_field),
        cmocka_unit_test(a_file_comes_back_whole_and_is_strict),
        cmocka_unit_test(another_unit_or_a_missing_channel_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
