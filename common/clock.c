/* The machine's clocks, as they are or skewed for a test.
 * Must never be gone round: the only file that calls clock_gettime.
 * Called by the programs' mains, which hand the clock down. */
#include "common/clock.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "common/decimal.h"

#define PPB INT64_C(1000000000)
#define SKEW_MOST_NS (INT64_C(2000000000) * NS_PER_S) /* twice that and today still fit int64 */
#define SKEW_MOST_PPB INT64_C(100000000)

static int64_t read_clock(clockid_t id)
{
    struct timespec now = {0, 0};
    (void)clock_gettime(id, &now);
    return (int64_t)now.tv_sec * NS_PER_S + now.tv_nsec;
}

static int64_t system_mono_ns(void *context)
{
    (void)context;
    return read_clock(CLOCK_MONOTONIC_RAW);
}

static int64_t system_real_ns(void *context)
{
    (void)context;
    return read_clock(CLOCK_REALTIME);
}

struct clock_source clock_system(void)
{
    return (struct clock_source){system_mono_ns, system_real_ns, NULL};
}

static int64_t rate_error_ns(const struct clock_skew *skew, int64_t elapsed_ns)
{
    return (int64_t)((__int128)elapsed_ns * skew->rate_ppb / PPB);
}

static int64_t skewed_mono_ns(void *context)
{
    const struct clock_skew *skew = context;
    int64_t now_ns = system_mono_ns(NULL);
    return now_ns + skew->offset_ns + rate_error_ns(skew, now_ns - skew->start_mono_ns);
}

static int64_t skewed_real_ns(void *context)
{
    const struct clock_skew *skew = context;
    int64_t now_ns = system_real_ns(NULL);
    int64_t skewed_ns =
        now_ns + skew->offset_ns + rate_error_ns(skew, now_ns - skew->start_real_ns);
    if (system_mono_ns(NULL) - skew->start_mono_ns >= skew->jump_after_ns) {
        skewed_ns += skew->jump_ns;
    }
    return skewed_ns;
}

struct clock_source clock_skewed(struct clock_skew *skew)
{
    skew->start_mono_ns = system_mono_ns(NULL);
    skew->start_real_ns = system_real_ns(NULL);
    return (struct clock_source){skewed_mono_ns, skewed_real_ns, skew};
}

/* One "key=value" part. `seen` has a bit for each key, so that none comes twice. */
static int parse_part(const char *part, size_t length, struct clock_skew *skew, unsigned *seen,
                      struct error *error)
{
    const struct {
        const char *key;
        int64_t *to;
        int exponent; /* of the unit that `to` counts in, against the unit in the key */
        int64_t most;
    } keys[] = {
        {"offset_s=", &skew->offset_ns, -9, SKEW_MOST_NS},
        {"rate_ppm=", &skew->rate_ppb, -3, SKEW_MOST_PPB},
        {"jump_s=", &skew->jump_ns, -9, SKEW_MOST_NS},
        {"jump_after_s=", &skew->jump_after_ns, -9, SKEW_MOST_NS},
    };
    for (unsigned i = 0; i < sizeof keys / sizeof keys[0]; i++) {
        size_t head = strlen(keys[i].key);
        if (length < head || memcmp(part, keys[i].key, head) != 0) {
            continue;
        }
        if (*seen & (1u << i)) {
            return error_set(error, ERROR_FORMAT, "clock skew: %.*s given twice", (int)head - 1,
                             keys[i].key);
        }
        *seen |= 1u << i;
        struct decimal value;
        if (decimal_parse(part + head, length - head, &value, error)) {
            return error_wrap(error, "clock skew: %.*s", (int)head - 1, keys[i].key);
        }
        if (decimal_rescale(value, keys[i].exponent, keys[i].to) || *keys[i].to > keys[i].most ||
            *keys[i].to < -keys[i].most) {
            return error_set(error, ERROR_RANGE, "clock skew: %.*s: too large or too fine",
                             (int)head - 1, keys[i].key);
        }
        return 0;
    }
    return error_set(error, ERROR_FORMAT, "clock skew: \"%.*s\": unknown part",
                     length > 40 ? 40 : (int)length, part);
}

int clock_skew_parse(const char *text, struct clock_skew *skew, struct error *error)
{
    *skew = (struct clock_skew){0};
    unsigned seen = 0;
    for (;;) {
        size_t length = strcspn(text, ",");
        if (parse_part(text, length, skew, &seen, error)) {
            return -1;
        }
        if (text[length] == '\0') {
            break;
        }
        text += length + 1;
    }
    if (skew->jump_after_ns < 0) {
        return error_set(error, ERROR_RANGE, "clock skew: jump_after_s is negative");
    }
    return 0;
}

int clock_from_environment(struct clock_skew *skew, struct clock_source *clock, struct error *error)
{
    const char *text = getenv("ROOMWAKE_CLOCK");
    if (!text) {
        *clock = clock_system();
        return 0;
    }
    if (clock_skew_parse(text, skew, error)) {
        return error_wrap(error, "ROOMWAKE_CLOCK");
    }
    *clock = clock_skewed(skew);
    return 0;
}
