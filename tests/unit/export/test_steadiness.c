/* The line on a crystal's steadiness, from a stored night, against published values.
 * NIST SP 1065 "Handbook of Frequency Stability Analysis" (W. J. Riley, 2008), sec. 12.4: the
 * 1000-point set and its overlapping Allan deviations. */
#include "tests/unit/night/fixture.h"

#include "collector/export/steadiness.h"
#include "common/message.h"

#define POINTS 1001
#define APART_NS (60 * NS_PER_S)

static struct clock_exchange exchanges[POINTS];

/* The set's fractional frequencies, taken as parts in a million, as an exchange a minute. */
static void make_exchanges(void)
{
    int64_t n = 1234567890;
    double phase_ns = 0;
    for (int i = 0; i < POINTS; i++) {
        int64_t node_ns = i * APART_NS;
        int64_t site_ns = FIXTURE_START_NS + node_ns + llround(phase_ns);
        exchanges[i] = (struct clock_exchange){node_ns, site_ns, site_ns, node_ns};
        phase_ns += (double)n / 2147483647.0 * 1e-6 * (double)APART_NS;
        n = 16807 * n % 2147483647;
    }
}

static void put_state(struct night_writer *writer, int first)
{
    struct error error;
    struct text json = {0};
    struct message_state state = {.boot = FIXTURE_BOOT, .battery_v = (double)NAN};
    for (int i = first; i < first + MESSAGE_EXCHANGES_MAX && i < POINTS; i++) {
        state.exchanges[state.exchange_count++] = exchanges[i];
    }
    assert_int_equal(message_state_write(&state, &json), 0);
    fixture_check(
        night_put_state(writer, 0, FIXTURE_START_NS + first * APART_NS, json.bytes, &error),
        &error);
    text_free(&json);
}

/* Each exchange comes in two states; those from `hole_from` to `hole_to` in none. */
static void read_night(const struct fixture *fixture, int hole_from, int hole_to,
                       struct steadiness nodes[2])
{
    struct error error;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    struct night_reader *reader = NULL;
    make_exchanges();
    for (int i = 0; i < POINTS; i += MESSAGE_EXCHANGES_MAX / 2) {
        if (i + MESSAGE_EXCHANGES_MAX <= hole_from || i >= hole_to) {
            put_state(writer, i);
        }
    }
    fixture_check(night_writer_close(writer, FIXTURE_START_NS + POINTS * APART_NS, &error), &error);
    fixture_check(night_reader_open(fixture->night, &reader, &error), &error);
    fixture_check(steadiness_read(reader, 2, nodes, &error), &error);
    night_reader_close(reader);
}

static void a_night_s_crystal_has_the_published_deviations(void **state)
{
    struct steadiness nodes[2];
    char text[STEADINESS_TEXT_SIZE];
    read_night(*state, 2 * POINTS, 2 * POINTS, nodes);
    assert_int_equal(nodes[0].minutes, POINTS);
    assert_close(nodes[0].deviation[0] * 1e6, 2.922319e-1, 1e-4);
    assert_close(nodes[0].deviation[1] * 1e6, 9.159953e-2, 1e-4);
    assert_true(nodes[0].known[2]);
    steadiness_say(&nodes[0], text);
    assert_non_null(strstr(text, "0.29 ppm over 1 min, 0.092 ppm over 10 min, "));
    assert_int_equal(nodes[1].minutes, 0); /* a node without exchanges */
    steadiness_say(&nodes[1], text);
    assert_string_equal(text, "");
}

static void a_stretch_without_exchanges_is_not_bridged(void **state)
{
    struct steadiness nodes[2];
    read_night(*state, 100, 700, nodes);
    assert_in_range(nodes[0].minutes, 290, 301);
    assert_true(nodes[0].known[1]);
}

int main(void)
{
#define PROMISE(name) cmocka_unit_test_setup_teardown(name, fixture_setup, fixture_teardown)
    const struct CMUnitTest tests[] = {
        PROMISE(a_night_s_crystal_has_the_published_deviations),
        PROMISE(a_stretch_without_exchanges_is_not_bridged),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
