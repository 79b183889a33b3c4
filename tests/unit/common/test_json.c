/* Tests of the strict reading of JSON and of strings written as JSON.
 * Must never depend on anything but common.
 * Run by ctest. */
#include "tests/unit/test.h"

#include "common/json.h"
#include "common/text.h"

static void assert_refused(const char *text, bool exact, const char *part)
{
    cJSON *tree = NULL;
    struct error error = {0};
    size_t length = strlen(text);
    char *bytes = malloc(length + 1); /* exactly as long as told, so that a read past it is seen */
    assert_non_null(bytes);
    memcpy(bytes, text, length);
    int result = exact ? json_parse_exact(bytes, length, "site.json", &tree, &error)
                       : json_parse(bytes, length, "site.json", &tree, &error);
    free(bytes);
    cJSON_Delete(tree);
    if (result != -1 || !strstr(error.text, part)) {
        fail_msg("%s: %d \"%s\", expected \"%s\"", text, result, error.text, part);
    }
}

static cJSON *parsed(const char *text)
{
    cJSON *tree = NULL;
    struct error error = {0};
    if (json_parse(text, strlen(text), "test", &tree, &error)) {
        fail_msg("%s: %s", text, error.text);
    }
    return tree;
}

static void exactly_the_told_bytes_are_read(void **state)
{
    (void)state;
    cJSON *tree = NULL;
    assert_int_equal(json_parse("[1,2]garbage", 5, "test", &tree, NULL), 0);
    assert_int_equal(cJSON_GetArraySize(tree), 2);
    cJSON_Delete(tree);
    assert_refused("[1,2] x", false, "line 1, column 7: unexpected character");
    assert_refused("[1,2] 3", false, "malformed JSON");
    assert_int_equal(json_parse(NULL, 0, "test", &tree, NULL), -1);
    assert_null(tree);
}

static void a_byte_order_mark_in_front_is_skipped(void **state)
{
    (void)state;
    cJSON_Delete(parsed("\xef\xbb\xbf{\"a\":1}"));
    assert_refused("{\xef\xbb\xbf\"a\":1}", false, "unexpected character");
}

static void a_fault_is_told_with_line_and_column(void **state)
{
    (void)state;
    assert_refused("{\n  \"a\": 1,\n  \"b\" 2\n}", false, "site.json: line 3, column 7: malformed");
    assert_refused("{\"\xc3\xa9\xc3\xa9\" 1}", false, "line 1, column 7: malformed");
    assert_refused("[1, 2,, 3]", true, "line 1, column 7: malformed");
    assert_refused("[1, 2 3]", true, "line 1, column 7: malformed");
}

static void what_a_lax_parser_lets_through_is_refused(void **state)
{
    (void)state;
    const char *numbers[] = {"[01]",  "[-]",  "[1.]",  "[.5]", "[1e]",
                             "[1e+]", "[+1]", "[0x1]", "[-01]"};
    for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++) {
        assert_refused(numbers[i], false, "line 1, column");
        assert_refused(numbers[i], true, "line 1, column");
    }
    assert_refused("[NaN]", false, "unexpected character");
    assert_refused("[1,]", false, "malformed");
    assert_refused("{\"a\":1,}", false, "malformed");
    assert_refused("[\"a\tb\"]", false, "control character");
    assert_refused("[\x01]", false, "unexpected character");
    assert_refused("[\"a\\u0000b\"]", false, "U+0000");
    assert_refused("[\"\xc0\x80\"]", false, "not UTF-8");
    assert_refused("[\"\\ud800\"]", false, "malformed");
    assert_refused("[\"\\ud800\\u0041\"]", false, "malformed");
    assert_refused("[\"\\udc00\"]", false, "malformed");
    assert_refused("[\"\\u00g0\"]", false, "malformed");
    assert_refused("[\"\\u00", false, "malformed");
    assert_refused("[\"\\x41\"]", false, "malformed");
    assert_refused("[\"abc", false, "a string without an end");
    assert_refused("[\"abc\\", false, "a string without an end");
    assert_refused("", false, "empty");
    assert_refused(" ", false, "malformed");
    assert_refused("{1:2}", true, "field's name");
    assert_refused("{ -1.5 : 2}", false, "field's name");
}

