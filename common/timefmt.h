/* Times as text and as NTP numbers, exactly: int64 nanoseconds since 1970-01-01T00:00:00Z.
 * Must never pass a time through a double, nor read a clock. */
#ifndef ROOMWAKE_COMMON_TIMEFMT_H
#define ROOMWAKE_COMMON_TIMEFMT_H

#include <stddef.h>
#include <stdint.h>

#include "common/error.h"

#define TIMEFMT_SIZE 40

/* RFC 3339 (2002) sec. 5.6: any length of fraction up to 9 digits (more must be zeros), any numeric
 * offset, "Z" or "z", "T", "t" or a space; second 60 counts as the first of the next minute. */
int timefmt_parse_rfc3339(const char *text, size_t length, int64_t *utc_ns, struct error *error);
/* "2024-03-01T22:00:00.123456000Z": always nine digits. */
void timefmt_rfc3339(int64_t utc_ns, char text[TIMEFMT_SIZE]);

/* Decimal seconds since 1970, up to nine digits of fraction (more must be zeros), exponent allowed.
 */
int timefmt_parse_seconds(const char *text, size_t length, int64_t *utc_ns, struct error *error);
/* The same, but digits finer than a nanosecond are rounded, half away from zero: for senders that
 * print doubles. */
int timefmt_parse_seconds_nearest(const char *text, size_t length, int64_t *utc_ns,
                                  struct error *error);
/* "1709330400.123456": no trailing zeros, no dot for whole seconds. */
void timefmt_seconds(int64_t utc_ns, char text[TIMEFMT_SIZE]);

/* "22:00:00.123" in local time, for people; the zone's offset as "+01:00" if `zone` is not NULL. */
void timefmt_local(int64_t utc_ns, char text[TIMEFMT_SIZE], char zone[TIMEFMT_SIZE]);

/* The first second in (from, to] whose local time has another offset than from's, as at the change
 * to or from summer time; 0 where the two have the same. */
int64_t timefmt_zone_change(int64_t from_utc_ns, int64_t to_utc_ns);

/* A duration for people: "12 ms", "3.4 s", "2 min 5 s", "8 h 3 min"; below 1 ms "0.04 ms". */
void timefmt_duration(int64_t ns, char text[TIMEFMT_SIZE]);

/* RFC 5905 sec. 6 timestamps: seconds since 1900 in the high 32 bits, fraction in the low. The era
 * is chosen so that the result lies within 68 years of near_utc_ns. */
uint64_t timefmt_ntp_from_utc(int64_t utc_ns);
int64_t timefmt_utc_from_ntp(uint64_t ntp, int64_t near_utc_ns);

#endif
