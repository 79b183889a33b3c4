/* The serial driver: a board of node/board on a line.
 * Must never wait for the board, nor take its silence for quiet. Listed in drivers.c. */
#include "node/drivers/driver.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "common/json.h"
#include "node/drivers/serial_board.h"
#include "node/drivers/serial_port.h"

#define POLL_NS INT64_C(4000000)
#define POLL_ASKED_NS INT64_C(1000000)
#define ASK_EVERY_NS NS_PER_S
#define ANSWER_MOST_NS INT64_C(100000000)
#define SILENT_NS (3 * NS_PER_S / 2)
#define GARBAGE_NS (3 * NS_PER_S)     /* a board says something thirty times a second */
#define PAUSE_MOST_NS (NS_PER_S / 20) /* what is plugged in again is heard again at once */

extern const struct driver_type driver_serial;

struct driver {
    char path[1024];
    int baud;
    int file; /* -1: not open yet */
    uint8_t sound;
    uint8_t gain;
    bool told_settings;
    struct frame_reader reader;
    uint8_t bytes[FRAME_LINE_MAX];
    uint8_t frame_bytes; /* on the line, of the frame under way */
    struct board_setup setup;
    struct serial_board board;
    struct clock_source clock;
    int64_t ask_ns;        /* the next question */
    int64_t heard_ns;      /* the last byte */
    int64_t understood_ns; /* the last frame, or the opening */
    bool understood;
};

static const char *const fields[] = {
    "path",  "baud", "magnetometer",  "thermometer", "motion",       "battery", "peaks",
    "sound", "gain", "resonator_ppm", "latency_ms",  "antenna_rest", NULL};

/* ---- settings and channels ---- */

static int add_channel(struct driver *driver, enum board_channel which, const char *name,
                       const char *unit, double rate_hz, struct decimal step,
                       struct channel *channels, size_t size, size_t *count, struct error *error)
{
    if (*count == size) {
        return error_set(error, ERROR_RANGE, "more than %zu channels", size);
    }
    struct channel *channel = &channels[*count];
    if (channel_init(channel, name, unit, rate_hz, error)) {
        return -1;
    }
    channel->step = step;
    driver->setup.channels[which] = (*count)++;
    return 0;
}

struct wanted {
    char magnetometer[8];
    bool thermometer;
    bool motion;
    bool battery;
    bool peaks;
    bool rests_at_ground; /* the antenna: not at half of the supply */
};

/* Counts of the converter, and of the two magnetometers by their data sheets. */
#define CONVERTER_MOST 1023
#define END_1E 2047
#define END_0D INT16_MAX

/* Where the sensor can't tell more. An antenna that rests at ground is at 0 all the time: that is
 * no end then, and -1 is none. */
static void tell_ends(const struct driver *driver, const struct wanted *wanted,
                      struct channel *channels)
{
    const size_t *place = driver->setup.channels;
    int32_t magnetic = strcmp(wanted->magnetometer, "1e") == 0 ? END_1E : END_0D;
    int32_t floor = wanted->rests_at_ground ? -1 : 0;
    const struct {
        enum board_channel which;
        int32_t least;
        int32_t most;
    } ends[] = {
        {BOARD_ELECTRIC, floor, CONVERTER_MOST},     {BOARD_HIGH, -1, CONVERTER_MOST},
        {BOARD_LOW, floor, CONVERTER_MOST + 1},      {BOARD_MAGNETIC_X, -magnetic - 1, magnetic},
        {BOARD_MAGNETIC_Y, -magnetic - 1, magnetic}, {BOARD_MAGNETIC_Z, -magnetic - 1, magnetic}};
    for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
        if (place[ends[i].which] != BOARD_ABSENT) {
            channels[place[ends[i].which]].least = ends[i].least;
            channels[place[ends[i].which]].most = ends[i].most;
        }
    }
}

/* What the board's parts count in: 1090 and 12000 counts a gauss, by their data sheets. */
static int add_magnetometer(struct driver *driver, const char *part, struct channel *channels,
                            size_t size, size_t *count, struct error *error)
{
    static const char *const names[] = {"magnetic.x", "magnetic.y", "magnetic.z"};
    struct decimal step =
        strcmp(part, "1e") == 0 ? (struct decimal){917431, -13} : (struct decimal){833333, -14};
    for (size_t i = 0; i < 3; i++) {
        if (add_channel(driver, BOARD_MAGNETIC_X + (enum board_channel)i, names[i], "T",
                        1000.0 / 13.0, step, channels, size, count, error)) {
            return -1;
        }
    }
    return 0;
}

