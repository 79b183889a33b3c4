/* Each fault alone, by its name; a sound node has none. */
#include "tests/unit/test.h"

#include <math.h>

#include "collector/preflight/preflight.h"
#include "common/clock.h"

#define NOW INT64_C(1709330400000000000)
#define RATE 50
#define SECONDS 20
#define NODES 3

static struct site_room room = {.id = "hall"};
static struct site_node which[NODES];
static const struct site site = {
    .mains_hz = 50.0, .room_count = 1, .rooms = &room, .node_count = NODES, .nodes = which};
static struct preflight_node nodes[NODES];
static struct preflight_report reports[NODES];
static int32_t counts[RATE * SECONDS];

/* About normal, sd 1. */
static double noise(uint64_t *random)
{
    double sum = -6.0;
    for (int i = 0; i < 12; i++) {
        *random = *random * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
        sum += (double)(*random >> 11) / 9007199254740992.0;
    }
    return sum;
}

static void fill(size_t node, size_t channel, double level, double sigma, double most,
                 double rate_hz)
{
    const struct channel *told = &nodes[node].channels[channel];
    struct channel_look *look = &nodes[node].looks[channel];
    uint64_t random = 77 + 10 * node + channel;
    size_t count = (size_t)(rate_hz * SECONDS);
    channel_look_begin(look, told, site.mains_hz);
    for (size_t i = 0; i < count; i++) {
        counts[i] = (int32_t)lround(fmin(most, level + sigma * noise(&random)));
    }
    struct block block = {.count = (uint32_t)count,
                          .t0_ns = NOW - SECONDS * NS_PER_S,
                          .period_ps = (int64_t)llround(1e12 / rate_hz),
                          .counts = counts};
    channel_look_take(look, told, &block);
    nodes[node].last_ns = look->last_ns;
}

static int fresh(void **state)
{
    (void)state;
    static const char *const names[] = {"magnetic.x", "magnetic.y", "magnetic.z"};
    struct error error;
    memset(which, 0, sizeof which);
    memset(nodes, 0, sizeof nodes);
    for (size_t n = 0; n < NODES; n++) {
        snprintf(which[n].id, sizeof which[n].id, "n%zu", n + 1);
        which[n].channel_count = 3;
        which[n].battery_empty_v = 3.3;
        nodes[n].heard = true;
        nodes[n].has_state = true;
        nodes[n].channel_count = 3;
        nodes[n].state = (struct message_state){.fit = {.known = true, .uncertainty_ns = 100000},
                                                .battery_v = 4.0,
                                                .battery_hours = 14.0,
                                                .spool_room_bytes = 100000000,
                                                .spool_rate_bytes_s = 500.0};
        for (size_t i = 0; i < 3; i++) {
            assert_int_equal(channel_init(&which[n].channels[i], names[i], NULL, RATE, &error), 0);
            which[n].channels[i].step = (struct decimal){1, -9};
            which[n].noise[i] = 15e-9;
            nodes[n].channels[i] = which[n].channels[i];
            fill(n, i, 28000.0, 15.0, 1e9, RATE);
        }
    }
    return 0;
}

static void judge(void)
{
    const struct preflight_wish wish = {.night_s = 28800.0, .looked_s = SECONDS, .now_ns = NOW};
    preflight_judge(&site, nodes, &wish, reports);
}

static void node_one_fails_by(enum preflight_fault fault, const char *words)
{
    judge();
    assert_false(reports[0].go);
    assert_int_equal(reports[0].line_count, 1);
    assert_int_equal(reports[0].lines[0].fault, fault);
    if (!strstr(reports[0].lines[0].text, words)) {
        fail_msg("%s", reports[0].lines[0].text);
    }
    assert_true(reports[1].go);
}

static void a_sound_node_goes(void **state)
{
    (void)state;
    judge();
    for (size_t n = 0; n < NODES; n++) {
        assert_true(reports[n].go);
        assert_int_equal(reports[n].line_count, 0);
    }
    if (!strstr(reports[0].well,
                "3 channels alive; a second: magnetic 50; field 48.5 uT (uncalibrated)")) {
        fail_msg("%s", reports[0].well);
    }
    assert_close(channel_look_noise(&nodes[0].looks[0]), 15e-9, 1e-9);
}

static void silence_and_leaving_are_told_apart(void **state)
{
    (void)state;
    nodes[0].state.gone = true;
    node_one_fails_by(PREFLIGHT_GONE, "has stopped");
    nodes[0].heard = false;
    node_one_fails_by(PREFLIGHT_NOT_HEARD, "nothing has come");
}

