/* Token by token over JSON text, strictly, in the order of RFC 8259 (2017) sec. 2 to 7; marks
 * numbers for exact reading.
 * Must never read past the length or recurse.
 * Called by json.c before cJSON. */
#include "common/json_scan.h"

#include <string.h>

#include "common/json.h"
#include "common/utf8.h"

#define BYTE_ORDER_MARK "\xef\xbb\xbf"
#define NUMBER_MAX 63 /* characters: cJSON takes no more */

/* What may come next. */
enum next { A_VALUE, A_VALUE_OR_END, A_NAME, A_NAME_OR_END, A_COLON, A_COMMA_OR_END, NOTHING };

struct scan {
    const char *text;
    size_t length;
    size_t at;
    size_t copied; /* all before is in `copy` */
    enum next next;
    int depth;
    bool in_object[JSON_DEPTH_MAX]; /* for each of the `depth` that are open */
    bool exact;
    struct text *copy;
    struct json_fault *fault;
};

static int fail(struct scan *scan, size_t offset, const char *why)
{
    *scan->fault = (struct json_fault){offset, why};
    return -1;
}

static bool next_is_digit(const struct scan *scan)
{
    return scan->at < scan->length && scan->text[scan->at] >= '0' && scan->text[scan->at] <= '9';
}

static bool take(struct scan *scan, const char *any_of)
{
    if (scan->at < scan->length && strchr(any_of, scan->text[scan->at]) &&
        scan->text[scan->at] != '\0') {
        scan->at++;
        return true;
    }
    return false;
}

static bool take_digits(struct scan *scan)
{
    size_t start = scan->at;
    while (next_is_digit(scan)) {
        scan->at++;
    }
    return scan->at > start;
}

static bool take_number(struct scan *scan)
{
    (void)take(scan, "-");
    if (!take(scan, "0") && !take_digits(scan)) {
        return false;
    }
    if (next_is_digit(scan)) {
        return false;
    }
    if (take(scan, ".") && !take_digits(scan)) {
        return false;
    }
    if (take(scan, "eE")) {
        (void)take(scan, "+-");
        return take_digits(scan);
    }
    return true;
}

static int copy_up_to(struct scan *scan, size_t end)
{
    if (text_append(scan->copy, scan->text + scan->copied, end - scan->copied)) {
        return fail(scan, end, "out of memory");
    }
    scan->copied = end;
    return 0;
}

static int scan_number(struct scan *scan)
{
    const char opening[] = {'"', JSON_NUMBER_MARK};
    size_t start = scan->at;
    if (!take_number(scan)) {
        return fail(scan, start, "malformed number");
    }
    if (!scan->exact) {
        return scan->at - start <= NUMBER_MAX ? 0 : fail(scan, start, "a number that is too long");
    }
    if (copy_up_to(scan, start) || text_append(scan->copy, opening, sizeof opening) ||
        copy_up_to(scan, scan->at) || text_append(scan->copy, "\"", 1)) {
        return fail(scan, start, "out of memory");
    }
    return 0;
}

/* The number in "\\uXXXX" at `start`; -1 where that is not there. */
static long unicode_escape(const struct scan *scan, size_t start)
{
    long code = 0;
    if (scan->length - start < 6 || memcmp(scan->text + start, "\\u", 2) != 0) {
        return -1;
    }
    for (size_t at = start + 2; at < start + 6; at++) {
        char c = scan->text[at];
        char lower = (char)(c | 0x20);
        if (c >= '0' && c <= '9') {
            code = code * 16 + (c - '0');
        } else if (lower >= 'a' && lower <= 'f') {
            code = code * 16 + (lower - 'a' + 10);
        } else {
            return -1;
        }
    }
    return code;
}

static int scan_unicode_escape(struct scan *scan)
{
    size_t start = scan->at;
    long code = unicode_escape(scan, start);
    bool high = code >= 0xd800 && code < 0xdc00;
    long low = high ? unicode_escape(scan, start + 6) : 0xdc00;
    if (code < 0 || (code >= 0xdc00 && code < 0xe000) || low < 0xdc00 || low >= 0xe000) {
        return fail(scan, start, "malformed JSON: not an escape");
    }
    if (code == 0) {
        return fail(scan, start, "the character U+0000 in a string");
    }
    if (scan->exact && code == JSON_NUMBER_MARK) {
        return fail(scan, start, "the character U+0001 in a string");
    }
    scan->at = start + (high ? 12 : 6);
    return 0;
}

static int scan_escape(struct scan *scan)
{
    if (scan->length - scan->at < 2) {
        scan->at = scan->length;
        return 0;
    }
    char c = scan->text[scan->at + 1];
    if (c != '\0' && strchr("\"\\/bfnrt", c)) {
        scan->at += 2;
        return 0;
    }
    return scan_unicode_escape(scan);
}

