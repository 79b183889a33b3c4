/* Times of day to times since 1970.
 * Must never take a time of day that there is none. Called by cmd_mark.c. */
#include "collector/record/moment.h"

#include <stdbool.h>

#include <stdio.h>
#include <string.h>
#include <time.h>

#include "common/clock.h"
#include "common/timefmt.h"

/* "12:30" is still now while the minute lasts. */
#define AHEAD_NS NS_PER_S

/* 2 or 3 where it is a time of day: so many parts. */
static int read_parts(const char *text, int part[3])
{
    int used = 0;
    part[2] = 0;
    int count = sscanf(text, "%2d:%2d%n:%2d%n", &part[0], &part[1], &used, &part[2], &used);
    bool whole = count >= 2 && text[used] == '\0';
    return whole && part[0] >= 0 && part[0] < 24 && part[1] >= 0 && part[1] < 60 && part[2] >= 0 &&
                   part[2] < 60
               ? count
               : 0;
}

/* That time on the local day of now_ns, `days` days before. */
static int64_t on_day(const int part[3], int64_t now_ns, int days)
{
    time_t now = (time_t)(now_ns / NS_PER_S);
    struct tm local = {0};
    (void)localtime_r(&now, &local);
    local.tm_mday -= days;
    local.tm_hour = part[0];
    local.tm_min = part[1];
    local.tm_sec = part[2];
    local.tm_isdst = -1;
    return (int64_t)mktime(&local) * NS_PER_S;
}

int moment_parse(const char *text, const char *option, int64_t now_ns, int64_t *time_ns,
                 struct error *error)
{
    int part[3];
    struct error ignored;
    if (read_parts(text, part) > 0) {
        *time_ns = on_day(part, now_ns, 0);
        if (*time_ns > now_ns + AHEAD_NS) {
            *time_ns = on_day(part, now_ns, 1);
        }
        return 0;
    }
    if (timefmt_parse_rfc3339(text, strlen(text), time_ns, &ignored) == 0) {
        return 0;
    }
    return error_set(error, ERROR_USAGE,
                     "--%s: \"%s\" is no time: write it like 23:10, 23:10:30 or "
                     "2024-03-01T23:10:30Z",
                     option, text);
}
