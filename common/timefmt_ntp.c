/* RFC 5905 (2010) sec. 6 timestamps to int64 nanoseconds since 1970 and back.
 * Must never guess an era without a time that is near.
 * Called by the time server and by the node's exchanges with it. */
#include "common/timefmt.h"

#include "common/clock.h"

/* RFC 5905 Fig. 4: 1 January 1970 is second 2 208 988 800 of era 0. */
#define EPOCH_1970_S INT64_C(2208988800)

static int64_t floor_seconds(int64_t ns)
{
    return ns / NS_PER_S - (ns % NS_PER_S < 0);
}

/* Rounded to the nearest 2^-32 s, 233 ps, so that the nanosecond comes back unchanged. */
uint64_t timefmt_ntp_from_utc(int64_t utc_ns)
{
    int64_t seconds = floor_seconds(utc_ns);
    uint64_t ns = (uint64_t)(utc_ns - seconds * NS_PER_S);
    uint64_t fraction = ((ns << 32) + (uint64_t)NS_PER_S / 2) / (uint64_t)NS_PER_S;
    return ((uint64_t)(seconds + EPOCH_1970_S) << 32) | fraction;
}

int64_t timefmt_utc_from_ntp(uint64_t ntp, int64_t near_utc_ns)
{
    int64_t near_s = floor_seconds(near_utc_ns) + EPOCH_1970_S;
    int32_t ahead_s = (int32_t)((uint32_t)(ntp >> 32) - (uint32_t)near_s);
    __int128 seconds = (__int128)near_s + ahead_s - EPOCH_1970_S;
    uint64_t fraction = ntp & UINT32_MAX;
    __int128 ns =
        seconds * NS_PER_S + (int64_t)((fraction * (uint64_t)NS_PER_S + (1u << 31)) >> 32);
    return ns > INT64_MAX ? INT64_MAX : ns < INT64_MIN ? INT64_MIN : (int64_t)ns;
}