static void a_number_is_of_any_length_only_where_it_is_exact(void **state)
{
    (void)state;
    char text[80] = "[0.";
    memset(text + 3, '3', 61);
    memcpy(text + 64, "]", 2);
    cJSON_Delete(parsed(text)); /* 63 characters */
    memcpy(text + 64, "3]", 3);
    assert_refused(text, false, "column 2: a number that is too long");
    cJSON *tree = NULL;
    struct error error;
    assert_int_equal(json_parse_exact(text, strlen(text), "text", &tree, &error), 0);
    assert_int_equal(strlen(json_exact_number(cJSON_GetArrayItem(tree, 0))), 64);
    cJSON_Delete(tree);
}

/* What passes the look over is JSON, so that a parser that fails has no memory. */
static void no_text_is_refused_for_want_of_memory(void **state)
{
    (void)state;
    static const char *const pieces[] = {
        "{",      "}",         "[",     "]",    ",", ":",    "\"a\"",
        "\"b\":", "true",      "false", "null", "1", "-2e3", "\"\\ud83d\\ude00\"",
        " ",      "\"\\n\\/\""};
    uint64_t random = 20240301;
    int taken = 0;
    for (int run = 0; run < 50000; run++) {
        char text[256] = "";
        struct error error = {0};
        cJSON *tree = NULL;
        for (int i = 0; i < 1 + run % 9; i++) {
            random = random * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
            strcat(text, pieces[random >> 60]);
        }
        int result =
            (run % 2 ? json_parse : json_parse_exact)(text, strlen(text), "text", &tree, &error);
        taken += result == 0;
        if (result != 0 && error.code != ERROR_FORMAT) {
            fail_msg("%s: %s", text, error.text);
        }
        cJSON_Delete(tree);
    }
    assert_true(taken > 1000);
}

static void nesting_is_bounded(void **state)
{
    (void)state;
    cJSON_Delete(parsed("[[[[[[[[1]]]]]]]]"));
    assert_refused("[[[[[[[[[1]]]]]]]]]", false, "column 9: nested too deeply");
    assert_refused("]]]][[[[[[[[[[[[", false, "malformed");
}

static void an_escaped_backslash_is_no_escape(void **state)
{
    (void)state;
    cJSON *tree = parsed("[\"\\\\u0000\"]");
    assert_string_equal(cJSON_GetArrayItem(tree, 0)->valuestring, "\\u0000");
    cJSON_Delete(tree);
}

static void exact_numbers_keep_every_digit(void **state)
{
    (void)state;
    const char *text =
        "[1491926160718000001, -0.10, 1.5E-08,\"7\",{\"v\":23.100000000000000001}, 0]";
    cJSON *tree = NULL;
    assert_int_equal(json_parse_exact(text, strlen(text), "test", &tree, NULL), 0);
    assert_string_equal(json_exact_number(cJSON_GetArrayItem(tree, 0)), "1491926160718000001");
    assert_string_equal(json_exact_number(cJSON_GetArrayItem(tree, 1)), "-0.10");
    assert_string_equal(json_exact_number(cJSON_GetArrayItem(tree, 2)), "1.5E-08");
    assert_null(json_exact_number(cJSON_GetArrayItem(tree, 3)));
    const cJSON *inner = cJSON_GetObjectItemCaseSensitive(cJSON_GetArrayItem(tree, 4), "v");
    assert_string_equal(json_exact_number(inner), "23.100000000000000001");
    assert_null(json_exact_number(NULL));
    cJSON_Delete(tree);
}

static void nobody_can_forge_an_exact_number(void **state)
{
    (void)state;
    assert_refused("[\"\\u00015\"]", true, "U+0001");
    assert_refused("[\"\x01"
                   "5\"]",
                   true, "control character");
}

static const char *const known_fields[] = {"id", "rate_hz", NULL};

static void unknown_and_double_fields_are_named_by_their_path(void **state)
{
    (void)state;
    struct error error = {0};
    cJSON *tree = parsed("{\"id\":1,\"rate\":2}");
    assert_int_equal(json_check_fields(tree, "nodes[2]", known_fields, &error), -1);
    assert_error(error, ERROR_FORMAT, "nodes[2].rate: unknown field");
    cJSON_Delete(tree);
    tree = parsed("{\"id\":1,\"id\":1}");
    assert_int_equal(json_check_fields(tree, "", known_fields, &error), -1);
    assert_string_equal(error.text, "id: given twice");
    cJSON_Delete(tree);
    tree = parsed("{\"id\":1,\"ID\":1}");
    assert_int_equal(json_check_fields(tree, "", known_fields, &error), -1);
    cJSON_Delete(tree);
    tree = parsed("[]");
    assert_int_equal(json_check_fields(tree, "nodes[0]", known_fields, &error), -1);
    assert_string_equal(error.text, "nodes[0]: not an object");
    cJSON_Delete(tree);
    tree = parsed("{\"rate_hz\":1}");
    assert_int_equal(json_check_fields(tree, "", known_fields, &error), 0);
    cJSON_Delete(tree);
}

