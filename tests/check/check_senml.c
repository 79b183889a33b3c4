/* SenML against the published packs and rules of RFC 8428 (2018), by section. The packs of
 * sec. 5.1.2 to 5.1.4 and the resolve rules were read in the working group's example files; the
 * values of the packs of sec. 5.1.1 and 5.1.5 to 5.1.7, the default version and the "one of" rule
 * are from memory. Must never read a clock: "now" is the time that a section states. Run by ctest.
 */
#include "tests/unit/test.h"

#include "common/clock.h"
#include "common/senml.h"

/* The time that sec. 5.1.6 and 5.1.7 state as now: 31 October 2011, 16:27:09 UTC. */
#define NOW_S INT64_C(1320078429)
#define MS INT64_C(1000000)

/* A resolved record as it must come out; times in ms since 1970. */
struct expected {
    const char *name;
    const char *unit;
    int64_t time_ms;
    const char *value; /* a number as decimal_format writes it, or a text */
};

static struct senml_record *records;
static size_t count;

static int free_records(void **state)
{
    (void)state;
    free(records);
    records = NULL;
    return 0;
}

static void resolve(const char *pack)
{
    struct error error;
    free(records);
    if (senml_resolve(pack, strlen(pack), NOW_S * NS_PER_S, &records, &count, &error)) {
        fail_msg("%s: %s", pack, error.text);
    }
}

static void assert_refused(const char *pack, enum error_code code, const char *part)
{
    struct error error = {0};
    free(records);
    if (senml_resolve(pack, strlen(pack), NOW_S * NS_PER_S, &records, &count, &error) == 0) {
        fail_msg("taken: %s", pack);
    }
    assert_error(error, code, part);
}

static void assert_records(const struct expected *expected, size_t expected_count)
{
    assert_int_equal(count, expected_count);
    for (size_t i = 0; i < count; i++) {
        char value[DECIMAL_TEXT_SIZE];
        decimal_format(records[i].value, value);
        bool is_text = records[i].kind == SENML_STRING || records[i].kind == SENML_DATA;
        assert_string_equal(records[i].name, expected[i].name);
        assert_string_equal(records[i].unit, expected[i].unit);
        assert_int64_equal(records[i].time_ns, expected[i].time_ms * MS);
        assert_string_equal(is_text ? records[i].text : value, expected[i].value);
    }
}

#define ASSERT_RECORDS(list) assert_records((list), sizeof(list) / sizeof(list)[0])

static void section_5_1_1_a_single_datapoint_is_taken_as_now(void **state)
{
    (void)state;
    resolve("[{\"n\":\"urn:dev:ow:10e2073a01080063\",\"u\":\"Cel\",\"v\":23.1}]");
    const struct expected expected[] = {
        {"urn:dev:ow:10e2073a01080063", "Cel", NOW_S * 1000, "23.1"},
    };
    ASSERT_RECORDS(expected);
    assert_true(records[0].time_from_arrival);
}

static void section_5_1_2_a_base_name_is_put_before_each_name(void **state)
{
    (void)state;
    resolve("[{\"bn\":\"urn:dev:ow:10e2073a01080063:\",\"n\":\"voltage\",\"u\":\"V\",\"v\":120.1},"
            "{\"n\":\"current\",\"u\":\"A\",\"v\":1.2}]");
    const struct expected expected[] = {
        {"urn:dev:ow:10e2073a01080063:voltage", "V", NOW_S * 1000, "120.1"},
        {"urn:dev:ow:10e2073a01080063:current", "A", NOW_S * 1000, "1.2"},
    };
    ASSERT_RECORDS(expected);
}

/* The second pack of the section, which sets the older version 5: a reader of version 10 takes it.
 * Its resolved form is an example file of the working group's repository; here in order of time,
 * as sec. 4.6 asks. */