static void clocks_that_are_not_in_time_are_named(void **state)
{
    (void)state;
    nodes[0].state.fit.uncertainty_ns = 300 * NS_PER_S / 1000;
    node_one_fails_by(PREFLIGHT_CLOCK, "+- 300 ms");
    nodes[0].state.fit.known = false;
    node_one_fails_by(PREFLIGHT_CLOCK, "no time from the base station");
    fresh(NULL);
    nodes[0].last_ns = NOW - 37 * NS_PER_S;
    node_one_fails_by(PREFLIGHT_CLOCK, "37 s old");
    nodes[0].last_ns = NOW + 3 * NS_PER_S;
    node_one_fails_by(PREFLIGHT_CLOCK, "3 s ahead");
}

static void channels_that_are_dead_stuck_clipped_or_slow_are_named(void **state)
{
    (void)state;
    nodes[0].channel_count = 2;
    node_one_fails_by(PREFLIGHT_DEAD, "magnetic.z: the site file has it");
    fresh(NULL);
    memset(&nodes[0].looks[2], 0, sizeof nodes[0].looks[2]);
    node_one_fails_by(PREFLIGHT_DEAD, "magnetic.z: no sample in 20 s");
    fresh(NULL);
    fill(0, 1, 28000.0, 0.0, 1e9, RATE);
    node_one_fails_by(PREFLIGHT_STUCK, "magnetic.y shows 2.8e-05 T");
    fresh(NULL);
    fill(0, 1, 28000.0, 30.0, 28010.0, RATE);
    node_one_fails_by(PREFLIGHT_CLIPPED, "beyond its range");
    fresh(NULL);
    fill(0, 1, 28000.0, 15.0, 1e9, 40.0);
    node_one_fails_by(PREFLIGHT_RATE, "40 samples a second came, 50 are told");
    fresh(NULL);
    fill(0, 1, 28000.0, 90.0, 1e9, RATE);
    node_one_fails_by(PREFLIGHT_NOISE, "times its part's");
    fresh(NULL);
    fill(0, 1, 28000.0, 2.0, 1e9, RATE);
    node_one_fails_by(PREFLIGHT_NOISE, "is it measuring");
}

static void what_does_not_last_the_night_is_named(void **state)
{
    (void)state;
    nodes[0].state.battery_hours = 0.2;
    node_one_fails_by(PREFLIGHT_BATTERY, "lasts 0.2 h at the pace of its fall, the night 8.0 h");
    nodes[0].state.battery_v = 3.2;
    node_one_fails_by(PREFLIGHT_BATTERY, "it is empty at 3.30 V");
    fresh(NULL);
    nodes[0].state.spool_room_bytes = 3600 * 500;
    node_one_fails_by(PREFLIGHT_STORAGE, "room for 1.0 h");
    fresh(NULL);
    nodes[0].state.dropped_frames = 3;
    node_one_fails_by(PREFLIGHT_STORAGE, "3 messages went");
    fresh(NULL);
    snprintf(nodes[0].state.note, sizeof nodes[0].state.note, "drivers[0] iio: no answer");
    node_one_fails_by(PREFLIGHT_DRIVER, "iio: no answer");
}

static void fields_that_cannot_be_the_earths_are_named(void **state)
{
    (void)state;
    fill(0, 2, 60000.0, 15.0, 1e9, RATE);
    node_one_fails_by(PREFLIGHT_FIELD, "the earth's own field is 22 to 67 uT");
    fill(0, 2, 1000.0, 15.0, 1e9, RATE);
    judge();
    assert_true(reports[0].go); /* 39.6 uT: worth knowing */
    assert_int_equal(reports[0].lines[0].fault, PREFLIGHT_FIELD);
    assert_non_null(strstr(reports[0].lines[0].text, "where the others have 48.5"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(a_sound_node_goes, fresh),
        cmocka_unit_test_setup(silence_and_leaving_are_told_apart, fresh),
        cmocka_unit_test_setup(clocks_that_are_not_in_time_are_named, fresh),
        cmocka_unit_test_setup(channels_that_are_dead_stuck_clipped_or_slow_are_named, fresh),
        cmocka_unit_test_setup(what_does_not_last_the_night_is_named, fresh),
        cmocka_unit_test_setup(fields_that_cannot_be_the_earths_are_named, fresh),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