static int make_channels(struct driver *driver, const struct wanted *wanted,
                         struct channel *channels, size_t size, size_t *count, struct error *error)
{
    const struct decimal one = {1, 0};
    for (size_t i = 0; i < BOARD_CHANNELS; i++) {
        driver->setup.channels[i] = BOARD_ABSENT;
    }
    *count = 0;
    if (add_channel(driver, BOARD_ELECTRIC, "electric", "count", 1000.0, one, channels, size, count,
                    error) ||
        add_channel(driver, BOARD_GAIN, "gain", "/", 0, one, channels, size, count, error)) {
        return -1;
    }
    if (wanted->peaks && (add_channel(driver, BOARD_HIGH, "electric-high", "count", 0, one,
                                      channels, size, count, error) ||
                          add_channel(driver, BOARD_LOW, "electric-low", "count", 0, one, channels,
                                      size, count, error))) {
        return -1;
    }
    if ((wanted->motion &&
         add_channel(driver, BOARD_MOTION, "motion", "/", 0, one, channels, size, count, error)) ||
        (wanted->battery && add_channel(driver, BOARD_BATTERY, "battery", "V", 0,
                                        (struct decimal){1, -3}, channels, size, count, error)) ||
        (wanted->thermometer &&
         add_channel(driver, BOARD_TEMPERATURE, "temperature", "Cel", 0, (struct decimal){625, -4},
                     channels, size, count, error))) {
        return -1;
    }
    if (wanted->magnetometer[0] &&
        add_magnetometer(driver, wanted->magnetometer, channels, size, count, error)) {
        return -1;
    }
    tell_ends(driver, wanted, channels);
    return 0;
}

static int read_wanted(const struct driver_setup *setup, struct wanted *wanted, struct error *error)
{
    const cJSON *json = setup->settings;
    char rest[8];
    if (json_get_text_or(json, setup->path, "antenna_rest", "middle", rest, sizeof rest, error) ||
        json_get_text_or(json, setup->path, "magnetometer", "", wanted->magnetometer,
                         sizeof wanted->magnetometer, error) ||
        json_get_bool_or(json, setup->path, "thermometer", false, &wanted->thermometer, error) ||
        json_get_bool_or(json, setup->path, "motion", true, &wanted->motion, error) ||
        json_get_bool_or(json, setup->path, "battery", true, &wanted->battery, error) ||
        json_get_bool_or(json, setup->path, "peaks", true, &wanted->peaks, error)) {
        return -1;
    }
    if (wanted->magnetometer[0] && strcmp(wanted->magnetometer, "1e") != 0 &&
        strcmp(wanted->magnetometer, "0d") != 0) {
        return error_set(error, ERROR_FORMAT, "%s.magnetometer: must be \"1e\" or \"0d\"",
                         setup->path);
    }
    wanted->rests_at_ground = strcmp(rest, "ground") == 0;
    if (!wanted->rests_at_ground && strcmp(rest, "middle") != 0) {
        return error_set(error, ERROR_FORMAT, "%s.antenna_rest: must be \"middle\" or \"ground\"",
                         setup->path);
    }
    return 0;
}

static int read_settings(const struct driver_setup *setup, struct driver *driver,
                         struct error *error)
{
    const cJSON *json = setup->settings;
    double baud, sound, gain, resonator_ppm, latency_ms;
    if (json_check_fields(json, setup->path, fields, error) ||
        json_get_text(json, setup->path, "path", driver->path, sizeof driver->path, error) ||
        json_get_number_or(json, setup->path, "baud", 9600, 2000000, 500000, &baud, error) ||
        json_get_number_or(json, setup->path, "sound", 0, 15, 0, &sound, error) ||
        json_get_number_or(json, setup->path, "gain", 0, 255, 255, &gain, error) ||
        json_get_number_or(json, setup->path, "resonator_ppm", 1, 50000, 6000, &resonator_ppm,
                           error) ||
        json_get_number_or(json, setup->path, "latency_ms", 0, 1000, 16, &latency_ms, error)) {
        return -1;
    }
    driver->baud = (int)baud;
    if (!serial_port_has_baud(driver->baud)) {
        return error_set(error, ERROR_RANGE, "%s.baud: a serial line has no %d baud (ours: 500000)",
                         setup->path, driver->baud);
    }
    driver->sound = (uint8_t)sound;
    driver->gain = (uint8_t)gain;
    driver->setup.baud = driver->baud;
    driver->setup.resonator_ppb = llround(resonator_ppm * 1000);
    driver->setup.latency_most_ns = llround(latency_ms * 1e6);
    return 0;
}

static void serial_close(struct driver *driver)
{
    if (driver->file >= 0) {
        serial_port_close(driver->file);
    }
    free(driver);
}

/* The line itself is opened by the first poll, so that a node starts with its board unplugged. */
static int serial_open(const struct driver_setup *setup, struct driver **out,
                       struct channel *channels, size_t size, size_t *count, struct error *error)
{
    struct wanted wanted;
    struct driver *driver = calloc(1, sizeof *driver);
    if (!driver) {
        return error_set(error, ERROR_MEMORY, "%s: out of memory", setup->path);
    }
    driver->file = -1;
    driver->clock = setup->clock;
    if (read_settings(setup, driver, error) || read_wanted(setup, &wanted, error) ||
        make_channels(driver, &wanted, channels, size, count, error)) {
        serial_close(driver);
        return -1;
    }
    *out = driver;
    return 0;
}

/* ---- the line ---- */

static void send_command(struct driver *driver, const struct report *command)
{
    uint8_t line[FRAME_LINE_MAX];
    uint8_t length = report_pack(command, line + 1);
    serial_port_write(driver->file, line, frame_encode(line, length));
}

