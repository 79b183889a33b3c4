/* Tests of SenML resolution beyond the published examples.
 * Must never depend on anything but common.
 * Run by ctest. Published packs are in tests/check/check_senml.c. */
#include "tests/unit/test.h"

#include "common/clock.h"
#include "common/senml.h"

#define ARRIVAL_NS INT64_C(1709330400123456789)

static struct senml_record *records;
static size_t count;

static void resolve(const char *pack)
{
    struct error error;
    free(records);
    if (senml_resolve(pack, strlen(pack), ARRIVAL_NS, &records, &count, &error)) {
        fail_msg("%s: %s", pack, error.text);
    }
}

static void assert_refused(const char *pack, enum error_code code, const char *part)
{
    struct error error = {0};
    free(records);
    if (senml_resolve(pack, strlen(pack), ARRIVAL_NS, &records, &count, &error) == 0) {
        fail_msg("taken: %s", pack);
    }
    assert_null(records);
    assert_int_equal(count, 0);
    assert_error(error, code, part);
}

static int free_records(void **state)
{
    (void)state;
    free(records);
    records = NULL;
    return 0;
}

static void values_keep_their_last_digit(void **state)
{
    (void)state;
    resolve("[{\"n\":\"a\",\"v\":23.1000000000000014},{\"n\":\"b\",\"v\":999999999999999999}]");
    assert_int64_equal(records[0].value.mantissa, 231000000000000014);
    assert_int64_equal(records[0].value.exponent, -16);
    assert_int64_equal(records[1].value.mantissa, 999999999999999999);
    assert_refused("[{\"n\":\"a\",\"v\":1.000000000000000001}]", ERROR_RANGE,
                   "SenML record 1: v: ");
}

static void times_keep_their_nanoseconds(void **state)
{
    (void)state;
    resolve("[{\"bt\":1709330400.123456789,\"n\":\"a\",\"v\":1},{\"n\":\"a\",\"t\":1e-9,\"v\":2}]");
    assert_int64_equal(records[0].time_ns, INT64_C(1709330400123456789));
    assert_int64_equal(records[1].time_ns, INT64_C(1709330400123456790));
    assert_false(records[0].time_from_arrival);
}

static void a_double_printed_as_it_is_becomes_the_nearest_nanosecond(void **state)
{
    (void)state;
    resolve("[{\"n\":\"a\",\"t\":-0.30000000000000004,\"v\":1}]");
    assert_int64_equal(records[0].time_ns, ARRIVAL_NS - 300000000);
}

static void base_value_and_sum_are_added_exactly(void **state)
{
    (void)state;
    resolve("[{\"bn\":\"a\",\"bv\":0.1,\"bs\":1e9,\"v\":0.2,\"s\":1},{\"v\":-0.1},{\"bv\":5}]");
    assert_int64_equal(records[0].value.mantissa, 3);
    assert_int64_equal(records[0].value.exponent, -1);
    assert_true(records[0].has_sum);
    assert_int64_equal(records[0].sum.mantissa, 1000000001);
    assert_int64_equal(records[1].value.mantissa, 0);
    assert_true(records[1].has_sum);
    assert_int_equal(records[2].kind, SENML_NUMBER);
    assert_int64_equal(records[2].value.mantissa, 5);
    assert_refused("[{\"n\":\"a\",\"bv\":1e18,\"v\":0.5}]", ERROR_RANGE, "more than 18 digits");
}

static void a_base_value_does_not_touch_other_kinds(void **state)
{
    (void)state;
    resolve("[{\"bn\":\"a\",\"bv\":7,\"vb\":true},{\"vs\":\"open\"}]");
    assert_int_equal(records[0].kind, SENML_BOOLEAN);
    assert_int64_equal(records[0].value.mantissa, 1);
    assert_int_equal(records[1].kind, SENML_STRING);
    assert_string_equal(records[1].text, "open");
}

static void a_sum_may_stand_alone(void **state)
{
    (void)state;
    resolve("[{\"n\":\"a\",\"u\":\"W\",\"s\":12.5}]");
    assert_int_equal(records[0].kind, SENML_SUM_ONLY);
    assert_int64_equal(records[0].sum.mantissa, 125);
}

static void records_come_in_order_of_time_and_ties_in_pack_order(void **state)
{
    (void)state;
    resolve("[{\"n\":\"a\",\"t\":-1,\"v\":0},{\"n\":\"b\",\"t\":-3,\"v\":1},{\"n\":\"c\",\"t\":-1,"
            "\"v\":2},"
            "{\"n\":\"d\",\"t\":-3,\"v\":3},{\"n\":\"e\",\"v\":4}]");
    assert_int_equal(count, 5);
    const char *names[] = {"b", "d", "a", "c", "e"};
    for (size_t i = 0; i < count; i++) {
        assert_string_equal(records[i].name, names[i]);
    }
}

static void a_unit_is_never_guessed(void **state)
{
    (void)state;
    resolve("[{\"n\":\"temperature\",\"v\":1},{\"bu\":\"Cel\",\"n\":\"a\",\"v\":1},"
            "{\"n\":\"b\",\"u\":\"\",\"v\":1}]");
    assert_string_equal(records[0].unit, "");
    assert_string_equal(records[1].unit, "Cel");
    assert_string_equal(records[2].unit, "");
}

