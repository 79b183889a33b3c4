/* The serial driver at the end of a pseudo-terminal: what its settings make of the board, and what
 * it says of a line that is gone, silent or full of garbage. Must never need a board. */
#include "tests/unit/test.h"

#include <cjson/cJSON.h>
#include <pty.h>
#include <termios.h>
#include <unistd.h>

#include "node/board/report.h"
#include "node/drivers/driver.h"

extern const struct driver_type driver_serial;

static int master;
static char line[128];
static int64_t now_ns;
static cJSON *settings;
static struct driver *driver;
static struct channel channels[NODE_CHANNELS_MAX];
static size_t channel_count;
static uint16_t seq;
static struct {
    size_t samples;
    int32_t last;
    size_t changes;
} got;

static int64_t read_now(void *context)
{
    (void)context;
    return now_ns;
}

static void on_samples(void *context, size_t channel, int64_t t0_ns, int64_t period_ps,
                       const int32_t *counts, size_t count)
{
    (void)context;
    (void)t0_ns;
    assert_true(channel == 0 && period_ps > 0);
    got.samples += count;
    got.last = counts[count - 1];
}

static void on_change(void *context, size_t channel, int64_t time_ns, int32_t count)
{
    (void)context;
    (void)time_ns;
    (void)count;
    assert_true(channel > 0);
    got.changes++;
}

static const struct driver_sink sink = {.samples = on_samples, .change = on_change};

static int start(void **state)
{
    int slave;
    struct termios raw;
    (void)state;
    memset(&raw, 0, sizeof raw);
    cfmakeraw(&raw);
    assert_int_equal(openpty(&master, &slave, line, &raw, NULL), 0);
    close(slave);
    now_ns = 100 * NS_PER_S;
    seq = 0;
    memset(&got, 0, sizeof got);
    driver = NULL;
    settings = NULL;
    return 0;
}

static int end(void **state)
{
    (void)state;
    if (driver) {
        driver_serial.close(driver);
    }
    cJSON_Delete(settings);
    if (master >= 0) {
        close(master);
    }
    return 0;
}

static int open_with(const char *more, struct error *error)
{
    char text[512];
    snprintf(text, sizeof text, "{\"path\":\"%s\"%s}", line, more);
    cJSON_Delete(settings);
    settings = cJSON_Parse(text);
    assert_non_null(settings);
    struct driver_setup setup = {.settings = settings,
                                 .path = "drivers[0]",
                                 .config_dir = ".",
                                 .clock = {.mono_ns = read_now}};
    return driver_serial.open(&setup, &driver, channels, NODE_CHANNELS_MAX, &channel_count, error);
}

static int poll_at(int64_t after_ns, struct error *error)
{
    int64_t next_ns;
    now_ns += after_ns;
    return driver_serial.poll(driver, now_ns, &sink, &next_ns, error);
}

static const struct channel *find(const char *name)
{
    for (size_t i = 0; i < channel_count; i++) {
        if (strcmp(channels[i].name, name) == 0) {
            return &channels[i];
        }
    }
    fail_msg("no channel %s", name);
    return NULL;
}

static void send_report(struct report *report)
{
    uint8_t bytes[FRAME_LINE_MAX];
    report->seq = seq++;
    uint8_t length = frame_encode(bytes, report_pack(report, bytes + 1));
    assert_int_equal(write(master, bytes, length), length);
}

static void send_hello(void)
{
    struct report report = {.kind = REPORT_HELLO};
    report.as.hello = (struct report_hello){.version = REPORT_VERSION,
                                            .start = 77,
                                            .tick_hz = REPORT_TICK_HZ,
                                            .sample_ticks = REPORT_SAMPLE_TICKS};
    send_report(&report);
}

static void send_samples(uint32_t tick, uint16_t value)
{
    struct report report = {.kind = REPORT_SAMPLES, .tick = tick};
    report.as.samples.count = REPORT_BATCH;
    for (unsigned i = 0; i < REPORT_BATCH; i++) {
        report.as.samples.values[i] = value;
    }
    send_report(&report);
}

static void what_a_board_says_is_handed_on_and_its_settings_are_told_to_it(void **state)
{
    (void)state;
    struct error error;
    uint8_t heard[256];
    assert_int_equal(open_with(",\"sound\":3,\"gain\":5", &error), 0);
    char note[256];
    assert_int_equal(poll_at(0, &error), 0);
    driver_serial.note(driver, note, sizeof note);
    assert_non_null(strstr(note, "no word from the board yet"));
    send_hello();
    send_samples(8000, 512);
    assert_int_equal(poll_at(NS_PER_S / 30, &error), 0);
    send_samples(16000, 513);
    assert_int_equal(poll_at(NS_PER_S / 30, &error), 0);
    driver_serial.note(driver, note, sizeof note);
    assert_string_equal(note, "");
    assert_int_equal(got.samples, 2 * REPORT_BATCH);
    assert_int_equal(got.last, 513);
    /* A question, then loudness and gain. */
    struct frame_reader reader = {.bytes = (uint8_t[32]){0}, .size = 32};
    ssize_t length = read(master, heard, sizeof heard);
    unsigned told = 0;
    for (ssize_t i = 0; i < length; i++) {
        struct report report;
        if (frame_put(&reader, heard[i]) == FRAME_WHOLE &&
            report_unpack(reader.bytes, reader.length, &report)) {
            told |= report.as.answer.command == COMMAND_SOUND && report.as.answer.value == 3;
            told |= report.as.answer.command == COMMAND_GAIN && report.as.answer.value == 5 ? 2 : 0;
        }
    }
    assert_int_equal(told, 3);
}

