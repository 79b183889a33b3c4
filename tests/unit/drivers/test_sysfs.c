/* The drivers over the kernel's files, on a folder that is laid out as the kernel documents it and
 * that misbehaves: files that vanish, hang and say nonsense. Must never touch the real /sys. Run by
 * ctest. */
#include "tests/unit/drivers/kernel_tree.h"

#include <cjson/cJSON.h>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include "node/drivers/driver.h"
#include "node/drivers/sysfs_reader.h"

static char settings_text[1024];
static struct channel channels[8];
static size_t channel_count;
static struct driver *driver;
static const struct driver_type *type;
static cJSON *settings;
static struct {
    size_t samples[3];
    int32_t last[3];
    int64_t first_ns, last_ns;
} got;

static void on_samples(void *context, size_t channel, int64_t t0_ns, int64_t period_ps,
                       const int32_t *counts, size_t count)
{
    (void)context;
    assert_true(channel < 3 && count == 1 && period_ps > 0);
    if (channel == 0) {
        assert_true(got.samples[0] == 0 || t0_ns > got.last_ns);
        got.first_ns = got.samples[0] == 0 ? t0_ns : got.first_ns;
        got.last_ns = t0_ns;
    }
    got.samples[channel]++;
    got.last[channel] = counts[0];
}

static const struct driver_sink sink = {.samples = on_samples};

static int start(void **state)
{
    (void)state;
    tree_begin();
    memset(&got, 0, sizeof got);
    driver = NULL;
    settings = NULL;
    return 0;
}

static int end(void **state)
{
    (void)state;
    if (driver) {
        type->close(driver);
    }
    cJSON_Delete(settings);
    return tree_end();
}

static int open_driver(const char *name, const char *more, struct error *error)
{
    snprintf(settings_text, sizeof settings_text, "{\"root\":\"%s\"%s}", tree_root, more);
    settings = cJSON_Parse(settings_text);
    assert_non_null(settings);
    type = driver_find(name);
    assert_non_null(type);
    struct driver_setup setup = {
        .settings = settings, .path = "drivers[0]", .config_dir = ".", .clock = clock_system()};
    return type->open(&setup, &driver, channels, 8, &channel_count, error);
}

static int64_t now_ns(void)
{
    struct clock_source clock = clock_system();
    return clock.mono_ns(clock.context);
}

/* Polls until `wanted` samples of the first channel came; -1 where the driver failed. */
static int poll_for(size_t wanted, struct error *error)
{
    int64_t deadline_ns = now_ns() + 30 * NS_PER_S;
    while (got.samples[0] < wanted && now_ns() < deadline_ns) {
        int64_t next_ns;
        int64_t at_ns = now_ns();
        if (type->poll(driver, at_ns, &sink, &next_ns, error)) {
            return -1;
        }
        assert_true(next_ns > at_ns);
        assert_true(type->told_ns(driver, at_ns) <= at_ns || got.samples[0] > 0);
        usleep(2000);
    }
    return 0;
}

static void make_magnetometer(void)
{
    tree_put("bus/iio/devices/iio:device0/name", "other\n");
    tree_put("bus/iio/devices/iio:device1/name", "compass\n");
    tree_put("bus/iio/devices/iio:device1/in_magn_x_raw", "321\n");
    tree_put("bus/iio/devices/iio:device1/in_magn_y_raw", "-77\n");
    tree_put("bus/iio/devices/iio:device1/in_magn_z_raw", "12\n");
    tree_put("bus/iio/devices/iio:device1/in_magn_scale", "0.000917431\n");
}

static void a_magnetometers_gauss_become_tesla_to_the_last_digit(void **state)
{
    (void)state;
    struct error error;
    make_magnetometer();
    assert_int_equal(open_driver("iio",
                                 ",\"device\":\"compass\",\"kind\":\"magnetometer\",\"rate_hz\":50",
                                 &error),
                     0);
    assert_int_equal(channel_count, 3);
    assert_string_equal(channels[1].name, "magnetic.y");
    assert_string_equal(channels[1].unit, "T");
    char text[DECIMAL_TEXT_SIZE];
    channel_value_text(&channels[0], 321, text);
    assert_string_equal(text, "0.0000294495351");
    assert_int_equal(poll_for(3, &error), 0);
    assert_int64_equal(got.last[0], 321);
    assert_int64_equal(got.last[1], -77);
    assert_int64_equal(got.last[2], 12);
}

static void an_accelerometer_and_a_converter_keep_scale_and_offset(void **state)
{
    (void)state;
    struct error error;
    tree_put("bus/iio/devices/iio:device0/in_voltage3_raw", "100\n");
    tree_put("bus/iio/devices/iio:device0/in_voltage_scale", "0.125\n");
    tree_put("bus/iio/devices/iio:device0/in_voltage3_offset", "-20\n");
    assert_int_equal(
        open_driver("iio", ",\"device\":\"iio:device0\",\"kind\":\"voltage\",\"input\":3", &error),
        0);
    assert_string_equal(channels[0].name, "electric");
    assert_close(channel_value(&channels[0], 100), 0.01, 1e-15); /* (100 - 20) * 0.125 mV */
}