static void section_5_1_2_times_before_a_base_time_are_resolved(void **state)
{
    (void)state;
    resolve("[{\"bn\":\"urn:dev:ow:10e2073a0108006:\",\"bt\":1.276020076001e+09,\"bu\":\"A\","
            "\"bver\":5,\"n\":\"voltage\",\"u\":\"V\",\"v\":120.1},"
            "{\"n\":\"current\",\"t\":-5,\"v\":1.2},{\"n\":\"current\",\"t\":-4,\"v\":1.3},"
            "{\"n\":\"current\",\"t\":-3,\"v\":1.4},{\"n\":\"current\",\"t\":-2,\"v\":1.5},"
            "{\"n\":\"current\",\"t\":-1,\"v\":1.6},{\"n\":\"current\",\"v\":1.7}]");
    const struct expected expected[] = {
        {"urn:dev:ow:10e2073a0108006:current", "A", INT64_C(1276020071001), "1.2"},
        {"urn:dev:ow:10e2073a0108006:current", "A", INT64_C(1276020072001), "1.3"},
        {"urn:dev:ow:10e2073a0108006:current", "A", INT64_C(1276020073001), "1.4"},
        {"urn:dev:ow:10e2073a0108006:current", "A", INT64_C(1276020074001), "1.5"},
        {"urn:dev:ow:10e2073a0108006:current", "A", INT64_C(1276020075001), "1.6"},
        {"urn:dev:ow:10e2073a0108006:voltage", "V", INT64_C(1276020076001), "120.1"},
        {"urn:dev:ow:10e2073a0108006:current", "A", INT64_C(1276020076001), "1.7"},
    };
    ASSERT_RECORDS(expected);
    assert_false(records[0].time_from_arrival);
}

/* The third pack of the section, read as a whole; its resolved form is an example file of the
 * working group's repository. */
static void section_5_1_2_a_stream_of_humidity_is_resolved(void **state)
{
    (void)state;
    resolve("[{\"bn\":\"urn:dev:ow:10e2073a01080063\",\"bt\":1.320067464e+09,\"bu\":\"%RH\","
            "\"v\":21.2},{\"t\":10,\"v\":21.3},{\"t\":20,\"v\":21.4},{\"t\":30,\"v\":21.4},"
            "{\"t\":40,\"v\":21.5},{\"t\":50,\"v\":21.5},{\"t\":60,\"v\":21.5},"
            "{\"t\":70,\"v\":21.6},{\"t\":80,\"v\":21.7}]");
    const char *values[] = {"21.2", "21.3", "21.4", "21.4", "21.5", "21.5", "21.5", "21.6", "21.7"};
    assert_int_equal(count, 9);
    for (size_t i = 0; i < count; i++) {
        char value[DECIMAL_TEXT_SIZE];
        decimal_format(records[i].value, value);
        assert_string_equal(value, values[i]);
        assert_string_equal(records[i].name, "urn:dev:ow:10e2073a01080063");
        assert_string_equal(records[i].unit, "%RH");
        assert_int64_equal(records[i].time_ns, (1320067464 + 10 * (int64_t)i) * NS_PER_S);
    }
}

#define DEVICE "urn:dev:ow:10e2073a01080063"

/* Sec. 5.1.4: what the pack of sec. 5.1.3 resolves to. */
static const struct expected section_5_1_4[] = {
    {DEVICE, "%RH", INT64_C(1320067464000), "20"},
    {DEVICE, "lon", INT64_C(1320067464000), "24.30621"},
    {DEVICE, "lat", INT64_C(1320067464000), "60.07965"},
    {DEVICE, "%RH", INT64_C(1320067524000), "20.3"},
    {DEVICE, "lon", INT64_C(1320067524000), "24.30622"},
    {DEVICE, "lat", INT64_C(1320067524000), "60.07965"},
    {DEVICE, "%RH", INT64_C(1320067584000), "20.7"},
    {DEVICE, "lon", INT64_C(1320067584000), "24.30623"},
    {DEVICE, "lat", INT64_C(1320067584000), "60.07966"},
    {DEVICE, "%EL", INT64_C(1320067614000), "98"},
    {DEVICE, "%RH", INT64_C(1320067644000), "21.2"},
    {DEVICE, "lon", INT64_C(1320067644000), "24.30628"},
    {DEVICE, "lat", INT64_C(1320067644000), "60.07967"},
};

