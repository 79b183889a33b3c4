/* Other people's text made harmless.
 * Must never let a byte through that it has not looked at. Called by the exports for people. */
#include "collector/export/plain.h"

#include <stdbool.h>
#include <stdint.h>
#include <string.h>

#include "common/utf8.h"

static uint32_t code_of(const char *at, size_t length)
{
    const unsigned char *bytes = (const unsigned char *)at;
    uint32_t code = length == 1 ? bytes[0] : bytes[0] & (0x7fu >> length);
    for (size_t i = 1; i < length; i++) {
        code = code << 6 | (bytes[i] & 0x3fu);
    }
    return code;
}

static bool is_space(uint32_t code)
{
    return code < 0x20 || (code >= 0x7f && code <= 0xa0) || code == 0x2028 || code == 0x2029;
}

/* Bidi_Control of the Unicode character database, the byte order mark, and the tag characters. */
static bool is_left_out(uint32_t code)
{
    return code == 0x61c || code == 0x200e || code == 0x200f ||
           (code >= 0x202a && code <= 0x202e) || (code >= 0x2066 && code <= 0x2069) ||
           code == 0xfeff || (code >= 0xe0000 && code <= 0xe007f);
}

enum care { CARE_LINE, CARE_MARKUP, CARE_ATTRIBUTE };

static const char *reference_of(uint32_t code, enum care care)
{
    if (care == CARE_LINE || (care == CARE_MARKUP && (code == '"' || code == '\''))) {
        return NULL;
    }
    switch (code) {
    case '&':
        return "&amp;";
    case '<':
        return "&lt;";
    case '>':
        return "&gt;";
    case '"':
        return "&quot;";
    case '\'':
        return "&#39;";
    default:
        return NULL;
    }
}

static void append(struct text *out, const char *words, enum care care)
{
    size_t length = strlen(words);
    for (size_t at = 0; at < length;) {
        size_t size = utf8_character(words + at, length - at);
        if (size == 0) {
            (void)text_append(out, "\xef\xbf\xbd", 3);
            at++;
            continue;
        }
        uint32_t code = code_of(words + at, size);
        const char *reference = reference_of(code, care);
        if (reference) {
            (void)text_append(out, reference, strlen(reference));
        } else if (is_space(code)) {
            (void)text_append(out, " ", 1);
        } else if (!is_left_out(code)) {
            (void)text_append(out, words + at, size);
        }
        at += size;
    }
}

void plain_append(struct text *out, const char *words)
{
    append(out, words, CARE_LINE);
}

void plain_append_markup(struct text *out, const char *words)
{
    append(out, words, CARE_MARKUP);
}

void plain_append_attribute(struct text *out, const char *words)
{
    append(out, words, CARE_ATTRIBUTE);
}

void plain_print(FILE *out, const char *words)
{
    for (const char *c = words; *c; c++) {
        (void)fputc((unsigned char)*c < ' ' || *c == 0x7f ? ' ' : *c, out);
    }
}
