/* Short forms of values and spans.
 * Must never allocate. Called by the causes. */
#include "collector/correlate/say.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

void say_value(double value, const char *unit, char text[SAY_SIZE])
{
    static const char *const prefixes[] = {"", "m", "u", "n", "p"};
    size_t prefix = 0;
    double scaled = value;
    if (strcmp(unit, "T") == 0 || strcmp(unit, "V") == 0) {
        while (fabs(scaled) < 1.0 && fabs(scaled) > 0.0 && prefix < 4) {
            scaled *= 1000.0;
            prefix++;
        }
    }
    (void)snprintf(text, SAY_SIZE, "%.3g %s%s", scaled, prefixes[prefix], unit);
}

void say_span(int64_t ns, char text[SAY_SIZE])
{
    if (ns < INT64_C(1000000000)) {
        (void)snprintf(text, SAY_SIZE, "%.3g ms", (double)ns * 1e-6);
    } else {
        (void)snprintf(text, SAY_SIZE, "%.1f s", (double)ns * 1e-9);
    }
}

void say_add(char *text, size_t size, const char *format, ...)
{
    size_t used = strlen(text);
    va_list arguments;
    va_start(arguments, format);
    (void)vsnprintf(text + used, size - used, format, arguments);
    va_end(arguments);
}
