/* UTF-8, strictly: no overlong form, no surrogate, nothing above U+10FFFF.
 * Must never look past the length that it is told. Used by the readers of foreign text. */
#ifndef ROOMWAKE_COMMON_UTF8_H
#define ROOMWAKE_COMMON_UTF8_H

#include <stdbool.h>
#include <stddef.h>

/* Bytes of the well-formed character at `text`, 1 to 4; 0 where there is none. */
size_t utf8_character(const char *text, size_t length);
bool utf8_valid(const char *text, size_t length);
/* The most bytes, at most `most`, after which the text may be cut without splitting a character. */
size_t utf8_cut(const char *text, size_t length, size_t most);

#endif
