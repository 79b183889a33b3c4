/* The small messages come back as they were written and refuse what is not theirs.
 * Must never depend on the order of fields. */
#include "tests/unit/test.h"

#include "common/message.h"

static struct message_hello good_hello(void)
{
    struct message_hello hello = {.boot = UINT64_C(0x0123456789abcdef), .software = "0.1.0"};
    struct error error = {0};
    assert_int_equal(channel_init(&hello.channels[0], "magnetic.x", NULL, 250, &error), 0);
    hello.channels[0].step = (struct decimal){15, -9};
    hello.channels[0].offset = (struct decimal){-4, -7};
    assert_int_equal(channel_init(&hello.channels[1], "motion", NULL, 0, &error), 0);
    assert_int_equal(channel_init(&hello.channels[2], "air-flow", "m/s", 100.0 / 3, &error), 0);
    hello.channel_count = 3;
    return hello;
}

static struct message_state good_state(void)
{
    return (struct message_state){
        .boot = UINT64_C(0xfedcba9876543210),
        .fit = {.known = true,
                .utc = true,
                .ref_node_ns = INT64_C(1234567890123456789),
                .offset_ns = INT64_C(-1491926160718000001),
                .rate_ppt = -40000001,
                .uncertainty_ns = 52000,
                .growth_ppb = 1000},
        .exchange_age_ns = INT64_C(9007199254740993),
        .round_trip_ns = 412345,
        .exchange_count = 2,
        .exchanges = {{-1, INT64_C(1700000000000000001), INT64_C(1700000000000000002), 5},
                      {7, INT64_C(1700000000000000010), INT64_C(1700000000000000011), INT64_MAX}},
        .battery_v = 3.87,
        .battery_hours = 11.5,
        .spool_frames = 12,
        .spool_bytes = 123456,
        .dropped_frames = 3,
        .note = "magnetic: \"no answer\"\n",
    };
}

static void hello_comes_back_with_exact_scales_and_rates(void **state)
{
    (void)state;
    struct message_hello hello = good_hello();
    struct text text = {0};
    assert_int_equal(message_hello_write(&hello, &text), 0);
    struct message_hello read;
    struct error error = {0};
    if (message_hello_read(text.bytes, text.length, &read, &error) != 0) {
        fail_msg("%s in %s", error.text, text.bytes);
    }
    assert_non_null(strstr(text.bytes, "\"boot\":\"0123456789abcdef\""));
    text_free(&text);
    assert_true(read.boot == hello.boot);
    assert_string_equal(read.software, "0.1.0");
    assert_int_equal(read.channel_count, 3);
    for (size_t i = 0; i < 3; i++) {
        const struct channel *a = &hello.channels[i];
        const struct channel *b = &read.channels[i];
        assert_string_equal(a->name, b->name);
        assert_string_equal(a->unit, b->unit);
        assert_int_equal(a->quantity, b->quantity);
        assert_close(a->rate_hz, b->rate_hz, 0);
        assert_int64_equal(a->period_ps, b->period_ps);
        assert_int64_equal(a->step.mantissa, b->step.mantissa);
        assert_int64_equal(a->step.exponent, b->step.exponent);
        assert_int64_equal(a->offset.mantissa, b->offset.mantissa);
        assert_int64_equal(a->offset.exponent, b->offset.exponent);
    }
}

static void state_keeps_every_digit_of_its_nanoseconds(void **state)
{
    (void)state;
    struct message_state sent = good_state();
    struct text text = {0};
    assert_int_equal(message_state_write(&sent, &text), 0);
    struct message_state read;
    struct error error = {0};
    if (message_state_read(text.bytes, text.length, &read, &error) != 0) {
        fail_msg("%s in %s", error.text, text.bytes);
    }
    text_free(&text);
    assert_false(read.gone);
    assert_true(read.boot == sent.boot);
    assert_true(read.fit.known && read.fit.utc);
    assert_int64_equal(read.fit.ref_node_ns, sent.fit.ref_node_ns);
    assert_int64_equal(read.fit.offset_ns, sent.fit.offset_ns);
    assert_int64_equal(read.fit.rate_ppt, sent.fit.rate_ppt);
    assert_int64_equal(read.fit.uncertainty_ns, sent.fit.uncertainty_ns);
    assert_int64_equal(read.fit.growth_ppb, sent.fit.growth_ppb);
    assert_int64_equal(read.exchange_age_ns, sent.exchange_age_ns);
    assert_int64_equal(read.round_trip_ns, sent.round_trip_ns);
    assert_int_equal(read.exchange_count, 2);
    assert_memory_equal(read.exchanges, sent.exchanges, 2 * sizeof sent.exchanges[0]);
    assert_close(read.battery_v, 3.87, 0);
    assert_close(read.battery_hours, 11.5, 0);
    assert_int_equal(read.spool_frames, 12);
    assert_int_equal(read.spool_bytes, 123456);
    assert_int_equal(read.dropped_frames, 3);
    assert_string_equal(read.note, sent.note);
}

