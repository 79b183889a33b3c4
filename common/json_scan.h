/* A look over JSON text before a parser sees it: what parsers are lax about, and the depth.
 * Must never build a tree. Used by json.c only. */
#ifndef ROOMWAKE_COMMON_JSON_SCAN_H
#define ROOMWAKE_COMMON_JSON_SCAN_H

#include <stdbool.h>
#include <stddef.h>

#include "common/text.h"

/* Where in the text, and why; `why` is a constant string. */
struct json_fault {
    size_t offset;
    const char *why;
};

/* Checks characters, strings, number grammar (RFC 8259 sec. 6), literals and depth, and copies the
 * text to `copy` without a byte order mark; where `exact`, each number becomes a string that begins
 * with JSON_NUMBER_MARK. The order of the tokens is left to the parser. -1 with *fault filled. */
int json_scan(const char *text, size_t length, bool exact, struct text *copy,
              struct json_fault *fault);

#endif
