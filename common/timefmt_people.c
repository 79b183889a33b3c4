/* Times and durations as people read them.
 * Must never be read back by a program, nor read a clock.
 * Called by alerts, reviews and reports. */
#include "common/timefmt.h"

#include <stdio.h>
#include <time.h>

#include "common/clock.h"
#include "common/decimal.h"

#define NS_PER_MS INT64_C(1000000)

void timefmt_local(int64_t utc_ns, char text[TIMEFMT_SIZE], char zone[TIMEFMT_SIZE])
{
    int64_t ns = utc_ns % NS_PER_S;
    int64_t seconds = utc_ns / NS_PER_S;
    if (ns < 0) {
        ns += NS_PER_S;
        seconds--;
    }
    time_t when = (time_t)seconds;
    struct tm local = {0};
    (void)localtime_r(&when, &local);
    (void)snprintf(text, TIMEFMT_SIZE, "%02d:%02d:%02d.%03d", local.tm_hour, local.tm_min,
                   local.tm_sec, (int)(ns / NS_PER_MS));
    if (zone) {
        long east_min = local.tm_gmtoff / 60;
        long size = east_min < 0 ? -east_min : east_min;
        (void)snprintf(zone, TIMEFMT_SIZE, "%c%02ld:%02ld", east_min < 0 ? '-' : '+', size / 60,
                       size % 60);
    }
}

static long zone_offset_s(time_t when)
{
    struct tm local = {0};
    (void)localtime_r(&when, &local);
    return local.tm_gmtoff;
}

int64_t timefmt_zone_change(int64_t from_utc_ns, int64_t to_utc_ns)
{
    time_t before = (time_t)(from_utc_ns / NS_PER_S);
    time_t after = (time_t)(to_utc_ns / NS_PER_S);
    long offset_s = zone_offset_s(before);
    if (after <= before || zone_offset_s(after) == offset_s) {
        return 0;
    }
    while (after - before > 1) {
        time_t middle = before + (after - before) / 2;
        if (zone_offset_s(middle) == offset_s) {
            before = middle;
        } else {
            after = middle;
        }
    }
    return (int64_t)after * NS_PER_S;
}

/* value / 1000, without trailing zeros. */
static void thousandths(uint64_t value, const char *unit, const char *sign, char text[TIMEFMT_SIZE])
{
    char number[DECIMAL_TEXT_SIZE];
    decimal_format((struct decimal){(int64_t)value, -3}, number);
    (void)snprintf(text, TIMEFMT_SIZE, "%s%.20s %s", sign, number, unit);
}

/* Two units, the lesser one left out where it is 0. */
static void two_units(uint64_t value, uint8_t per, const char *large, const char *small,
                      const char *sign, char text[TIMEFMT_SIZE])
{
    const uint8_t lesser = (uint8_t)(value % per);
    if (lesser == 0) {
        (void)snprintf(text, TIMEFMT_SIZE, "%s%llu %s", sign, (unsigned long long)(value / per),
                       large);
    } else {
        (void)snprintf(text, TIMEFMT_SIZE, "%s%llu %s %u %s", sign,
                       (unsigned long long)(value / per), large, (unsigned)lesser, small);
    }
}

/* `ns` in whole `unit`s, to the nearest. */
static uint64_t nearest(uint64_t ns, int64_t unit)
{
    return (ns + (uint64_t)unit / 2) / (uint64_t)unit;
}

/* Each branch asks what the rounded value is, so that "1000 ms" or "60 s" never comes out. */
void timefmt_duration(int64_t ns, char text[TIMEFMT_SIZE])
{
    const char *sign = ns < 0 ? "-" : "";
    uint64_t size = ns < 0 ? 0 - (uint64_t)ns : (uint64_t)ns;
    if (size > 0 && nearest(size, 1000) == 0) {
        (void)snprintf(text, TIMEFMT_SIZE, "under 0.001 ms");
    } else if (nearest(size, 1000) < 1000) {
        thousandths(nearest(size, 1000), "ms", sign, text);
    } else if (nearest(size, NS_PER_MS) < 1000) {
        thousandths(nearest(size, NS_PER_MS) * 1000, "ms", sign, text);
    } else if (nearest(size, NS_PER_S / 10) < 600) {
        thousandths(nearest(size, NS_PER_S / 10) * 100, "s", sign, text);
    } else if (nearest(size, NS_PER_S) < 3600) {
        two_units(nearest(size, NS_PER_S), 60, "min", "s", sign, text);
    } else {
        two_units(nearest(size, 60 * NS_PER_S), 60, "h", "min", sign, text);
    }
}
