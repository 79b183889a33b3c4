/* A growing buffer: append bytes or formatted text, remember any failure.
 * Must never write past what it holds or forget that an append failed.
 * Called by everything that composes messages, exports and pages. */
#include "common/text.h"

#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define TEXT_FIRST_SIZE 256u

/* Room for `extra` more bytes and the terminator. */
static int reserve(struct text *text, size_t extra)
{
    if (text->failed || extra > SIZE_MAX / 4 - text->length) {
        text->failed = true;
        return -1;
    }
    size_t needed = text->length + extra + 1;
    if (needed <= text->size) {
        return 0;
    }
    size_t size = text->size ? text->size : TEXT_FIRST_SIZE;
    while (size < needed) {
        size *= 2;
    }
    char *bytes = realloc(text->bytes, size);
    if (!bytes) {
        text->failed = true;
        return -1;
    }
    text->bytes = bytes;
    text->size = size;
    return 0;
}

int text_append(struct text *text, const char *bytes, size_t length)
{
    if (reserve(text, length)) {
        return -1;
    }
    if (length > 0) {
        memcpy(text->bytes + text->length, bytes, length);
    }
    text->length += length;
    text->bytes[text->length] = '\0';
    return 0;
}

int text_append_format(struct text *text, const char *format, ...)
{
    if (reserve(text, TEXT_FIRST_SIZE / 2)) {
        return -1;
    }
    size_t room = text->size - text->length;
    va_list arguments;
    va_start(arguments, format);
    int used = vsnprintf(text->bytes + text->length, room, format, arguments);
    va_end(arguments);
    if (used >= 0 && (size_t)used >= room) {
        text->bytes[text->length] = '\0';
        if (reserve(text, (size_t)used)) {
            return -1;
        }
        va_start(arguments, format);
        used = vsnprintf(text->bytes + text->length, (size_t)used + 1, format, arguments);
        va_end(arguments);
    }
    if (used < 0) {
        text->bytes[text->length] = '\0';
        text->failed = true;
        return -1;
    }
    text->length += (size_t)used;
    return 0;
}

void text_clear(struct text *text)
{
    text->length = 0;
    text->failed = false;
    if (text->bytes) {
        text->bytes[0] = '\0';
    }
}

void text_free(struct text *text)
{
    free(text->bytes);
    *text = (struct text){0};
}