static int scan_string(struct scan *scan)
{
    size_t start = scan->at++;
    while (scan->at < scan->length) {
        unsigned char c = (unsigned char)scan->text[scan->at];
        if (c == '"') {
            scan->at++;
            return 0;
        }
        if (c < 0x20) {
            return fail(scan, scan->at, "a control character in a string");
        }
        if (c == '\\') {
            if (scan_escape(scan)) {
                return -1;
            }
            continue;
        }
        size_t step = utf8_character(scan->text + scan->at, scan->length - scan->at);
        if (step == 0) {
            return fail(scan, scan->at, "not UTF-8");
        }
        scan->at += step;
    }
    return fail(scan, start, "a string without an end");
}

static int scan_literal(struct scan *scan)
{
    static const char *const literals[] = {"true", "false", "null"};
    for (size_t i = 0; i < sizeof literals / sizeof literals[0]; i++) {
        size_t length = strlen(literals[i]);
        if (scan->length - scan->at >= length &&
            memcmp(scan->text + scan->at, literals[i], length) == 0) {
            scan->at += length;
            return 0;
        }
    }
    return fail(scan, scan->at, "unexpected character");
}

static int out_of_order(struct scan *scan)
{
    static const char *const expected[] = {
        [A_VALUE] = "malformed JSON: a value is expected",
        [A_VALUE_OR_END] = "malformed JSON: a value or ']' is expected",
        [A_NAME] = "malformed JSON: a field's name is expected",
        [A_NAME_OR_END] = "malformed JSON: a field's name or '}' is expected",
        [A_COLON] = "malformed JSON: ':' is expected",
        [A_COMMA_OR_END] = "malformed JSON: ',' or an end is expected",
        [NOTHING] = "malformed JSON: nothing more is expected",
    };
    return fail(scan, scan->at, expected[scan->next]);
}

static void end_value(struct scan *scan)
{
    scan->next = scan->depth > 0 ? A_COMMA_OR_END : NOTHING;
}

static int open_container(struct scan *scan)
{
    bool object = scan->text[scan->at] == '{';
    if (scan->depth == JSON_DEPTH_MAX) {
        return fail(scan, scan->at, "nested too deeply");
    }
    scan->in_object[scan->depth++] = object;
    scan->next = object ? A_NAME_OR_END : A_VALUE_OR_END;
    scan->at++;
    return 0;
}

/* A comma, a colon or an end, after checking that this one may stand here. */
static int take_mark(struct scan *scan)
{
    bool in_object = scan->depth > 0 && scan->in_object[scan->depth - 1];
    char c = scan->text[scan->at];
    if (c == ':' && scan->next == A_COLON) {
        scan->next = A_VALUE;
    } else if (c == ',' && scan->next == A_COMMA_OR_END) {
        scan->next = in_object ? A_NAME : A_VALUE;
    } else if ((c == '}' && in_object &&
                (scan->next == A_NAME_OR_END || scan->next == A_COMMA_OR_END)) ||
               (c == ']' && !in_object &&
                (scan->next == A_VALUE_OR_END || scan->next == A_COMMA_OR_END))) {
        scan->depth--;
        end_value(scan);
    } else {
        return out_of_order(scan);
    }
    scan->at++;
    return 0;
}

static int scan_value(struct scan *scan)
{
    char c = scan->text[scan->at];
    if (!strchr("{[\"-0123456789tfn", c)) {
        return fail(scan, scan->at, "unexpected character");
    }
    if (scan->next != A_VALUE && scan->next != A_VALUE_OR_END) {
        return out_of_order(scan);
    }
    if (c == '{' || c == '[') {
        return open_container(scan);
    }
    int result = c == '"'                             ? scan_string(scan)
                 : c == '-' || (c >= '0' && c <= '9') ? scan_number(scan)
                                                      : scan_literal(scan);
    end_value(scan);
    return result;
}

static int scan_token(struct scan *scan)
{
    switch (scan->text[scan->at]) {
    case ' ':
    case '\t':
    case '\r':
    case '\n':
        scan->at++;
        return 0;
    case '}':
    case ']':
    case ',':
    case ':':
        return take_mark(scan);
    case '"':
        if (scan->next == A_NAME || scan->next == A_NAME_OR_END) {
            scan->next = A_COLON;
            return scan_string(scan);
        }
        return scan_value(scan);
    default:
        return scan_value(scan);
    }
}

int json_scan(const char *text, size_t length, bool exact, struct text *copy,
              struct json_fault *fault)
{
    struct scan scan = {
        .text = text, .length = length, .exact = exact, .copy = copy, .fault = fault};
    size_t mark = strlen(BYTE_ORDER_MARK);
    if (length >= mark && memcmp(text, BYTE_ORDER_MARK, mark) == 0) {
        scan.at = mark;
        scan.copied = mark;
    }
    while (scan.at < length) {
        if (scan_token(&scan)) {
            return -1;
        }
    }
    return scan.next == NOTHING ? copy_up_to(&scan, length) : out_of_order(&scan);
}
