/* The buffered driver on a tree laid out as the kernel documents it, its device a pipe: records of
 * every layout, half records, a trigger that stands still, a device that goes. Must never touch the
 * real /sys. */
#include "tests/unit/drivers/kernel_tree.h"

#include <cjson/cJSON.h>
#include <fcntl.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "node/drivers/driver.h"
#include "node/drivers/iio_scan.h"

static int device; /* the pipe's writing end */
static struct channel channels[8];
static size_t channel_count;
static struct driver *driver;
static const struct driver_type *type;
static cJSON *settings;
static struct {
    size_t samples[3];
    int32_t counts[3][64];
    int64_t times_ns[64];
} got;

static void on_samples(void *context, size_t channel, int64_t t0_ns, int64_t period_ps,
                       const int32_t *counts, size_t count)
{
    (void)context;
    assert_true(channel < 3 && count == 1 && period_ps > 0 && got.samples[channel] < 64);
    got.times_ns[got.samples[channel]] = t0_ns;
    got.counts[channel][got.samples[channel]++] = counts[0];
}

static const struct driver_sink sink = {.samples = on_samples};

#define DEVICE "bus/iio/devices/iio:device0/"

static int start(void **state)
{
    char path[512];
    (void)state;
    tree_begin();
    memset(&got, 0, sizeof got);
    driver = NULL;
    settings = NULL;
    tree_put(DEVICE "name", "compass\n");
    tree_put(DEVICE "in_magn_scale", "0.001\n");
    tree_put(DEVICE "sampling_frequency", "0");
    tree_put(DEVICE "current_timestamp_clock", "realtime\n");
    tree_put(DEVICE "trigger/current_trigger", "\n");
    tree_put(DEVICE "buffer/enable", "0\n");
    tree_put(DEVICE "buffer/length", "2\n");
    static const char *const names[] = {"in_magn_x", "in_magn_y", "in_magn_z", "in_timestamp"};
    static const char *const types[] = {"be:s16/16>>0\n", "le:s12/16>>4\n", "be:s24/32>>8\n",
                                        "le:s64/64>>0\n"};
    for (int i = 0; i < 4; i++) {
        char name[128], text[8];
        snprintf(name, sizeof name, DEVICE "scan_elements/%s_en", names[i]);
        tree_put(name, "0\n");
        snprintf(name, sizeof name, DEVICE "scan_elements/%s_type", names[i]);
        tree_put(name, types[i]);
        snprintf(name, sizeof name, DEVICE "scan_elements/%s_index", names[i]);
        snprintf(text, sizeof text, "%d\n", i);
        tree_put(name, text);
    }
    tree_put("dev/here", "");
    snprintf(path, sizeof path, "%s/dev/iio:device0", tree_root);
    assert_int_equal(mkfifo(path, 0600), 0);
    device = open(path, O_RDWR | O_NONBLOCK);
    assert_true(device >= 0);
    return 0;
}

static int end(void **state)
{
    (void)state;
    if (driver) {
        type->close(driver);
        tree_has(DEVICE "buffer/enable", "0");
    }
    if (device >= 0) {
        close(device);
    }
    cJSON_Delete(settings);
    return tree_end();
}

