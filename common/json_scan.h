/* A look over JSON text before a parser sees it: whether it is JSON at all, and how deep.
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

/* Checks the whole grammar of RFC 8259 (2017) and the depth, and copies the text to `copy` without
 * a byte order mark; where `exact`, each number becomes a string that begins with JSON_NUMBER_MARK.
 * -1 with *fault filled. A parser that fails on what passed here has no memory. */
int json_scan(const char *text, size_t length, bool exact, struct text *copy,
              struct json_fault *fault);

#endif
