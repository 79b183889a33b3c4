/* The error value: set, wrap, name.
 * Must never allocate or print. Called from everywhere. */
#include "common/error.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

int(error_set)(struct error *error, enum error_code code, const char *format, ...)
{
    if (error) {
        va_list arguments;
        va_start(arguments, format);
        error->code = code;
        (void)vsnprintf(error->text, sizeof error->text, format, arguments);
        va_end(arguments);
    }
    return -1;
}

int(error_wrap)(struct error *error, const char *format, ...)
{
    if (error) {
        char inner[sizeof error->text];
        memcpy(inner, error->text, sizeof inner);
        va_list arguments;
        va_start(arguments, format);
        (void)vsnprintf(error->text, sizeof error->text, format, arguments);
        va_end(arguments);
        size_t used = strlen(error->text);
        (void)snprintf(error->text + used, sizeof error->text - used, ": %s", inner);
    }
    return -1;
}

const char *error_code_text(enum error_code code)
{
    switch (code) {
#define ERROR_CASE(name, text)                                                                     \
    case ERROR_##name:                                                                             \
        return text;
        ERROR_CODES(ERROR_CASE)
#undef ERROR_CASE
    }
    return "unknown error";
}