static void a_state_without_clock_or_battery_says_so(void **state)
{
    (void)state;
    struct message_state sent = good_state();
    sent.fit = (struct clock_fit){0};
    sent.battery_v = (double)NAN;
    sent.battery_hours = (double)NAN;
    sent.exchange_age_ns = -1;
    struct text text = {0};
    assert_int_equal(message_state_write(&sent, &text), 0);
    assert_null(strstr(text.bytes, "battery"));
    struct message_state read;
    struct error error = {0};
    assert_int_equal(message_state_read(text.bytes, text.length, &read, &error), 0);
    text_free(&text);
    assert_false(read.fit.known);
    assert_true(isnan(read.battery_v));
    assert_true(isnan(read.battery_hours));
    assert_int64_equal(read.exchange_age_ns, -1);
}

static void the_last_will_says_only_that_it_is_gone(void **state)
{
    (void)state;
    struct message_state sent = good_state();
    sent.gone = true;
    struct text text = {0};
    assert_int_equal(message_state_write(&sent, &text), 0);
    assert_string_equal(text.bytes, "{\"version\":1,\"gone\":true}");
    struct message_state read;
    struct error error = {0};
    assert_int_equal(message_state_read(text.bytes, text.length, &read, &error), 0);
    assert_true(read.gone);
    text_free(&text);
}

static void stored_comes_back_beyond_what_a_double_holds(void **state)
{
    (void)state;
    struct message_stored sent = {.boot = 1, .seq = UINT64_C(9007199254740993)};
    struct text text = {0};
    assert_int_equal(message_stored_write(&sent, &text), 0);
    struct message_stored read;
    struct error error = {0};
    assert_int_equal(message_stored_read(text.bytes, text.length, &read, &error), 0);
    assert_true(read.boot == 1 && read.seq == sent.seq);
    text_free(&text);
}

static void a_mark_comes_back_to_the_nanosecond(void **state)
{
    (void)state;
    struct message_mark sent = {
        .start_ns = INT64_C(1709330400123456789),
        .length_ns = INT64_C(12345678901),
        .room = "hall",
        .who = "ann",
        .text = "moved the \"chair\"",
    };
    struct text text = {0};
    assert_int_equal(message_mark_write(&sent, &text), 0);
    struct message_mark read;
    struct error error = {0};
    if (message_mark_read(text.bytes, text.length, &read, &error) != 0) {
        fail_msg("%s in %s", error.text, text.bytes);
    }
    text_free(&text);
    assert_int64_equal(read.start_ns, sent.start_ns);
    assert_int64_equal(read.length_ns, sent.length_ns);
    assert_string_equal(read.room, "hall");
    assert_string_equal(read.who, "ann");
    assert_string_equal(read.text, sent.text);
}

static void a_mark_of_a_script_needs_only_its_text(void **state)
{
    (void)state;
    const char *json = "{\"text\":\"phone\"}";
    struct message_mark read;
    struct error error = {0};
    assert_int_equal(message_mark_read(json, strlen(json), &read, &error), 0);
    assert_string_equal(read.text, "phone");
    assert_int64_equal(read.start_ns, 0);
    assert_int64_equal(read.length_ns, 0);
    assert_string_equal(read.room, "");
}

enum kind { HELLO, STATE, STORED, MARK };

static int read_any(enum kind kind, const char *json, size_t length, struct error *error)
{
    struct message_hello hello;
    struct message_state node_state;
    struct message_stored stored;
    struct message_mark mark;
    switch (kind) {
    case HELLO:
        return message_hello_read(json, length, &hello, error);
    case STATE:
        return message_state_read(json, length, &node_state, error);
    case STORED:
        return message_stored_read(json, length, &stored, error);
    case MARK:
        return message_mark_read(json, length, &mark, error);
    }
    return 0;
}

#define HEAD "{\"version\":1,\"boot\":\"0123456789abcdef\","
#define CHANNEL "\"rate_hz\":1,\"step\":\"1\",\"offset\":\"0\"}"

