/* JSON text to a checked tree, with the place of a fault; strings back to JSON.
 * Must never hand foreign text to the parser before it is scanned.
 * Called by the readers of site files, messages and SenML. Getters are in json_get.c. */
#include "common/json.h"

#include <string.h>

#include "common/json_scan.h"
#include "common/text.h"
#include "common/utf8.h"

/* Lines and columns from 1, columns in characters. */
static int fault_at(const char *text, size_t offset, const char *name, const char *why,
                    struct error *error)
{
    size_t line = 1;
    size_t column = 1;
    for (size_t i = 0; i < offset; i++) {
        unsigned char c = (unsigned char)text[i];
        if (c == '\n') {
            line++;
            column = 1;
        } else if ((c & 0xc0) != 0x80) {
            column++;
        }
    }
    return error_set(error, ERROR_FORMAT, "%s: line %zu, column %zu: %s", name, line, column, why);
}

static int parse(const char *text, size_t length, const char *name, bool exact, cJSON **out,
                 struct error *error)
{
    struct text copy = {0};
    struct json_fault fault;
    *out = NULL;
    if (length == 0) {
        return error_set(error, ERROR_FORMAT, "%s: empty", name);
    }
    if (json_scan(text, length, exact, &copy, &fault)) {
        bool failed = copy.failed;
        text_free(&copy);
        return failed ? error_set(error, ERROR_MEMORY, "%s: out of memory", name)
                      : fault_at(text, fault.offset, name, fault.why, error);
    }
    *out = cJSON_ParseWithOpts(copy.bytes, NULL, true);
    text_free(&copy);
    return *out ? 0 : error_set(error, ERROR_MEMORY, "%s: out of memory", name);
}

int json_parse(const char *text, size_t length, const char *name, cJSON **out, struct error *error)
{
    return parse(text, length, name, false, out, error);
}

int json_parse_exact(const char *text, size_t length, const char *name, cJSON **out,
                     struct error *error)
{
    return parse(text, length, name, true, out, error);
}

const char *json_exact_number(const cJSON *item)
{
    if (!cJSON_IsString(item) || item->valuestring[0] != JSON_NUMBER_MARK) {
        return NULL;
    }
    return item->valuestring + 1;
}

static int append_escaped(struct text *out, unsigned char c)
{
    switch (c) {
    case '"':
        return text_append(out, "\\\"", 2);
    case '\\':
        return text_append(out, "\\\\", 2);
    case '\n':
        return text_append(out, "\\n", 2);
    case '\r':
        return text_append(out, "\\r", 2);
    case '\t':
        return text_append(out, "\\t", 2);
    default:
        return text_append_format(out, "\\u%04x", c);
    }
}

/* What is not UTF-8 becomes U+FFFD, so that the output is always JSON. */
int json_append_string(struct text *out, const char *string)
{
    size_t length = strlen(string);
    size_t at = 0;
    int result = text_append(out, "\"", 1);
    while (at < length && result == 0) {
        size_t start = at;
        size_t step = 1;
        while (at < length && (unsigned char)string[at] >= 0x20 && string[at] != '"' &&
               string[at] != '\\' && (step = utf8_character(string + at, length - at)) > 0) {
            at += step;
        }
        result = text_append(out, string + start, at - start);
        if (at < length && result == 0) {
            result = step == 0 ? text_append(out, "\\ufffd", 6)
                               : append_escaped(out, (unsigned char)string[at]);
            at++;
        }
    }
    return result ? result : text_append(out, "\"", 1);
}
