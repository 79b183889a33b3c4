/* Values and rates as people say them.
 * Must never print more digits than are known, nor an exponent where plain digits do.
 * Called by sentence.c and account.c. */
#include "collector/alert/sentence.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

/* Three digits in plain notation. */
static void three_digits(double value, char *out, size_t size)
{
    double magnitude = fabs(value);
    int places = magnitude >= 99.95 ? 0 : magnitude >= 9.995 ? 1 : 2;
    (void)snprintf(out, size, "%.*f", places, value);
}

static bool takes_prefix(const char *unit)
{
    static const char *const units[] = {"T", "V", "Pa", "m/s2", "s"};
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++) {
        if (strcmp(unit, units[i]) == 0) {
            return true;
        }
    }
    return false;
}

void sentence_value(double value, const char *unit, char *out, size_t size)
{
    static const struct {
        double factor;
        const char *prefix;
    } prefixes[] = {{1, ""}, {1e-3, "m"}, {1e-6, "u"}, {1e-9, "n"}, {1e-12, "p"}};
    char number[64];
    if (!isfinite(value) || fabs(value) >= 1e15) {
        (void)snprintf(out, size, "not measurable");
        return;
    }
    size_t at = 0;
    if (takes_prefix(unit) && value != 0) {
        while (at < 4 && fabs(value) < prefixes[at].factor * 0.9995) {
            at++;
        }
    }
    three_digits(value / prefixes[at].factor, number, sizeof number);
    const char *shown = strcmp(unit, "Cel") == 0 ? "degC" : strcmp(unit, "/") == 0 ? "" : unit;
    (void)snprintf(out, size, "%s%s%s%s", number, *shown ? " " : "", prefixes[at].prefix, shown);
}

void sentence_rate(double per_night, char *out, size_t size)
{
    if (!isfinite(per_night) || per_night < 0) {
        (void)snprintf(out, size, "an unknown number");
        return;
    }
    if (per_night < 1e-6) {
        (void)snprintf(out, size, "less than 0.000001");
        return;
    }
    if (per_night >= 1e6) {
        (void)snprintf(out, size, "more than a million");
        return;
    }
    int places = 1 - (int)floor(log10(per_night));
    places = places < 0 ? 0 : places;
    (void)snprintf(out, size, "%.*f", places, per_night);
    char *point = strchr(out, '.');
    for (char *end = out + strlen(out); point && (end[-1] == '0' || end[-1] == '.'); end--) {
        bool at_point = end - 1 == point;
        end[-1] = '\0';
        if (at_point) {
            break;
        }
    }
}