static void a_device_without_its_scale_is_refused_by_name(void **state)
{
    (void)state;
    struct error error;
    make_magnetometer();
    char path[400];
    snprintf(path, sizeof path, "%s/bus/iio/devices/iio:device1/in_magn_scale", tree_root);
    unlink(path);
    const char *more = ",\"device\":\"compass\",\"kind\":\"magnetometer\"";
    assert_int_equal(open_driver("iio", more, &error), -1);
    assert_error(error, ERROR_NOT_FOUND, "no scale of in_magn_x");
    cJSON_Delete(settings);
    settings = NULL;
    assert_int_equal(open_driver("iio", ",\"device\":\"gone\",\"kind\":\"magnetometer\"", &error),
                     -1);
    assert_error(error, ERROR_NOT_FOUND, "no device is called \"gone\"");
}

static void a_file_that_vanishes_or_says_nonsense_fails_the_driver_in_words(void **state)
{
    (void)state;
    struct error error;
    const char *more = ",\"device\":\"hwmon0\",\"rate_hz\":10";
    tree_put("class/hwmon/hwmon0/temp1_input", "21375\n");
    assert_int_equal(open_driver("hwmon", more, &error), 0);
    assert_int_equal(poll_for(2, &error), 0);
    assert_int64_equal(got.last[0], 21375);
    assert_close(channel_value(&channels[0], got.last[0]), 21.375, 1e-12);
    tree_put("class/hwmon/hwmon0/temp1_input", "warm\n");
    assert_int_equal(poll_for(100000, &error), -1);
    assert_non_null(strstr(error.text, "warm"));
    char path[400];
    snprintf(path, sizeof path, "%s/class/hwmon/hwmon0/temp1_input", tree_root);
    unlink(path);
    type->close(driver);
    cJSON_Delete(settings);
    settings = NULL;
    assert_int_equal(open_driver("hwmon", more, &error), 0); /* it may come yet */
    assert_int_equal(poll_for(100000, &error), -1);
    assert_error(error, ERROR_IO, "No such file");
}

static void a_thermometer_with_a_wrong_checksum_or_no_conversion_is_not_believed(void **state)
{
    (void)state;
    struct error error;
    const char *name = "bus/w1/devices/28-0000/w1_slave";
    const char *more = ",\"device\":\"28-0000\",\"rate_hz\":1";
    tree_put(name, "55 00 4b 46 7f ff 0b 10 1e : crc=1e YES\n55 00 4b 46 7f ff 0b 10 1e t=5312\n");
    assert_int_equal(open_driver("onewire", more, &error), 0);
    assert_int_equal(poll_for(1, &error), 0);
    assert_int64_equal(got.last[0], 5312);
    tree_put(name, "55 00 4b 46 7f ff 0b 10 1f : crc=1e NO\n55 00 4b 46 7f ff 0b 10 1f t=5312\n");
    assert_int_equal(poll_for(100000, &error), -1);
    assert_error(error, ERROR_CHECKSUM, "checksum");
    type->close(driver);
    cJSON_Delete(settings);
    settings = NULL;
    tree_put(name, "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n");
    assert_int_equal(open_driver("onewire", more, &error), 0);
    assert_int_equal(poll_for(100000, &error), -1);
    assert_error(error, ERROR_STATE, "85 degrees");
}

/* A pipe that nobody writes to holds its reader for ever, as a part that hangs does. */
static void a_file_that_hangs_holds_up_neither_the_loop_nor_the_end(void **state)
{
    (void)state;
    struct error error;
    char path[400];
    tree_put("class/hwmon/hwmon0/other", "1\n");
    snprintf(path, sizeof path, "%s/class/hwmon/hwmon0/temp1_input", tree_root);
    assert_int_equal(mkfifo(path, 0600), 0);
    assert_int_equal(open_driver("hwmon", ",\"device\":\"hwmon0\",\"rate_hz\":10", &error), 0);
    int64_t next_ns;
    int64_t begun_ns = now_ns();
    assert_int_equal(type->poll(driver, begun_ns, &sink, &next_ns, &error), 0);
    assert_int_equal(type->poll(driver, begun_ns + 60 * NS_PER_S, &sink, &next_ns, &error), -1);
    assert_error(error, ERROR_IO, "no answer for");
    type->close(driver);
    driver = NULL;
    assert_true(now_ns() - begun_ns < 30 * NS_PER_S);
    int writer = open(path, O_RDWR); /* lets the thread go, wherever it is */
    assert_true(writer >= 0);
    close(writer);
    usleep(50000);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_magnetometers_gauss_become_tesla_to_the_last_digit, start,
                                        end),
        cmocka_unit_test_setup_teardown(an_accelerometer_and_a_converter_keep_scale_and_offset,
                                        start, end),
        cmocka_unit_test_setup_teardown(a_device_without_its_scale_is_refused_by_name, start, end),
        cmocka_unit_test_setup_teardown(
            a_file_that_vanishes_or_says_nonsense_fails_the_driver_in_words, start, end),
        cmocka_unit_test_setup_teardown(
            a_thermometer_with_a_wrong_checksum_or_no_conversion_is_not_believed, start, end),
        cmocka_unit_test_setup_teardown(a_file_that_hangs_holds_up_neither_the_loop_nor_the_end,
                                        start, end),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
