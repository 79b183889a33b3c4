/* Token by token over JSON text, strictly; marks numbers for exact reading.
 * Must never read past the length or recurse.
 * Called by json.c before cJSON. */
#include "common/json_scan.h"

#include <string.h>

#include "common/json.h"
#include "common/utf8.h"

#define BYTE_ORDER_MARK "\xef\xbb\xbf"

struct scan {
    const char *text;
    size_t length;
    size_t at;
    size_t copied; /* all before is in `copy` */
    int depth;
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

static bool is_space(char c)
{
    return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

/* A number as a field's name would pass as a string once it is marked. */
static bool names_a_field(const struct scan *scan)
{
    size_t at = scan->at;
    while (at < scan->length && is_space(scan->text[at])) {
        at++;
    }
    return at < scan->length && scan->text[at] == ':';
}

static int scan_number(struct scan *scan)
{
    const char opening[] = {'"', JSON_NUMBER_MARK};
    size_t start = scan->at;
    if (!take_number(scan)) {
        return fail(scan, start, "malformed number");
    }
    if (names_a_field(scan)) {
        return fail(scan, start, "a number where a field's name is expected");
    }
    if (!scan->exact) {
        return 0;
    }
    if (copy_up_to(scan, start) || text_append(scan->copy, opening, sizeof opening) ||
        copy_up_to(scan, scan->at) || text_append(scan->copy, "\"", 1)) {
        return fail(scan, start, "out of memory");
    }
    return 0;
}

/* After the backslash of "\uXXXX": the two characters that would cut or forge a string. */
static int check_escape(struct scan *scan, size_t start)
{
    size_t left = scan->length - start;
    if (left >= 6 && memcmp(scan->text + start, "\\u0000", 6) == 0) {
        return fail(scan, start, "the character U+0000 in a string");
    }
    if (scan->exact && left >= 6 && memcmp(scan->text + start, "\\u0001", 6) == 0) {
        return fail(scan, start, "the character U+0001 in a string");
    }
    scan->at = start + (left >= 2 ? 2 : 1);
    return 0;
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
            if (check_escape(scan, scan->at)) {
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

static int scan_token(struct scan *scan)
{
    char c = scan->text[scan->at];
    switch (c) {
    case '{':
    case '[':
        if (++scan->depth > JSON_DEPTH_MAX) {
            return fail(scan, scan->at, "nested too deeply");
        }
        scan->at++;
        return 0;
    case '}':
    case ']':
        scan->depth--;
        scan->at++;
        return 0;
    case ' ':
    case '\t':
    case '\r':
    case '\n':
    case ',':
    case ':':
        scan->at++;
        return 0;
    case '"':
        return scan_string(scan);
    default:
        if (c == '-' || (c >= '0' && c <= '9')) {
            return scan_number(scan);
        }
        return scan_literal(scan);
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
    return copy_up_to(&scan, length);
}