static void each_channel_knows_where_its_sensor_ends(void **state)
{
    (void)state;
    struct error error;
    assert_int_equal(open_with(",\"magnetometer\":\"1e\"", &error), 0);
    assert_int_equal(find("electric")->least, 0);
    assert_int_equal(find("electric")->most, 1023);
    assert_int_equal(find("electric-high")->most, 1023);
    assert_true(find("electric-high")->least < 0); /* a low peak is no end */
    assert_int_equal(find("electric-low")->least, 0);
    assert_true(find("electric-low")->most > 1023);
    assert_int_equal(find("magnetic.y")->least, -2048);
    assert_int_equal(find("magnetic.y")->most, 2047);
    assert_int_equal(find("motion")->least, find("motion")->most); /* not told */
}

static void an_antenna_that_rests_at_ground_is_not_clipped_there(void **state)
{
    (void)state;
    struct error error;
    assert_int_equal(open_with(",\"antenna_rest\":\"ground\",\"magnetometer\":\"0d\"", &error), 0);
    assert_true(find("electric")->least < 0);
    assert_int_equal(find("electric")->most, 1023);
    assert_true(find("electric-low")->least < 0);
    assert_int_equal(find("magnetic.z")->most, 32767);
}

static void wrong_settings_are_named(void **state)
{
    (void)state;
    static const struct {
        const char *more;
        const char *why;
    } wrong[] = {{",\"baud\":12345", "drivers[0].baud: a serial line has no 12345 baud"},
                 {",\"baud\":5000000", "drivers[0].baud"},
                 {",\"antenna_rest\":\"high\"", "drivers[0].antenna_rest: must be \"middle\""},
                 {",\"magnetometer\":\"2f\"", "drivers[0].magnetometer: must be \"1e\" or \"0d\""},
                 {",\"magentometer\":\"1e\"", "magentometer"},
                 {",\"gain\":\"high\"", "drivers[0].gain"}};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        struct error error = {0};
        assert_int_equal(open_with(wrong[i].more, &error), -1);
        if (!strstr(error.text, wrong[i].why) ||
            (error.code != ERROR_FORMAT && error.code != ERROR_RANGE)) {
            fail_msg("%d \"%s\", expected \"%s\"", (int)error.code, error.text, wrong[i].why);
        }
    }
}

static void a_line_that_is_not_there_or_goes_or_is_silent_is_told(void **state)
{
    (void)state;
    struct error error;
    char there[sizeof line];
    memcpy(there, line, sizeof line);
    snprintf(line, sizeof line, "/dev/no-such-line");
    assert_int_equal(open_with("", &error), 0); /* a node starts without its board */
    assert_int_equal(poll_at(0, &error), -1);
    assert_error(error, ERROR_IO, "/dev/no-such-line: No such file");
    driver_serial.close(driver);
    snprintf(line, sizeof line, "/dev/null");
    assert_int_equal(open_with("", &error), 0);
    assert_int_equal(poll_at(0, &error), -1);
    assert_error(error, ERROR_IO, "/dev/null: not a serial line");
    driver_serial.close(driver);
    memcpy(line, there, sizeof line);
    assert_int_equal(open_with("", &error), 0);
    assert_int_equal(poll_at(0, &error), 0);
    assert_int_equal(poll_at(NS_PER_S, &error), 0);
    assert_int_equal(poll_at(NS_PER_S, &error), -1);
    assert_error(error, ERROR_IO, "the board is silent");
    driver_serial.close(driver);
    assert_int_equal(open_with("", &error), 0);
    assert_int_equal(poll_at(0, &error), 0);
    close(master);
    master = -1;
    assert_int_equal(poll_at(0, &error), -1);
    assert_error(error, ERROR_IO, "unplugged");
}

static void garbage_is_told_as_such_and_never_taken_for_samples(void **state)
{
    (void)state;
    struct error error = {0};
    uint32_t noise = 1;
    int failed = 0;
    assert_int_equal(open_with("", &error), 0);
    for (int turn = 0; turn < 40 && !failed; turn++) {
        uint8_t bytes[100];
        for (size_t i = 0; i < sizeof bytes; i++) {
            noise = noise * 1664525u + 1013904223u;
            bytes[i] = (uint8_t)(noise >> 24);
        }
        failed = poll_at(NS_PER_S / 10, &error);
        if (!failed) {
            assert_int_equal(write(master, bytes, sizeof bytes), sizeof bytes);
        }
    }
    assert_int_equal(failed, -1);
    assert_error(error, ERROR_IO, "bytes come at 500000 baud, but no frames");
    assert_int_equal(got.samples + got.changes, 0);
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, end)
    const struct CMUnitTest tests[] = {
        TEST(what_a_board_says_is_handed_on_and_its_settings_are_told_to_it),
        TEST(each_channel_knows_where_its_sensor_ends),
        TEST(an_antenna_that_rests_at_ground_is_not_clipped_there),
        TEST(wrong_settings_are_named),
        TEST(a_line_that_is_not_there_or_goes_or_is_silent_is_told),
        TEST(garbage_is_told_as_such_and_never_taken_for_samples),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
