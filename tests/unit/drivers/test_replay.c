/* Promises of the replay driver: every value exactly, every time shifted by one amount, nothing
 * early, nothing twice. Must never wait: the clock is the test's. */
#include "tests/unit/test.h"

#include <unistd.h>

#include "common/timefmt.h"
#include "node/drivers/driver.h"

#define NOW_NS (INT64_C(5000) * NS_PER_S)
#define TAKEN_MAX 64

extern const struct driver_type driver_replay;

struct taken {
    size_t channel;
    int64_t time_ns, period_ps;
    int32_t count;
};

static char file[256];
static int64_t now_ns;
static struct taken taken[TAKEN_MAX];
static size_t taken_count;
static struct channel channels[NODE_CHANNELS_MAX];
static size_t channel_count;
static struct error error;

static int64_t read_mono(void *context)
{
    (void)context;
    return now_ns;
}

static int64_t read_real(void *context)
{
    (void)context;
    return INT64_C(1700000000) * NS_PER_S + now_ns;
}

static void on_samples(void *context, size_t channel, int64_t t0_ns, int64_t period_ps,
                       const int32_t *counts, size_t count)
{
    (void)context;
    assert_int_equal(count, 1);
    assert_true(taken_count < TAKEN_MAX);
    taken[taken_count++] = (struct taken){channel, t0_ns, period_ps, counts[0]};
}

static void on_change(void *context, size_t channel, int64_t time_ns, int32_t count)
{
    (void)context;
    assert_true(taken_count < TAKEN_MAX);
    taken[taken_count++] = (struct taken){channel, time_ns, 0, count};
}

static const struct driver_sink sink = {NULL, on_samples, on_change, NULL};

static void write_csv(const char *text)
{
    FILE *out = fopen(file, "w");
    fputs(text, out);
    fclose(out);
}

/* `settings` without the path, e.g. "\"node\":\"n1\"". */
static struct driver *try_open(const char *settings)
{
    char json[512];
    snprintf(json, sizeof json, "{\"path\":\"%s\"%s%s}", strrchr(file, '/') + 1,
             settings[0] ? "," : "", settings);
    char folder[256];
    snprintf(folder, sizeof folder, "%.*s", (int)(strrchr(file, '/') - file), file);
    cJSON *parsed = cJSON_Parse(json);
    assert_non_null(parsed);
    struct driver_setup setup = {.settings = parsed,
                                 .path = "drivers[0]",
                                 .config_dir = folder,
                                 .clock = {.mono_ns = read_mono, .real_ns = read_real}};
    struct driver *driver = NULL;
    taken_count = 0;
    int rc =
        driver_replay.open(&setup, &driver, channels, NODE_CHANNELS_MAX, &channel_count, &error);
    cJSON_Delete(parsed);
    return rc ? NULL : driver;
}

static struct driver *open_replay(const char *settings)
{
    struct driver *driver = try_open(settings);
    if (!driver) {
        fail_msg("%s", error.text);
    }
    return driver;
}

static int64_t poll_at(struct driver *driver, int64_t time_ns)
{
    int64_t next_ns = 0;
    now_ns = time_ns;
    if (driver_replay.poll(driver, time_ns, &sink, &next_ns, &error)) {
        fail_msg("%s", error.text);
    }
    return next_ns;
}

static int set_up(void **state)
{
    (void)state;
    const char *root = getenv("TMPDIR");
    snprintf(file, sizeof file, "%s/replay-XXXXXX", root ? root : "/tmp");
    now_ns = NOW_NS;
    int fd = mkstemp(file);
    return fd < 0 ? -1 : close(fd);
}

static int tear_down(void **state)
{
    (void)state;
    return unlink(file);
}

static void rows_play_from_now_at_their_own_distances(void **state)
{
    (void)state;
    write_csv("time,temperature\n1700000000,20.5\n1700000001,20.25\n1700000002,-3\n"
              "1700000003.000000001,1e1\n");
    struct driver *driver = open_replay("");
    assert_int_equal(channel_count, 1);
    assert_close(channels[0].rate_hz, 1.0, 0);
    assert_int_equal(channels[0].step.exponent, -2);
    assert_int64_equal(poll_at(driver, NOW_NS + 1), NOW_NS + NS_PER_S);
    assert_int_equal(taken_count, 1);
    assert_int64_equal(taken[0].time_ns, NOW_NS);
    assert_int_equal(taken[0].count, 2050);
    assert_int64_equal(poll_at(driver, NOW_NS + NS_PER_S / 2), NOW_NS + NS_PER_S);
    assert_int_equal(taken_count, 1); /* nothing early */
    assert_int64_equal(poll_at(driver, NOW_NS + 2 * NS_PER_S), NOW_NS + 3 * NS_PER_S + 1);
    assert_int64_equal(poll_at(driver, NOW_NS + 4 * NS_PER_S), INT64_MAX);
    assert_int_equal(taken_count, 4);
    assert_int_equal(taken[2].count, -300);
    assert_int_equal(taken[3].count, 1000);
    assert_int64_equal(taken[3].time_ns, NOW_NS + 3 * NS_PER_S + 1);
    assert_int64_equal(poll_at(driver, NOW_NS + 9 * NS_PER_S), INT64_MAX);
    assert_int_equal(taken_count, 4); /* nothing twice */
    driver_replay.close(driver);
}