static void what_is_wrong_is_named_by_its_field(void **state)
{
    (void)state;
    const struct {
        enum kind kind;
        const char *json;
        enum error_code code;
        const char *text;
    } faults[] = {
        {STORED, HEAD "\"seq\":\"-1\"}", ERROR_RANGE, "stored.seq"},
        {STORED, HEAD "\"seq\":5}", ERROR_FORMAT, "stored.seq"},
        {STORED, HEAD "\"sec\":\"5\"}", ERROR_FORMAT, "stored.sec: unknown field"},
        {STORED, "{\"version\":2,\"boot\":\"0123456789abcdef\",\"seq\":\"1\"}", ERROR_VERSION,
         "stored.version"},
        {STORED, "{\"version\":1,\"boot\":\"0123456789ABCDEF\",\"seq\":\"1\"}", ERROR_FORMAT,
         "stored.boot"},
        {STORED, "{\"version\":1,\"boot\":\"0000000000000000\",\"seq\":\"1\"}", ERROR_FORMAT,
         "stored.boot"},
        {STORED, "{\"version\":1,\"boot\":\"12\",\"seq\":\"1\"}", ERROR_FORMAT, "stored.boot"},
        {HELLO, HEAD "\"software\":\"1\",\"channels\":{}}", ERROR_FORMAT, "hello.channels"},
        {HELLO,
         HEAD "\"software\":\"1\",\"channels\":[{\"name\":\"motion\",\"unit\":\"T\"," CHANNEL "]}",
         ERROR_RANGE, "hello.channels[0]"},
        {HELLO,
         HEAD "\"software\":\"1\",\"channels\":[{\"name\":\"a\",\"unit\":\"V\"," CHANNEL
              ",{\"name\":\"a\",\"unit\":\"V\"," CHANNEL "]}",
         ERROR_FORMAT, "hello.channels[1].name: \"a\" is there twice"},
        {HELLO,
         HEAD "\"software\":\"1\",\"channels\":[{\"name\":\"a\",\"unit\":\"V\",\"rate_hz\":1,"
              "\"step\":\"0\",\"offset\":\"0\"}]}",
         ERROR_RANGE, "hello.channels[0].step"},
        {HELLO,
         HEAD "\"software\":\"1\",\"channels\":[{\"name\":\"a\",\"unit\":\"V\",\"rate_hz\":1,"
              "\"step\":\"1\",\"offset\":\"x\"}]}",
         ERROR_FORMAT, "hello.channels[0].offset"},
        {STATE, HEAD "\"exchange_age_ns\":\"1\",\"round_trip_ns\":\"1\"}", ERROR_FORMAT,
         "state.spool: missing"},
        {STATE, HEAD "\"clock\":{\"offset\":1}}", ERROR_FORMAT, "state.clock.offset"},
        {STATE,
         HEAD "\"exchange_age_ns\":\"1\",\"round_trip_ns\":\"1\",\"exchanges\":[{\"t1_ns\":1}]}",
         ERROR_FORMAT, "state.exchanges[0].t1_ns"},
        {STATE, HEAD "\"exchange_age_ns\":\"1\",\"round_trip_ns\":\"1\",\"exchanges\":[7]}",
         ERROR_FORMAT, "state.exchanges[0]: not an object"},
        {MARK, "{\"text\":\"a\",\"room\":\"the hall\"}", ERROR_FORMAT, "mark.room"},
        {MARK, "{\"text\":\"a\",\"start\":\"yesterday\"}", ERROR_FORMAT, "mark.start"},
        {MARK, "{\"text\":\"a\",\"length_s\":-1}", ERROR_RANGE, "mark.length_s"},
        {MARK, "{\"room\":\"hall\"}", ERROR_FORMAT, "mark.text: missing"},
        {MARK, "[]", ERROR_FORMAT, "not an object"},
    };
    for (size_t i = 0; i < sizeof faults / sizeof faults[0]; i++) {
        struct error error = {0};
        if (read_any(faults[i].kind, faults[i].json, strlen(faults[i].json), &error) == 0) {
            fail_msg("taken: %s", faults[i].json);
        }
        assert_error(error, faults[i].code, faults[i].text);
    }
}

static void every_cut_of_a_message_is_an_error(void **state)
{
    (void)state;
    struct message_hello hello = good_hello();
    struct message_state node_state = good_state();
    struct text texts[2] = {{0}, {0}};
    assert_int_equal(message_hello_write(&hello, &texts[HELLO]), 0);
    assert_int_equal(message_state_write(&node_state, &texts[STATE]), 0);
    for (int kind = HELLO; kind <= STATE; kind++) {
        for (size_t cut = 0; cut < texts[kind].length; cut++) {
            struct error error = {0};
            assert_int_equal(read_any((enum kind)kind, texts[kind].bytes, cut, &error), -1);
            assert_true(error.text[0] != '\0');
        }
        text_free(&texts[kind]);
    }
}

static void a_message_too_long_is_not_even_parsed(void **state)
{
    (void)state;
    size_t length = MESSAGE_JSON_MAX + 1;
    char *json = malloc(length);
    assert_non_null(json);
    memset(json, ' ', length);
    struct error error = {0};
    assert_int_equal(read_any(MARK, json, length, &error), -1);
    assert_error(error, ERROR_RANGE, "mark: 65537 bytes");
    free(json);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(hello_comes_back_with_exact_scales_and_rates),
        cmocka_unit_test(state_keeps_every_digit_of_its_nanoseconds),
        cmocka_unit_test(a_state_without_clock_or_battery_says_so),
        cmocka_unit_test(the_last_will_says_only_that_it_is_gone),
        cmocka_unit_test(stored_comes_back_beyond_what_a_double_holds),
        cmocka_unit_test(a_mark_comes_back_to_the_nanosecond),
        cmocka_unit_test(a_mark_of_a_script_needs_only_its_text),
        cmocka_unit_test(what_is_wrong_is_named_by_its_field),
        cmocka_unit_test(every_cut_of_a_message_is_an_error),
        cmocka_unit_test(a_message_too_long_is_not_even_parsed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