static void section_5_1_3_resolves_to_section_5_1_4(void **state)
{
    (void)state;
    resolve("[{\"bn\":\"" DEVICE "\",\"bt\":1.320067464e+09,\"bu\":\"%RH\",\"v\":20},"
            "{\"u\":\"lon\",\"v\":24.30621},{\"u\":\"lat\",\"v\":60.07965},"
            "{\"t\":60,\"v\":20.3},{\"u\":\"lon\",\"t\":60,\"v\":24.30622},"
            "{\"u\":\"lat\",\"t\":60,\"v\":60.07965},"
            "{\"t\":120,\"v\":20.7},{\"u\":\"lon\",\"t\":120,\"v\":24.30623},"
            "{\"u\":\"lat\",\"t\":120,\"v\":60.07966},"
            "{\"u\":\"%EL\",\"t\":150,\"v\":98},"
            "{\"t\":180,\"v\":21.2},{\"u\":\"lon\",\"t\":180,\"v\":24.30628},"
            "{\"u\":\"lat\",\"t\":180,\"v\":60.07967}]");
    ASSERT_RECORDS(section_5_1_4);
}

static void section_5_1_4_resolves_to_itself(void **state)
{
    (void)state;
    size_t expected_count = sizeof section_5_1_4 / sizeof section_5_1_4[0];
    struct text pack = {0};
    for (size_t i = 0; i < expected_count; i++) {
        const struct expected *record = &section_5_1_4[i];
        assert_int_equal(text_append_format(&pack,
                                            "%s{\"n\":\"%s\",\"u\":\"%s\",\"t\":%.9fe+09,\"v\":%s}",
                                            i ? "," : "[", record->name, record->unit,
                                            (double)record->time_ms / 1e12, record->value),
                         0);
    }
    assert_int_equal(text_append(&pack, "]", 1), 0);
    resolve(pack.bytes);
    text_free(&pack);
    ASSERT_RECORDS(section_5_1_4);
}

static void section_5_1_5_all_kinds_of_values_are_taken(void **state)
{
    (void)state;
    resolve("[{\"bn\":\"" DEVICE ":\",\"n\":\"temp\",\"u\":\"Cel\",\"v\":23.1},"
            "{\"n\":\"label\",\"vs\":\"Machine Room\"},{\"n\":\"open\",\"vb\":false},"
            "{\"n\":\"nfc-reader\",\"vd\":\"aGkgCg\"}]");
    const struct expected expected[] = {
        {DEVICE ":temp", "Cel", NOW_S * 1000, "23.1"},
        {DEVICE ":label", "", NOW_S * 1000, "Machine Room"},
        {DEVICE ":open", "", NOW_S * 1000, "0"},
        {DEVICE ":nfc-reader", "", NOW_S * 1000, "aGkgCg"},
    };
    ASSERT_RECORDS(expected);
    const enum senml_kind kinds[] = {SENML_NUMBER, SENML_STRING, SENML_BOOLEAN, SENML_DATA};
    for (size_t i = 0; i < count; i++) {
        assert_int_equal(records[i].kind, kinds[i]);
    }
}

static void
section_5_1_6_a_second_base_name_replaces_the_first_and_the_base_time_stays(void **state)
{
    (void)state;
    resolve("[{\"bn\":\"2001:db8::2/\",\"bt\":1.320078429e+09,\"n\":\"temperature\","
            "\"u\":\"Cel\",\"v\":25.2},{\"n\":\"humidity\",\"u\":\"%RH\",\"v\":30},"
            "{\"bn\":\"2001:db8::1/\",\"n\":\"temperature\",\"u\":\"Cel\",\"v\":12.3},"
            "{\"n\":\"humidity\",\"u\":\"%RH\",\"v\":67}]");
    const struct expected expected[] = {
        {"2001:db8::2/temperature", "Cel", NOW_S * 1000, "25.2"},
        {"2001:db8::2/humidity", "%RH", NOW_S * 1000, "30"},
        {"2001:db8::1/temperature", "Cel", NOW_S * 1000, "12.3"},
        {"2001:db8::1/humidity", "%RH", NOW_S * 1000, "67"},
    };
    ASSERT_RECORDS(expected);
    assert_false(records[3].time_from_arrival);
}