static int open_driver(struct error *error)
{
    char text[1024];
    snprintf(text, sizeof text,
             "{\"root\":\"%s\",\"dev\":\"%s/dev\",\"device\":\"compass\",\"kind\":\"magnetometer\","
             "\"rate_hz\":100,\"trigger\":\"tick\"}",
             tree_root, tree_root);
    settings = cJSON_Parse(text);
    type = driver_find("iio-buffer");
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

/* x big-endian 16 bits, y 12 bits in the upper ones of 16, z 24 bits of 32, the time at 8. */
static void fill(uint8_t record[16], int x, int y, int z, int64_t time_ns)
{
    memset(record, 0xAA, 16);
    record[0] = (uint8_t)((unsigned)x >> 8);
    record[1] = (uint8_t)x;
    record[2] = (uint8_t)(((unsigned)y << 4 & 0xf0) | 0x5);
    record[3] = (uint8_t)((unsigned)y >> 4);
    record[4] = (uint8_t)((unsigned)z >> 16);
    record[5] = (uint8_t)((unsigned)z >> 8);
    record[6] = (uint8_t)z;
    memcpy(record + 8, &time_ns, 8);
}

static int poll_for(size_t wanted, struct error *error)
{
    int64_t deadline_ns = now_ns() + 20 * NS_PER_S;
    while (got.samples[0] < wanted && now_ns() < deadline_ns) {
        int64_t next_ns;
        int64_t at_ns = now_ns();
        if (type->poll(driver, at_ns, &sink, &next_ns, error)) {
            return -1;
        }
        assert_true(next_ns > at_ns && type->told_ns(driver, at_ns) <= at_ns);
        usleep(2000);
    }
    return 0;
}

static void every_record_comes_with_the_kernels_time_and_each_axis_as_it_lies(void **state)
{
    (void)state;
    struct error error;
    uint8_t records[3][16];
    assert_int_equal(open_driver(&error), 0);
    assert_int_equal(channel_count, 3);
    tree_has(DEVICE "sampling_frequency", "100");
    tree_has(DEVICE "trigger/current_trigger", "tick");
    tree_has(DEVICE "current_timestamp_clock", "monotonic_raw");
    tree_has(DEVICE "scan_elements/in_timestamp_en", "1");
    tree_has(DEVICE "buffer/enable", "1");
    assert_int_equal(channels[1].least, -2048);
    assert_int_equal(channels[1].most, 2047);
    int64_t first_ns = now_ns();
    fill(records[0], -3, 2047, -8388608, first_ns);
    fill(records[1], 300, -2048, 8388607, first_ns + 1000);
    fill(records[2], 301, -1, 0, first_ns + 2000);
    /* A record and a half, then the rest. */
    assert_int_equal(write(device, records, 24), 24);
    assert_int_equal(poll_for(1, &error), 0);
    assert_int_equal(write(device, (uint8_t *)records + 24, 24), 24);
    assert_int_equal(poll_for(3, &error), 0);
    static const int32_t expected[3][3] = {
        {-3, 300, 301}, {2047, -2048, -1}, {-8388608, 8388607, 0}};
    for (int axis = 0; axis < 3; axis++) {
        assert_int_equal(got.samples[axis], 3);
        for (int i = 0; i < 3; i++) {
            assert_int_equal(got.counts[axis][i], expected[axis][i]);
        }
    }
    assert_true(llabs(got.times_ns[0] - first_ns) < NS_PER_S / 20);
    assert_true(llabs(got.times_ns[2] - got.times_ns[0] - 2000) < NS_PER_S / 20);
}

static void what_was_sampled_before_it_was_opened_is_left_out(void **state)
{
    (void)state;
    struct error error;
    uint8_t records[2][16];
    assert_int_equal(open_driver(&error), 0);
    fill(records[0], 1, 0, 0, now_ns() - 60 * NS_PER_S);
    fill(records[1], 2, 0, 0, now_ns());
    assert_int_equal(write(device, records, 32), 32);
    assert_int_equal(poll_for(1, &error), 0);
    assert_int_equal(got.counts[0][0], 2);
}

static void a_trigger_that_stands_still_is_told(void **state)
{
    (void)state;
    struct error error;
    int64_t next_ns;
    assert_int_equal(open_driver(&error), 0);
    assert_int_equal(type->poll(driver, now_ns(), &sink, &next_ns, &error), 0);
    assert_int_equal(type->poll(driver, now_ns() + 6 * NS_PER_S, &sink, &next_ns, &error), -1);
    assert_non_null(strstr(error.text, "is its trigger running?"));
}

static void a_device_that_goes_fails_the_driver(void **state)
{
    (void)state;
    struct error error;
    assert_int_equal(open_driver(&error), 0);
    close(device);
    device = -1;
    assert_int_equal(poll_for(1, &error), -1);
    assert_non_null(strstr(error.text, "the device ended"));
}

static void without_stamps_or_with_a_strange_layout_it_is_refused(void **state)
{
    (void)state;
    struct error error;
    tree_put(DEVICE "scan_elements/in_magn_y_type", "le:s12/17>>4\n");
    assert_int_equal(open_driver(&error), -1);
    assert_non_null(strstr(error.text, "no layout"));
    cJSON_Delete(settings);
    tree_put(DEVICE "scan_elements/in_magn_y_type", "le:s12/16>>4\n");
    char path[512];
    snprintf(path, sizeof path, "%s/" DEVICE "scan_elements/in_timestamp_en", tree_root);
    assert_int_equal(unlink(path), 0);
    assert_int_equal(open_driver(&error), -1);
    assert_non_null(strstr(error.text, "in_timestamp_en"));
    driver = NULL;
}

static void layouts_follow_the_kernels_rules(void **state)
{
    (void)state;
    struct iio_scan scan = {.count = 3};
    struct error error;
    assert_int_equal(iio_scan_parse("le:u16/16>>0", &scan.parts[0], &error), 0);
    assert_int_equal(iio_scan_parse("be:s24/32>>8", &scan.parts[1], &error), 0);
    assert_int_equal(iio_scan_parse("le:s64/64>>0", &scan.parts[2], &error), 0);
    scan.parts[0].index = 7; /* after the 32 bits */
    scan.parts[1].index = 2;
    scan.parts[2].index = 9;
    iio_scan_lay_out(&scan);
    assert_int_equal(scan.parts[1].at, 0);
    assert_int_equal(scan.parts[0].at, 4);
    assert_int_equal(scan.parts[2].at, 8);
    assert_int_equal(scan.size, 16);
    static const char *const wrong[] = {
        "", "le:s0/16>>0", "le:s12/12>>0", "le:x12/16>>0", "me:s12/16>>0", "le:s12/16>>5"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        assert_int_equal(iio_scan_parse(wrong[i], &scan.parts[0], &error), -1);
    }
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, end)
    const struct CMUnitTest tests[] = {
        TEST(every_record_comes_with_the_kernels_time_and_each_axis_as_it_lies),
        TEST(what_was_sampled_before_it_was_opened_is_left_out),
        TEST(a_trigger_that_stands_still_is_told),
        TEST(a_device_that_goes_fails_the_driver),
        TEST(without_stamps_or_with_a_strange_layout_it_is_refused),
        TEST(layouts_follow_the_kernels_rules),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