static void a_long_text_is_cut_between_characters(void **state)
{
    (void)state;
    char pack[512] = "[{\"n\":\"a\",\"vs\":\"x";
    for (int i = 0; i < 100; i++) {
        strcat(pack, "\xc3\xa9");
    }
    strcat(pack, "\"}]");
    resolve(pack);
    assert_int_equal(strlen(records[0].text), SENML_TEXT_SIZE - 1);
    assert_int_equal((unsigned char)records[0].text[SENML_TEXT_SIZE - 2], 0xa9);
}

static void what_is_no_pack_is_refused(void **state)
{
    (void)state;
    assert_refused("", ERROR_FORMAT, "SenML pack: empty");
    assert_refused("{}", ERROR_FORMAT, "not a list");
    assert_refused("[1]", ERROR_FORMAT, "SenML record 1: not an object");
    assert_refused("[{\"n\":\"a\",\"v\":1},]", ERROR_FORMAT, "line 1, column 18");
    resolve("[]");
    assert_int_equal(count, 0);
}

static void wrong_types_and_doubles_are_named(void **state)
{
    (void)state;
    assert_refused("[{\"n\":\"a\",\"v\":\"1\"}]", ERROR_FORMAT, "record 1: v: not a number");
    assert_refused("[{\"n\":1,\"v\":1}]", ERROR_FORMAT, "n: not a string");
    assert_refused("[{\"n\":\"a\",\"vb\":1}]", ERROR_FORMAT, "vb: not true or false");
    assert_refused("[{\"n\":\"a\",\"v\":null}]", ERROR_FORMAT, "v: not a number");
    assert_refused("[{\"n\":\"a\",\"v\":1,\"v\":2}]", ERROR_FORMAT, "v: given twice");
    assert_refused("[{\"n\":\"a\",\"v\":1},{\"n\":\"a\",\"v\":1,\"vb\":true}]", ERROR_FORMAT,
                   "SenML record 2: more than one");
    assert_refused("[{\"n\":\"a\",\"vd\":\"a+/=\"}]", ERROR_FORMAT, "vd: not base64url");
}

static void what_does_not_fit_is_refused(void **state)
{
    (void)state;
    assert_refused("[{\"n\":\"a\",\"u\":\"0123456789abcdef\",\"v\":1}]", ERROR_RANGE, "u: longer");
    assert_refused("[{\"n\":\"a\",\"bu\":\"0123456789abcdef\",\"v\":1}]", ERROR_RANGE,
                   "bu: longer");
    assert_refused("[{\"n\":\"a\",\"t\":1e10,\"v\":1}]", ERROR_RANGE, "t: ");
    assert_refused("[{\"n\":\"a\",\"bt\":9e9,\"t\":9e9,\"v\":1}]", ERROR_RANGE, "time beyond");
    assert_refused("[{\"n\":\"a\",\"bt\":-9e9,\"t\":-9e9,\"v\":1}]", ERROR_RANGE, "time beyond");
    char pack[1024] = "[{\"v\":1,\"bn\":\"";
    memset(pack + strlen(pack), 'a', 200);
    strcat(pack, "\",\"n\":\"");
    memset(pack + strlen(pack), 'b', 56);
    strcat(pack, "\"}]");
    assert_refused(pack, ERROR_RANGE, "name longer than 255");
}

static void a_pack_is_bounded_in_bytes_and_records(void **state)
{
    (void)state;
    size_t room = 26u * (SENML_RECORDS_MAX + 1u);
    char *pack = malloc(room + 3);
    assert_non_null(pack);
    size_t length = 0;
    pack[length++] = '[';
    for (int i = 0; i <= SENML_RECORDS_MAX; i++) {
        length += (size_t)sprintf(pack + length, "%s{\"n\":\"a\",\"v\":%d}", i ? "," : "", i % 10);
    }
    pack[length++] = ']';
    struct error error = {0};
    free(records);
    assert_int_equal(senml_resolve(pack, length, 0, &records, &count, &error), -1);
    assert_error(error, ERROR_RANGE, "20001 records");
    free(pack);
    char *huge = malloc(SENML_PACK_MAX + 1);
    assert_non_null(huge);
    memset(huge, ' ', SENML_PACK_MAX + 1);
    assert_int_equal(senml_resolve(huge, SENML_PACK_MAX + 1, 0, &records, &count, &error), -1);
    assert_error(error, ERROR_RANGE, "bytes");
    free(huge);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(values_keep_their_last_digit),
        cmocka_unit_test(times_keep_their_nanoseconds),
        cmocka_unit_test(a_double_printed_as_it_is_becomes_the_nearest_nanosecond),
        cmocka_unit_test(base_value_and_sum_are_added_exactly),
        cmocka_unit_test(a_base_value_does_not_touch_other_kinds),
        cmocka_unit_test(a_sum_may_stand_alone),
        cmocka_unit_test(records_come_in_order_of_time_and_ties_in_pack_order),
        cmocka_unit_test(a_unit_is_never_guessed),
        cmocka_unit_test(a_long_text_is_cut_between_characters),
        cmocka_unit_test(what_is_no_pack_is_refused),
        cmocka_unit_test(wrong_types_and_doubles_are_named),
        cmocka_unit_test(what_does_not_fit_is_refused),
        cmocka_unit_test(a_pack_is_bounded_in_bytes_and_records),
    };
    return cmocka_run_group_tests(tests, NULL, free_records);
}