static void section_5_1_7_settings_of_an_actuator_are_resolved(void **state)
{
    (void)state;
    resolve("[{\"bn\":\"" DEVICE ":\",\"n\":\"temp\",\"u\":\"Cel\",\"v\":23.1},"
            "{\"n\":\"heat\",\"u\":\"/\",\"v\":1},{\"n\":\"fan\",\"u\":\"/\",\"v\":0}]");
    const struct expected thermostat[] = {
        {DEVICE ":temp", "Cel", NOW_S * 1000, "23.1"},
        {DEVICE ":heat", "/", NOW_S * 1000, "1"},
        {DEVICE ":fan", "/", NOW_S * 1000, "0"},
    };
    ASSERT_RECORDS(thermostat);
    resolve("[{\"bt\":1.320078429e+09,\"bu\":\"/\",\"n\":\"2001:db8::3\",\"v\":1},"
            "{\"n\":\"2001:db8::4\",\"v\":1}]");
    const struct expected lights_on[] = {
        {"2001:db8::3", "/", NOW_S * 1000, "1"},
        {"2001:db8::4", "/", NOW_S * 1000, "1"},
    };
    ASSERT_RECORDS(lights_on);
    resolve("[{\"bt\":1.320078429e+09,\"bu\":\"/\",\"n\":\"2001:db8::3\",\"v\":0.5},"
            "{\"n\":\"2001:db8::4\",\"v\":0.5},{\"n\":\"2001:db8::3\",\"t\":0.1,\"v\":0},"
            "{\"n\":\"2001:db8::4\",\"t\":0.1,\"v\":0}]");
    const struct expected lights_off[] = {
        {"2001:db8::3", "/", NOW_S * 1000, "0.5"},
        {"2001:db8::4", "/", NOW_S * 1000, "0.5"},
        {"2001:db8::3", "/", NOW_S * 1000 + 100, "0"},
        {"2001:db8::4", "/", NOW_S * 1000 + 100, "0"},
    };
    ASSERT_RECORDS(lights_off);
}

/* Sec. 4.5.3: from 2^28 s on a time counts from 1970, below it from now; negative is the past. */
static void section_4_5_3_times_below_two_to_the_28_count_from_now(void **state)
{
    (void)state;
    resolve("[{\"n\":\"a\",\"t\":268435456,\"v\":1}]");
    assert_int64_equal(records[0].time_ns, 268435456 * NS_PER_S);
    assert_false(records[0].time_from_arrival);
    resolve("[{\"n\":\"a\",\"t\":268435455.999999999,\"v\":1}]");
    assert_int64_equal(records[0].time_ns, (NOW_S + 268435456) * NS_PER_S - 1);
    assert_true(records[0].time_from_arrival);
    resolve("[{\"n\":\"a\",\"t\":-0.5,\"v\":1}]");
    assert_int64_equal(records[0].time_ns, NOW_S * NS_PER_S - NS_PER_S / 2);
    resolve("[{\"n\":\"a\",\"bt\":268435455,\"t\":1,\"v\":1}]");
    assert_int64_equal(records[0].time_ns, 268435456 * NS_PER_S);
}

/* Sec. 4.5.1: at least one of bn and n, only A-Z a-z 0-9 - : . / _, the first alphanumeric. */
static void section_4_5_1_names_are_checked(void **state)
{
    (void)state;
    assert_refused("[{\"v\":1}]", ERROR_FORMAT, "record 1: no name");
    assert_refused("[{\"bn\":\"\",\"n\":\"\",\"v\":1}]", ERROR_FORMAT, "no name");
    const char *names[] = {"a b", "a+b", "a#",        "-a", ":a",  "/a",
                           "_a",  ".a",  "a\xc3\xa9", "a%", "a\\n"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        char pack[64];
        (void)snprintf(pack, sizeof pack, "[{\"n\":\"%s\",\"v\":1}]", names[i]);
        assert_refused(pack, ERROR_FORMAT, "characters");
    }
    resolve("[{\"n\":\"A0-:._/z\",\"v\":1}]");
    resolve("[{\"bn\":\"a\",\"n\":\"-b\",\"v\":1}]");
    assert_string_equal(records[0].name, "a-b");
}

