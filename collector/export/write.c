/* Text on its way to a file.
 * Must never lose a failed write. Called by the exports. */
#include "collector/export/write.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "common/timefmt.h"

#define PIECE 65536u

int write_text(struct text *text, FILE *out, bool all, struct error *error)
{
    if (text->failed) {
        return error_set(error, ERROR_MEMORY, "export: out of memory");
    }
    if (text->length < PIECE && !all) {
        return 0;
    }
    if (text->length > 0 && fwrite(text->bytes, 1, text->length, out) != text->length) {
        return error_set(error, errno == ENOSPC ? ERROR_FULL : ERROR_IO, "export: %s",
                         strerror(errno));
    }
    text_clear(text);
    return 0;
}

void write_double(struct text *text, double value)
{
    char digits[32];
    if (!isfinite(value)) {
        (void)text_append(text, "null", 4);
        return;
    }
    for (int precision = 15; precision <= 17; precision++) {
        (void)snprintf(digits, sizeof digits, "%.*g", precision, value);
        if (strtod(digits, NULL) == value) {
            break;
        }
    }
    (void)text_append(text, digits, strlen(digits));
}

void write_seconds(struct text *text, int64_t ns)
{
    char digits[TIMEFMT_SIZE];
    timefmt_seconds(ns, digits);
    (void)text_append(text, digits, strlen(digits));
}

void write_time(struct text *text, int64_t utc_ns)
{
    char digits[TIMEFMT_SIZE];
    timefmt_rfc3339(utc_ns, digits);
    (void)text_append_format(text, "\"%s\"", digits);
}

void write_time_or_null(struct text *text, int64_t utc_ns)
{
    if (utc_ns == 0) {
        (void)text_append(text, "null", 4);
    } else {
        write_time(text, utc_ns);
    }
}
