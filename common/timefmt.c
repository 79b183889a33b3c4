/* RFC 3339 to int64 nanoseconds and back.
 * Must never pass a time through a double, nor read a clock.
 * Called by exports, imports, messages and logs. Other formats: timefmt_seconds, _people, _ntp. */
#include "common/timefmt.h"

#include <stdbool.h>
#include <string.h>

#include "common/clock.h"

#define DAY_S 86400
#define FRACTION_DIGITS 9

struct reading {
    const char *text;
    size_t length;
    size_t at;
};

struct civil {
    int64_t year;
    int month;
    int day;
};

/* Days since 1970-01-01 in the Gregorian calendar, counted in eras of 400 years from 1 March. */
static int64_t days_from_civil(struct civil date)
{
    int64_t year = date.month <= 2 ? date.year - 1 : date.year;
    int64_t era = (year >= 0 ? year : year - 399) / 400;
    int64_t year_of_era = year - era * 400;
    int64_t day_of_year = (153 * ((date.month + 9) % 12) + 2) / 5 + date.day - 1;
    int64_t day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
    return era * 146097 + day_of_era - 719468;
}

static struct civil civil_from_days(int64_t days)
{
    days += 719468;
    int64_t era = (days >= 0 ? days : days - 146096) / 146097;
    int64_t day_of_era = days - era * 146097;
    int64_t year_of_era =
        (day_of_era - day_of_era / 1460 + day_of_era / 36524 - day_of_era / 146096) / 365;
    int64_t day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    int64_t from_march = (5 * day_of_year + 2) / 153;
    struct civil date;
    date.day = (int)(day_of_year - (153 * from_march + 2) / 5 + 1);
    date.month = (int)(from_march < 10 ? from_march + 3 : from_march - 9);
    date.year = year_of_era + era * 400 + (date.month <= 2);
    return date;
}

static int month_days(int64_t year, int month)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return days[month - 1] + (month == 2 && leap);
}

/* Exactly `digits` digits, within low to high. */
static bool take_number(struct reading *in, size_t digits, int low, int high, int *out)
{
    if (in->length - in->at < digits) {
        return false;
    }
    int value = 0;
    for (size_t i = 0; i < digits; i++) {
        char c = in->text[in->at++];
        if (c < '0' || c > '9') {
            return false;
        }
        value = value * 10 + (c - '0');
    }
    *out = value;
    return value >= low && value <= high;
}

static bool take_one_of(struct reading *in, const char *set)
{
    if (in->at >= in->length || in->text[in->at] == '\0' || !strchr(set, in->text[in->at])) {
        return false;
    }
    in->at++;
    return true;
}

static bool take_date(struct reading *in, int64_t *days)
{
    int year = 0;
    int month = 0;
    int day = 0;
    if (!take_number(in, 4, 0, 9999, &year) || !take_one_of(in, "-") ||
        !take_number(in, 2, 1, 12, &month) || !take_one_of(in, "-") ||
        !take_number(in, 2, 1, month_days(year, month), &day)) {
        return false;
    }
    *days = days_from_civil((struct civil){year, month, day});
    return true;
}

static bool take_time(struct reading *in, int64_t *seconds)
{
    int hour = 0;
    int minute = 0;
    int second = 0;
    if (!take_number(in, 2, 0, 23, &hour) || !take_one_of(in, ":") ||
        !take_number(in, 2, 0, 59, &minute) || !take_one_of(in, ":") ||
        !take_number(in, 2, 0, 60, &second)) {
        return false;
    }
    *seconds = hour * 3600 + minute * 60 + second;
    return true;
}

/* ".5" and the like, or nothing. *finer says that digits beyond the nanosecond were not zero. */
static bool take_fraction(struct reading *in, int64_t *ns, bool *finer)
{
    *ns = 0;
    *finer = false;
    if (!take_one_of(in, ".")) {
        return true;
    }
    int64_t unit = NS_PER_S / 10;
    size_t start = in->at;
    while (in->at < in->length && in->text[in->at] >= '0' && in->text[in->at] <= '9') {
        int digit = in->text[in->at++] - '0';
        *ns += digit * unit;
        *finer = *finer || (unit == 0 && digit != 0);
        unit /= 10;
    }
    return in->at > start;
}

/* "Z" or "+hh:mm", as seconds east of UTC. */
static bool take_offset(struct reading *in, int64_t *east_s)
{
    *east_s = 0;
    if (take_one_of(in, "Zz")) {
        return true;
    }
    bool west = in->at < in->length && in->text[in->at] == '-';
    int hour = 0;
    int minute = 0;
    if (!take_one_of(in, "+-") || !take_number(in, 2, 0, 23, &hour) || !take_one_of(in, ":") ||
        !take_number(in, 2, 0, 59, &minute)) {
        return false;
    }
    int size_s = hour * 3600 + minute * 60;
    *east_s = west ? -size_s : size_s;
    return true;
}

int timefmt_parse_rfc3339(const char *text, size_t length, int64_t *utc_ns, struct error *error)
{
    struct reading in = {text, length, 0};
    int shown = length > TIMEFMT_SIZE ? TIMEFMT_SIZE : (int)length;
    int64_t days = 0;
    int64_t seconds = 0;
    int64_t ns = 0;
    int64_t east_s = 0;
    bool finer = false;
    if (!take_date(&in, &days) || !take_one_of(&in, "Tt ") || !take_time(&in, &seconds) ||
        !take_fraction(&in, &ns, &finer) || !take_offset(&in, &east_s) || in.at != length) {
        return error_set(error, ERROR_FORMAT, "\"%.*s\": not an RFC 3339 time", shown, text);
    }
    if (finer) {
        return error_set(error, ERROR_RANGE, "%.*s: finer than a nanosecond", shown, text);
    }
    __int128 total_ns = (__int128)(days * DAY_S + seconds - east_s) * NS_PER_S + ns;
    if (total_ns < INT64_MIN || total_ns > INT64_MAX) {
        return error_set(error, ERROR_RANGE, "%.*s: not within the years 1677 to 2262", shown,
                         text);
    }
    *utc_ns = (int64_t)total_ns;
    return 0;
}

static char *put_number(char *at, int64_t value, int digits)
{
    for (int i = digits - 1; i >= 0; i--) {
        at[i] = (char)('0' + value % 10);
        value /= 10;
    }
    return at + digits;
}

void timefmt_rfc3339(int64_t utc_ns, char text[TIMEFMT_SIZE])
{
    int64_t ns = utc_ns % NS_PER_S;
    int64_t seconds = utc_ns / NS_PER_S;
    if (ns < 0) {
        ns += NS_PER_S;
        seconds--;
    }
    int64_t days = seconds / DAY_S;
    int64_t of_day = seconds % DAY_S;
    if (of_day < 0) {
        of_day += DAY_S;
        days--;
    }
    struct civil date = civil_from_days(days);
    char *at = put_number(text, date.year, 4);
    *at++ = '-';
    at = put_number(at, date.month, 2);
    *at++ = '-';
    at = put_number(at, date.day, 2);
    *at++ = 'T';
    at = put_number(at, of_day / 3600, 2);
    *at++ = ':';
    at = put_number(at, of_day / 60 % 60, 2);
    *at++ = ':';
    at = put_number(at, of_day % 60, 2);
    *at++ = '.';
    at = put_number(at, ns, FRACTION_DIGITS);
    *at++ = 'Z';
    *at = '\0';
}