/* Sec. 4.2: exactly one value, unless there is a sum. */
static void section_4_2_a_record_without_a_value_or_with_two_is_refused(void **state)
{
    (void)state;
    assert_refused("[{\"n\":\"a\",\"v\":1},{\"n\":\"a\"}]", ERROR_FORMAT, "record 2: no value");
    assert_refused("[{\"n\":\"a\",\"v\":1,\"vs\":\"x\"}]", ERROR_FORMAT, "more than one");
    resolve("[{\"n\":\"a\",\"s\":1}]");
    resolve("[{\"n\":\"a\",\"s\":1,\"v\":2}]");
}

/* Sec. 4.4: 10 unless told; a higher version must not be used; one version in a pack. */
static void section_4_4_versions_are_checked(void **state)
{
    (void)state;
    resolve("[{\"bver\":10,\"n\":\"a\",\"v\":1},{\"n\":\"a\",\"v\":1,\"bver\":10}]");
    assert_refused("[{\"bver\":11,\"n\":\"a\",\"v\":1}]", ERROR_VERSION, "bver: version 11");
    assert_refused("[{\"n\":\"a\",\"v\":1},{\"bver\":5,\"n\":\"a\",\"v\":1}]", ERROR_VERSION,
                   "record 2: bver: 5 after 10");
    assert_refused("[{\"bver\":0,\"n\":\"a\",\"v\":1}]", ERROR_FORMAT, "bver: not a positive");
    assert_refused("[{\"bver\":-1,\"n\":\"a\",\"v\":1}]", ERROR_FORMAT, "bver: not a positive");
    assert_refused("[{\"bver\":9.5,\"n\":\"a\",\"v\":1}]", ERROR_FORMAT, "bver: not a positive");
    assert_refused("[{\"bver\":\"10\",\"n\":\"a\",\"v\":1}]", ERROR_FORMAT, "bver: not a number");
}

/* Sec. 4.4 and 12.3.1: unknown fields are ignored unless the label ends in "_". */
static void section_4_4_a_field_that_must_be_understood_is_refused(void **state)
{
    (void)state;
    resolve("[{\"n\":\"a\",\"v\":1,\"mood\":{\"deep\":[1,2]}}]");
    assert_int_equal(count, 1);
    assert_refused("[{\"n\":\"a\",\"v\":1,\"mood_\":1}]", ERROR_VERSION,
                   "record 1: field \"mood_\"");
    assert_refused("[{\"n\":\"a\",\"v\":1,\"_\":1}]", ERROR_VERSION, "field \"_\"");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(section_5_1_1_a_single_datapoint_is_taken_as_now),
        cmocka_unit_test(section_5_1_2_a_base_name_is_put_before_each_name),
        cmocka_unit_test(section_5_1_2_times_before_a_base_time_are_resolved),
        cmocka_unit_test(section_5_1_2_a_stream_of_humidity_is_resolved),
        cmocka_unit_test(section_5_1_3_resolves_to_section_5_1_4),
        cmocka_unit_test(section_5_1_4_resolves_to_itself),
        cmocka_unit_test(section_5_1_5_all_kinds_of_values_are_taken),
        cmocka_unit_test(
            section_5_1_6_a_second_base_name_replaces_the_first_and_the_base_time_stays),
        cmocka_unit_test(section_5_1_7_settings_of_an_actuator_are_resolved),
        cmocka_unit_test(section_4_5_3_times_below_two_to_the_28_count_from_now),
        cmocka_unit_test(section_4_5_1_names_are_checked),
        cmocka_unit_test(section_4_2_a_record_without_a_value_or_with_two_is_refused),
        cmocka_unit_test(section_4_4_versions_are_checked),
        cmocka_unit_test(section_4_4_a_field_that_must_be_understood_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, free_records);
}