static void only_the_nodes_own_rows_and_channels_are_played(void **state)
{
    (void)state;
    write_csv("time,node,magnetic.x,motion,temperature,clock-uncertainty\n"
              "2024-03-01T22:00:00.000Z,n2,,,21,\n"
              "2024-03-01T22:00:00.500Z,n1,4.8e-05,0,,0.001\n"
              "2024-03-01T23:00:00.600+01:00,n1,4.81e-05,,,\n"
              "2024-03-01T22:00:00.700Z,n1,4.8E-5,,,\n"
              "2024-03-01T22:00:09.000Z,n1,,1,,\n");
    struct driver *driver = open_replay("\"node\":\"n1\"");
    assert_int_equal(channel_count, 2);
    assert_string_equal(channels[0].name, "magnetic.x");
    assert_close(channels[0].rate_hz, 10.0, 0);
    assert_int_equal(channels[0].step.exponent, -7);
    assert_string_equal(channels[1].name, "motion");
    assert_close(channels[1].rate_hz, 0.0, 0);
    poll_at(driver, NOW_NS + 20 * NS_PER_S);
    assert_int_equal(taken_count, 5);
    assert_int64_equal(taken[0].time_ns, NOW_NS + NS_PER_S / 2); /* all nodes share one start */
    assert_int_equal(taken[0].count, 480);
    assert_int_equal(taken[2].count, 481);
    assert_int64_equal(taken[2].period_ps, PS_PER_S / 10);
    assert_int_equal(taken[4].channel, 1);
    assert_int_equal(taken[4].count, 1);
    assert_int64_equal(taken[4].period_ps, 0);
    driver_replay.close(driver);
}

static void a_start_may_be_agreed_upon(void **state)
{
    (void)state;
    write_csv("time,temperature\n100,20\n101,21\n");
    char text[TIMEFMT_SIZE];
    char settings[128];
    timefmt_rfc3339(read_real(NULL) + 30 * NS_PER_S, text);
    snprintf(settings, sizeof settings, "\"start\":\"%s\"", text);
    struct driver *driver = open_replay(settings);
    assert_int64_equal(poll_at(driver, NOW_NS), NOW_NS + 30 * NS_PER_S);
    assert_int_equal(taken_count, 0);
    driver_replay.close(driver);
}

static void a_fast_replay_hands_over_a_second_at_a_time_and_says_how_far_it_is(void **state)
{
    (void)state;
    char text[4096] = "time,temperature\n";
    for (int i = 0; i < 40; i++) {
        snprintf(text + strlen(text), sizeof text - strlen(text), "%d.%d,%d\n", i / 4, i % 4 * 25,
                 i);
    }
    write_csv(text);
    struct driver *driver = open_replay("\"speed\":\"fast\"");
    int64_t last_ns = INT64_MIN;
    int polls = 0;
    int64_t next_ns;
    do {
        size_t before = taken_count;
        next_ns = poll_at(driver, NOW_NS);
        for (size_t i = before; i < taken_count; i++) {
            assert_true(taken[i].time_ns > last_ns && taken[i].time_ns < next_ns);
            assert_true(taken[i].time_ns <= NOW_NS);
            last_ns = taken[i].time_ns;
        }
        polls++;
    } while (next_ns != INT64_MAX);
    assert_int_equal(taken_count, 40);
    assert_true(polls >= 8 && polls <= 12);
    driver_replay.close(driver);
}

static void faults_name_the_line_or_the_field(void **state)
{
    (void)state;
    const struct {
        const char *csv, *settings, *part;
    } bad[] = {
        {"", "", "the file is empty"},
        {"when,temperature\n", "", ":1: the header"},
        {"time\n", "", ":1: no channel"},
        {"time,Temp!\n", "", ":1: a column"},
        {"time,temperature,temperature\n", "", ":1: two columns"},
        {"time,node,temperature\n1,n1,2\n", "", "must be set"},
        {"time,node,temperature\n1,n1,2\n", "\"node\":\"n2\"", "no sample of node"},
        {"time,temperature\n1,2\nx,3\n", "", ":3: time"},
        {"time,temperature\n1,2\n2,abc\n", "", ":3: temperature"},
        {"time,temperature\n1,2\n2\n", "", ":3: fewer"},
        {"time,temperature\n1,2\n2,3,4\n", "", ":3: more"},
        {"time,temperature\n2,2\n1,3\n", "", ":3: not later"},
        {"time,temperature\n1,2e9\n2,0.001\n", "", ":2: temperature needs more than 32 bits"},
        {"time,temperature\n1,2\n", "\"speed\":\"slow\"", "drivers[0].speed"},
        {"time,temperature\n1,2\n", "\"strat\":\"x\"", "strat"},
        {"time,temperature\n1,2\n", "\"start\":\"x\"", "drivers[0].start"},
        {"time,temperature\n1,2\n", "\"units\":{\"temperature\":\"T\"}", "unit \"T\""},
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        write_csv(bad[i].csv);
        if (try_open(bad[i].settings)) {
            fail_msg("case %zu was taken", i);
        }
        if (!strstr(error.text, bad[i].part)) {
            fail_msg("case %zu: \"%s\" lacks \"%s\"", i, error.text, bad[i].part);
        }
    }
}

static void the_table_lists_it(void **state)
{
    (void)state;
    assert_ptr_equal(driver_find("replay"), &driver_replay);
    assert_non_null(driver_find("simulate"));
    assert_null(driver_find("nothing"));
}

int main(void)
{
#define PROMISE(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        PROMISE(rows_play_from_now_at_their_own_distances),
        PROMISE(only_the_nodes_own_rows_and_channels_are_played),
        PROMISE(a_start_may_be_agreed_upon),
        PROMISE(a_fast_replay_hands_over_a_second_at_a_time_and_says_how_far_it_is),
        PROMISE(faults_name_the_line_or_the_field),
        PROMISE(the_table_lists_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