static void fields_of_the_right_kind_are_read(void **state)
{
    (void)state;
    cJSON *tree =
        parsed("{\"t\":\"hall\",\"n\":2.5,\"b\":true,\"i\":\"-9223372036854775808\",\"a\":[1]}");
    char text[8];
    double number = 0;
    bool flag = false;
    int64_t whole = 0;
    const cJSON *array = NULL;
    assert_int_equal(json_get_text(tree, "", "t", text, sizeof text, NULL), 0);
    assert_string_equal(text, "hall");
    assert_int_equal(json_get_number(tree, "", "n", 0, 3, &number, NULL), 0);
    assert_true(number == 2.5);
    assert_int_equal(json_get_bool_or(tree, "", "b", false, &flag, NULL), 0);
    assert_true(flag);
    assert_int_equal(json_get_int64_text(tree, "", "i", &whole, NULL), 0);
    assert_int64_equal(whole, INT64_MIN);
    assert_int_equal(json_get_array(tree, "", "a", &array, NULL), 0);
    assert_int_equal(cJSON_GetArraySize(array), 1);
    assert_int_equal(json_get_text_or(tree, "", "x", "none", text, sizeof text, NULL), 0);
    assert_string_equal(text, "none");
    assert_int_equal(json_get_number_or(tree, "", "x", 0, 1, 7, &number, NULL), 0);
    assert_true(number == 7);
    assert_int_equal(json_get_bool_or(tree, "", "x", true, &flag, NULL), 0);
    assert_true(flag);
    cJSON_Delete(tree);
}

static void fields_missing_or_of_another_kind_are_named(void **state)
{
    (void)state;
    cJSON *tree = parsed("{\"t\":\"long text\",\"n\":2.5,\"e\":1e999,\"z\":null,\"i\":\"12x\"}");
    char text[8];
    double number = 0;
    bool flag = false;
    int64_t whole = 0;
    const cJSON *array = NULL;
    struct error error = {0};
    assert_int_equal(json_get_text(tree, "a", "x", text, sizeof text, &error), -1);
    assert_string_equal(error.text, "a.x: missing");
    assert_int_equal(json_get_text(tree, "a", "t", text, sizeof text, &error), -1);
    assert_error(error, ERROR_RANGE, "a.t: too long");
    assert_int_equal(json_get_text_or(tree, "a", "n", "", text, sizeof text, &error), -1);
    assert_error(error, ERROR_FORMAT, "a.n: not a text");
    assert_int_equal(json_get_number(tree, "", "n", 3, 4, &number, &error), -1);
    assert_error(error, ERROR_RANGE, "n: 2.5 is not within 3 to 4");
    assert_int_equal(json_get_number(tree, "", "e", 0, (double)INFINITY, &number, &error), -1);
    assert_int_equal(json_get_number(tree, "", "t", 0, 1, &number, &error), -1);
    assert_error(error, ERROR_FORMAT, "t: not a number");
    assert_int_equal(json_get_number(tree, "", "x", 0, 1, &number, &error), -1);
    assert_error(error, ERROR_FORMAT, "x: missing");
    assert_int_equal(json_get_bool_or(tree, "", "z", true, &flag, &error), -1);
    assert_error(error, ERROR_FORMAT, "z: not true or false");
    assert_int_equal(json_get_int64_text(tree, "", "i", &whole, &error), -1);
    assert_error(error, ERROR_FORMAT, "i: not a whole number");
    assert_int_equal(json_get_int64_text(tree, "", "n", &whole, &error), -1);
    assert_int_equal(json_get_array(tree, "", "t", &array, &error), -1);
    assert_error(error, ERROR_FORMAT, "t: not a list");
    cJSON_Delete(tree);
}

