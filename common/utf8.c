/* Checks UTF-8 character by character, after the table of RFC 3629 (2003) sec. 4.
 * Must never accept a second way to write the same character.
 * Called by the JSON, CSV and SenML readers. */
#include "common/utf8.h"

static bool between(unsigned char byte, unsigned char low, unsigned char high)
{
    return byte >= low && byte <= high;
}

/* The allowed range of the second byte depends on the first; all later ones are 80 to BF. */
static bool second_valid(unsigned char first, unsigned char second)
{
    switch (first) {
    case 0xe0:
        return between(second, 0xa0, 0xbf);
    case 0xed:
        return between(second, 0x80, 0x9f);
    case 0xf0:
        return between(second, 0x90, 0xbf);
    case 0xf4:
        return between(second, 0x80, 0x8f);
    default:
        return between(second, 0x80, 0xbf);
    }
}

size_t utf8_character(const char *text, size_t length)
{
    const unsigned char *bytes = (const unsigned char *)text;
    if (length == 0) {
        return 0;
    }
    if (bytes[0] < 0x80) {
        return 1;
    }
    size_t needed = between(bytes[0], 0xc2, 0xdf)   ? 2
                    : between(bytes[0], 0xe0, 0xef) ? 3
                    : between(bytes[0], 0xf0, 0xf4) ? 4
                                                    : 0;
    if (needed == 0 || needed > length || !second_valid(bytes[0], bytes[1])) {
        return 0;
    }
    for (size_t i = 2; i < needed; i++) {
        if (!between(bytes[i], 0x80, 0xbf)) {
            return 0;
        }
    }
    return needed;
}

bool utf8_valid(const char *text, size_t length)
{
    for (size_t at = 0; at < length;) {
        size_t step = utf8_character(text + at, length - at);
        if (step == 0) {
            return false;
        }
        at += step;
    }
    return true;
}

size_t utf8_cut(const char *text, size_t length, size_t most)
{
    if (length <= most) {
        return length;
    }
    size_t cut = most;
    while (cut > 0 && ((unsigned char)text[cut] & 0xc0) == 0x80) {
        cut--;
    }
    return cut;
}
