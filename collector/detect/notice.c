/* Sentences on noise and thresholds: "noise 15.2 nT, threshold 5.9 sigma, one false onset in 2 h".
 * Must never be read back by a program. Called by field.
 */
#include "collector/detect/notice.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define AMOUNT_SIZE 64
/* Ordinary noise needs 4 to 8; what is beyond this was learnt from a spell that was not quiet. */
#define DEAF_SIGMA 20.0

/* Three digits with a prefix where the unit takes one. */
static void format_amount(const struct notice_band *band, char text[AMOUNT_SIZE])
{
    const char *unit = band->unit;
    double value = band->scale;
    static const struct {
        double factor;
        const char *prefix;
    } prefixes[] = {{1e-12, "p"}, {1e-9, "n"}, {1e-6, "u"}, {1e-3, "m"}, {1.0, ""}};
    bool prefixed =
        !strcmp(unit, "T") || !strcmp(unit, "V") || !strcmp(unit, "Pa") || !strcmp(unit, "m/s2");
    size_t p = 4;
    while (prefixed && p > 0 && fabs(value) < 0.9995 * prefixes[p].factor) {
        p--;
    }
    snprintf(text, AMOUNT_SIZE, "%.3g %s%s%s", value / prefixes[p].factor, prefixes[p].prefix, unit,
             band->calibrated ? "" : " (uncalibrated)");
}

static const char *kind_text(const struct tail_choice *tail)
{
    switch (tail->kind) {
    case TAIL_SHORT:
        return " (the quiet spell was too short to see the noise's own extremes; taken as normal)";
    case TAIL_NORMAL:
        return "";
    case TAIL_FITTED:
        return tail->threshold > DEAF_SIGMA ? " (from the noise's own extremes: nearly deaf, a "
                                              "quieter spell would mend that)"
                                            : " (from the noise's own extremes)";
    }
    return "";
}

static void append(char text[NOTICE_SIZE], const char *more)
{
    size_t used = strlen(text);
    snprintf(text + used, NOTICE_SIZE - used, "%s", more);
}

static void append_band(const struct notice_band *band, char text[NOTICE_SIZE])
{
    char amount[AMOUNT_SIZE];
    char part[NOTICE_SIZE];
    format_amount(band, amount);
    snprintf(part, sizeof part, "%s %s, threshold %.1f sigma%s",
             band->name == BAND_MAINS ? "; mains amplitude steady to" : "noise", amount,
             band->tail->threshold, kind_text(band->tail));
    append(text, part);
}

void notice_learnt(const struct notice_band *bands, size_t count, bool mains_lost,
                   double onsets_per_hour, double longer_s, char text[NOTICE_SIZE])
{
    char part[AMOUNT_SIZE + 32];
    size_t outliers = 0;
    text[0] = '\0';
    for (size_t b = 0; b < count; b++) {
        append_band(&bands[b], text);
        outliers += bands[b].tail->outliers;
    }
    if (mains_lost) {
        append(text, "; mains can't be told apart at this rate");
    }
    if (onsets_per_hour < 1.0) {
        snprintf(part, sizeof part, ", one false onset in %.3g h", 1.0 / onsets_per_hour);
    } else {
        snprintf(part, sizeof part, ", %.3g false onsets in 1 h", onsets_per_hour);
    }
    append(text, part);
    if (outliers > 0) {
        snprintf(part, sizeof part, "; the quiet spell was disturbed in %zu stretches", outliers);
        append(text, part);
    }
    if (longer_s > 0.0) {
        snprintf(part, sizeof part, "; it was disturbed, so it went on for %.0f s more",
                 fmax(1.0, longer_s));
        append(text, part);
    }
}

void notice_noise_rose(const struct notice_band *band, char text[NOTICE_SIZE])
{
    char amount[AMOUNT_SIZE];
    format_amount(band, amount);
    snprintf(text, NOTICE_SIZE, "%s rose to %s for good: taken as usual from now on",
             band->name == BAND_MAINS ? "unrest of the mains amplitude" : "noise", amount);
}

void notice_odd_rate(double rate_hz, char text[NOTICE_SIZE])
{
    snprintf(text, NOTICE_SIZE, "samples come in steps unlike the %.6g a second told: not watched",
             rate_hz);
}