static void whole_numbers_as_strings_are_read_to_the_last_digit_or_refused(void **state)
{
    (void)state;
    const struct {
        const char *json;
        int result;
        int64_t value;
    } cases[] = {
        {"{\"i\":\"1491926160718000001\"}", 0, INT64_C(1491926160718000001)},
        {"{\"i\":\"9223372036854775807\"}", 0, INT64_MAX},
        {"{\"i\":\"0\"}", 0, 0},
        {"{\"i\":\"9223372036854775808\"}", -1, 0},
        {"{\"i\":\"-9223372036854775809\"}", -1, 0},
        {"{\"i\":\"\"}", -1, 0},
        {"{\"i\":\"-\"}", -1, 0},
        {"{\"i\":\"+1\"}", -1, 0},
        {"{\"i\":\" 1\"}", -1, 0},
        {"{\"i\":\"1.0\"}", -1, 0},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        cJSON *tree = parsed(cases[i].json);
        int64_t value = 0;
        assert_int_equal(json_get_int64_text(tree, "", "i", &value, NULL), cases[i].result);
        if (cases[i].result == 0) {
            assert_int64_equal(value, cases[i].value);
        }
        cJSON_Delete(tree);
    }
}

static void a_written_string_is_always_json_and_reads_back(void **state)
{
    (void)state;
    struct text out = {0};
    assert_int_equal(json_append_string(&out, "a\"b\\c\n\r\t\x1f \xc3\xa9 \xff\xc3"), 0);
    assert_string_equal(out.bytes, "\"a\\\"b\\\\c\\n\\r\\t\\u001f \xc3\xa9 \\ufffd\\ufffd\"");
    cJSON *tree = parsed(out.bytes);
    assert_string_equal(tree->valuestring, "a\"b\\c\n\r\t\x1f \xc3\xa9 \xef\xbf\xbd\xef\xbf\xbd");
    cJSON_Delete(tree);
    text_clear(&out);
    assert_int_equal(json_append_string(&out, ""), 0);
    assert_string_equal(out.bytes, "\"\"");
    text_free(&out);
}

static void a_written_number_reads_back_as_the_same_double_or_is_null(void **state)
{
    (void)state;
    static const double values[] = {0.1,   1.0 / 3, -2.5e-9, 1e-9,     4.87e-12, 1e300,
                                    1e308, 5e-324,  0,       123456.0, 1e22};
    struct text out = {0};
    for (size_t i = 0; i < sizeof values / sizeof values[0]; i++) {
        text_clear(&out);
        assert_int_equal(json_append_number(&out, values[i]), 0);
        assert_true(strtod(out.bytes, NULL) == values[i]);
        cJSON *tree = parsed(out.bytes);
        assert_true(cJSON_IsNumber(tree));
        cJSON_Delete(tree);
    }
    static const double none[] = {NAN, INFINITY, -INFINITY};
    for (size_t i = 0; i < sizeof none / sizeof none[0]; i++) {
        text_clear(&out);
        assert_int_equal(json_append_number(&out, none[i]), 0);
        assert_string_equal(out.bytes, "null");
    }
    text_free(&out);
}

static void a_written_time_is_exact_and_zero_can_be_none(void **state)
{
    (void)state;
    struct text out = {0};
    assert_int_equal(json_append_seconds(&out, 1500000001), 0);
    assert_string_equal(out.bytes, "1.500000001");
    text_clear(&out);
    assert_int_equal(json_append_time(&out, 1), 0);
    assert_string_equal(out.bytes, "\"1970-01-01T00:00:00.000000001Z\"");
    text_clear(&out);
    assert_int_equal(json_append_time_or_null(&out, 0), 0);
    assert_string_equal(out.bytes, "null");
    text_free(&out);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(exactly_the_told_bytes_are_read),
        cmocka_unit_test(a_byte_order_mark_in_front_is_skipped),
        cmocka_unit_test(a_fault_is_told_with_line_and_column),
        cmocka_unit_test(what_a_lax_parser_lets_through_is_refused),
        cmocka_unit_test(a_number_is_of_any_length_only_where_it_is_exact),
        cmocka_unit_test(no_text_is_refused_for_want_of_memory),
        cmocka_unit_test(nesting_is_bounded),
        cmocka_unit_test(an_escaped_backslash_is_no_escape),
        cmocka_unit_test(exact_numbers_keep_every_digit),
        cmocka_unit_test(nobody_can_forge_an_exact_number),
        cmocka_unit_test(unknown_and_double_fields_are_named_by_their_path),
        cmocka_unit_test(fields_of_the_right_kind_are_read),
        cmocka_unit_test(fields_missing_or_of_another_kind_are_named),
        cmocka_unit_test(whole_numbers_as_strings_are_read_to_the_last_digit_or_refused),
        cmocka_unit_test(a_written_string_is_always_json_and_reads_back),
        cmocka_unit_test(a_written_number_reads_back_as_the_same_double_or_is_null),
        cmocka_unit_test(a_written_time_is_exact_and_zero_can_be_none),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
