/* A growing text buffer for messages and exports.
 * Must never lose an allocation failure: once failed it stays failed and says so at the end. */
#ifndef ROOMWAKE_COMMON_TEXT_H
#define ROOMWAKE_COMMON_TEXT_H

#include <stdbool.h>
#include <stddef.h>

/* Start from {0}; free with text_free. `bytes` is always terminated once anything was added. */
struct text {
    char *bytes;
    size_t length;
    size_t size;
    bool failed;
};

int text_append(struct text *text, const char *bytes, size_t length);
int text_append_format(struct text *text, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/* Empties without freeing, and starts afresh after a failure. */
void text_clear(struct text *text);
void text_free(struct text *text);

#endif