static void tell_settings(struct driver *driver)
{
    struct report command = {.kind = REPORT_COMMAND};
    command.as.answer = (struct report_answer){COMMAND_SOUND, driver->sound};
    send_command(driver, &command);
    command.as.answer = (struct report_answer){COMMAND_GAIN, driver->gain};
    send_command(driver, &command);
}

static int begin(struct driver *driver, int64_t now_ns, struct error *error)
{
    driver->file = serial_port_open(driver->path, driver->baud, error);
    if (driver->file < 0) {
        return -1;
    }
    driver->reader = (struct frame_reader){.bytes = driver->bytes, .size = sizeof driver->bytes};
    driver->heard_ns = now_ns;
    driver->understood_ns = now_ns;
    driver->understood = false;
    driver->ask_ns = now_ns;
    return serial_board_init(&driver->board, &driver->setup, now_ns, error);
}

static int take_byte(struct driver *driver, uint8_t byte, int64_t came_ns,
                     const struct driver_sink *sink, struct error *error)
{
    struct report report;
    enum frame_event event = frame_put(&driver->reader, byte);
    driver->frame_bytes++;
    if (event == FRAME_NONE) {
        driver->frame_bytes = byte == 0 ? 0 : driver->frame_bytes;
        return 0;
    }
    uint8_t frame_bytes = driver->frame_bytes;
    driver->frame_bytes = 0;
    if (event == FRAME_BAD ||
        !report_unpack(driver->reader.bytes, driver->reader.length, &report)) {
        serial_board_bad(&driver->board);
        return 0;
    }
    driver->understood = true;
    driver->understood_ns = came_ns;
    if (report.kind == REPORT_HELLO &&
        (!driver->board.started || driver->board.start != report.as.hello.start)) {
        tell_settings(driver);
    }
    return serial_board_take(&driver->board, &report, came_ns, frame_bytes, sink, error);
}

static int drain(struct driver *driver, const struct driver_sink *sink, struct error *error)
{
    uint8_t bytes[512];
    for (;;) {
        long got = serial_port_read(driver->file, bytes, sizeof bytes, error);
        int64_t came_ns = driver->clock.mono_ns(driver->clock.context);
        if (got <= 0) {
            return (int)got;
        }
        driver->heard_ns = came_ns;
        for (long i = 0; i < got; i++) {
            /* The bytes behind this one were on the line after it. */
            int64_t behind_ns = (got - 1 - i) * 10 * NS_PER_S / driver->baud;
            if (take_byte(driver, bytes[i], came_ns - behind_ns, sink, error)) {
                return -1;
            }
        }
    }
}

static void ask(struct driver *driver, int64_t now_ns)
{
    bool out = driver->board.asked_ns != INT64_MIN;
    if (now_ns < driver->ask_ns || (out && now_ns - driver->board.asked_ns < ANSWER_MOST_NS)) {
        return;
    }
    struct report question;
    serial_board_ask(&driver->board, driver->clock.mono_ns(driver->clock.context), &question);
    send_command(driver, &question);
    driver->ask_ns = now_ns + ASK_EVERY_NS;
}

static int serial_poll(struct driver *driver, int64_t now_ns, const struct driver_sink *sink,
                       int64_t *next_ns, struct error *error)
{
    if ((driver->file < 0 && begin(driver, now_ns, error)) || drain(driver, sink, error)) {
        return -1;
    }
    if (now_ns - driver->heard_ns > SILENT_NS) {
        return error_set(error, ERROR_IO, "%s: the board is silent", driver->path);
    }
    if (now_ns - driver->understood_ns > GARBAGE_NS) {
        return error_set(
            error, ERROR_IO,
            "%s: bytes come at %d baud, but no frames: another baud, a bad cable, or no "
            "board with our firmware",
            driver->path, driver->baud);
    }
    ask(driver, now_ns);
    bool asked =
        driver->board.asked_ns != INT64_MIN && now_ns - driver->board.asked_ns < ANSWER_MOST_NS;
    *next_ns = now_ns + (asked ? POLL_ASKED_NS : POLL_NS);
    return 0;
}

static int64_t serial_told_ns(const struct driver *driver, int64_t now_ns)
{
    return driver->board.told_ns < now_ns ? driver->board.told_ns : now_ns;
}

static void serial_note(const struct driver *driver, char *note, size_t size)
{
    if (!driver->understood) { /* opened again and again, it must not look well in between */
        (void)snprintf(note, size, "%s: no word from the board yet", driver->path);
        return;
    }
    serial_board_note(&driver->board, note, size);
}

static int64_t serial_clock_sd_ns(const struct driver *driver)
{
    return driver->board.clock_sd_ns;
}

const struct driver_type driver_serial = {
    .name = "serial",
    .open = serial_open,
    .poll = serial_poll,
    .close = serial_close,
    .told_ns = serial_told_ns,
    .clock_sd_ns = serial_clock_sd_ns,
    .pause_most_ns = PAUSE_MOST_NS,
    .note = serial_note,
};
