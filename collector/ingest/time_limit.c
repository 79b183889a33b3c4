/* Evenly spaced questions with a burst allowed, kept as one due time an address.
 * Must never look at more than a few places of the table for one question.
 * Called by the time server. */
#include "collector/ingest/time_limit.h"

#include <netinet/in.h>
#include <string.h>

#define PLACES 8 /* that one address may have; the one longest silent makes room */
#define TELL_EVERY_NS INT64_C(1000000000)

static const uint8_t mapped_prefix[12] = {[10] = 0xFF, [11] = 0xFF};

static bool is_mapped(const uint8_t address[16])
{
    return memcmp(address, mapped_prefix, sizeof mapped_prefix) == 0;
}

static void take_address(const struct sockaddr *from, uint8_t address[16])
{
    memset(address, 0, 16);
    if (from->sa_family == AF_INET6) {
        memcpy(address, &((const struct sockaddr_in6 *)from)->sin6_addr, 16);
    } else {
        memcpy(address, mapped_prefix, sizeof mapped_prefix);
        memcpy(address + 12, &((const struct sockaddr_in *)from)->sin_addr, 4);
    }
}

static bool is_own(const uint8_t address[16])
{
    static const uint8_t four[4] = {127, 0, 0, 1};
    static const uint8_t six[16] = {[15] = 1};
    return memcmp(address, six, 16) == 0 ||
           (is_mapped(address) && memcmp(address + 12, four, 4) == 0);
}

/* FNV-1a (G. Fowler, L. C. Noll, K.-P. Vo, 1991), from memory. */
static size_t hash(const uint8_t address[16])
{
    uint32_t value = 2166136261u;
    for (int i = 0; i < 16; i++) {
        value = (value ^ address[i]) * 16777619u;
    }
    return value ^ value >> 16;
}

/* Its place, or the one that was due longest ago, made empty for it. */
static struct time_limit_address *find(struct time_limit *limit, const uint8_t address[16])
{
    size_t first = hash(address) % TIME_LIMIT_ADDRESSES;
    struct time_limit_address *oldest = NULL;
    for (size_t i = 0; i < PLACES; i++) {
        struct time_limit_address *place = &limit->table[(first + i) % TIME_LIMIT_ADDRESSES];
        if (place->used && memcmp(place->address, address, 16) == 0) {
            return place;
        }
        if (!oldest || (oldest->used && (!place->used || place->due_ns < oldest->due_ns))) {
            oldest = place;
        }
    }
    *oldest = (struct time_limit_address){.used = true, .due_ns = INT64_MIN};
    memcpy(oldest->address, address, 16);
    return oldest;
}

enum time_verdict time_limit_ask(struct time_limit *limit, const struct sockaddr *from,
                                 int64_t now_ns)
{
    uint8_t address[16];
    take_address(from, address);
    if (is_own(address)) {
        return TIME_ANSWER;
    }
    if (!is_mapped(address)) {
        memset(address + 8, 0, 8);
    }
    struct time_limit_address *place = find(limit, address);
    int64_t due_ns = place->due_ns > now_ns ? place->due_ns : now_ns;
    if (due_ns - now_ns <= (TIME_LIMIT_BURST - 1) * TIME_LIMIT_EVERY_NS) {
        place->due_ns = due_ns + TIME_LIMIT_EVERY_NS;
        return TIME_ANSWER;
    }
    if (place->told && now_ns - place->told_ns < TELL_EVERY_NS) {
        return TIME_IGNORE;
    }
    place->told = true;
    place->told_ns = now_ns;
    return TIME_TELL;
}
