/* Numbers and times as JSON.
 * Must never write what is no JSON: an infinity becomes null.
 * Called by the messages and the exports. */
#include "common/json.h"

#include <math.h>
#include <string.h>

#include "common/text.h"
#include "common/timefmt.h"

int json_append_number(struct text *out, double value)
{
    struct decimal decimal;
    char digits[DECIMAL_TEXT_SIZE];
    if (!isfinite(value)) {
        return text_append(out, "null", 4);
    }
    if (decimal_from_double(value, &decimal) != 0) {
        return text_append_format(out, "%.17g", value);
    }
    decimal_format(decimal, digits);
    return text_append(out, digits, strlen(digits));
}

int json_append_seconds(struct text *out, int64_t ns)
{
    char digits[TIMEFMT_SIZE];
    timefmt_seconds(ns, digits);
    return text_append(out, digits, strlen(digits));
}

int json_append_time(struct text *out, int64_t utc_ns)
{
    char digits[TIMEFMT_SIZE];
    timefmt_rfc3339(utc_ns, digits);
    return text_append_format(out, "\"%s\"", digits);
}

int json_append_time_or_null(struct text *out, int64_t utc_ns)
{
    return utc_ns == 0 ? text_append(out, "null", 4) : json_append_time(out, utc_ns);
}
