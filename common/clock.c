/* The machine's clocks, as they are or skewed for a test.
 * Must never be gone round: the only file that calls clock_gettime.
 * Called by the programs' mains, which hand the clock down. */
#include "common/clock.h"

#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "common/clock_page.h"
#include "common/decimal.h"

#define PPB INT64_C(1000000000)
#define NS_PER_MS INT64_C(1000000)
#define PAGE_KEY "page="
#define SKEW_MOST_NS (INT64_C(2000000000) * NS_PER_S) /* twice that and today still fit int64 */
#define SKEW_MOST_PPB INT64_C(100000000)
#define SLEEP_LEAST_NS INT64_C(1000000)
#define SLEEP_TRIES 8

static int64_t read_clock(clockid_t id)
{
    struct timespec now = {0, 0};
    (void)clock_gettime(id, &now);
    return (int64_t)now.tv_sec * NS_PER_S + now.tv_nsec;
}

int64_t clock_thread_used_ns(void)
{
    return read_clock(CLOCK_THREAD_CPUTIME_ID);
}

/* ---- sleep ---- */

/* How far the clock that counts sleep is ahead of the one that does not; *width_ns bounds the error
 * of reading two clocks one after the other. */
static int64_t read_slept_ns(int64_t *width_ns)
{
    int64_t before_ns = read_clock(CLOCK_MONOTONIC);
    int64_t with_sleep_ns = read_clock(CLOCK_BOOTTIME);
    *width_ns = read_clock(CLOCK_MONOTONIC) - before_ns;
    return with_sleep_ns - before_ns - *width_ns / 2;
}

/* Kept as long as it holds to SLEEP_LEAST_NS, so that reading it twice does not make time shake. */
static int64_t system_slept_ns(void *context)
{
    static int64_t _Atomic kept_ns = -1;
    int64_t width_ns = 0;
    int64_t slept_ns = read_slept_ns(&width_ns);
    (void)context;
    int64_t kept = kept_ns;
    if (kept >= 0 && llabs(slept_ns - kept) < SLEEP_LEAST_NS) {
        return kept;
    }
    int64_t least_ns = width_ns;
    for (int i = 0; i < SLEEP_TRIES; i++) {
        int64_t again_ns = read_slept_ns(&width_ns);
        slept_ns = width_ns < least_ns ? again_ns : slept_ns;
        least_ns = width_ns < least_ns ? width_ns : least_ns;
    }
    if (kept >= 0 && llabs(slept_ns - kept) < SLEEP_LEAST_NS) {
        return kept;
    }
    slept_ns = slept_ns > 0 ? slept_ns : 0;
    return atomic_compare_exchange_strong(&kept_ns, &kept, slept_ns) ? slept_ns : kept;
}

int64_t clock_slept_ns(const struct clock_source *clock)
{
    return clock->slept_ns ? clock->slept_ns(clock->context) : 0;
}

/* ---- the machine's clocks ---- */

static int64_t system_mono_ns(void *context)
{
    int64_t slept_ns = system_slept_ns(context);
    return read_clock(CLOCK_MONOTONIC_RAW) + slept_ns;
}

static int64_t system_real_ns(void *context)
{
    (void)context;
    return read_clock(CLOCK_REALTIME);
}

struct clock_source clock_system(void)
{
    return (struct clock_source){system_mono_ns, system_real_ns, NULL, system_slept_ns, 1};
}

int64_t clock_wait_ms(const struct clock_source *clock, int64_t left_ns)
{
    int64_t unit_ns = NS_PER_MS * (clock->hurry > 1 ? clock->hurry : 1);
    return left_ns > 0 ? left_ns / unit_ns + 1 : 0;
}

/* ---- and skewed ---- */

static int64_t true_mono_ns(const struct clock_skew *skew)
{
    return skew->page ? clock_page_mono_ns(skew->page) : system_mono_ns(NULL);
}

static int64_t true_real_ns(const struct clock_skew *skew)
{
    return skew->page ? clock_page_real_ns(skew->page) : system_real_ns(NULL);
}

static int64_t rate_error_ns(const struct clock_skew *skew, int64_t elapsed_ns)
{
    return (int64_t)((__int128)elapsed_ns * skew->rate_ppb / PPB);
}

static void note_sleep(struct clock_skew *skew, int64_t now_ns)
{
    int64_t away_ns = now_ns - atomic_exchange(&skew->last_ns, now_ns);
    if (skew->sleep_over_ns > 0 && away_ns > skew->sleep_over_ns) {
        skew->slept_ns += away_ns;
        skew->sleeps++;
    }
}

static int64_t skewed_mono_ns(void *context)
{
    struct clock_skew *skew = context;
    int64_t now_ns = true_mono_ns(skew);
    note_sleep(skew, now_ns);
    return now_ns + skew->offset_ns + rate_error_ns(skew, now_ns - skew->start_mono_ns) +
           skew->sleeps * skew->sleep_error_ns;
}

static int64_t skewed_slept_ns(void *context)
{
    struct clock_skew *skew = context;
    note_sleep(skew, true_mono_ns(skew));
    return (skew->page ? 0 : system_slept_ns(NULL)) + skew->slept_ns;
}

static int64_t skewed_real_ns(void *context)
{
    const struct clock_skew *skew = context;
    int64_t now_ns = true_real_ns(skew);
    int64_t skewed_ns =
        now_ns + skew->offset_ns + rate_error_ns(skew, now_ns - skew->start_real_ns);
    int64_t since_ns = true_mono_ns(skew) - skew->start_mono_ns;
    for (size_t i = 0; i < skew->jump_count; i++) {
        skewed_ns += since_ns >= skew->jumps[i].after_ns ? skew->jumps[i].by_ns : 0;
    }
    return skewed_ns;
}

struct clock_source clock_skewed(struct clock_skew *skew)
{
    skew->start_mono_ns = true_mono_ns(skew);
    skew->start_real_ns = true_real_ns(skew);
    skew->last_ns = skew->start_mono_ns;
    int hurry = skew->page ? clock_page_hurry(skew->page) : 1;
    return (struct clock_source){skewed_mono_ns, skewed_real_ns, skew, skewed_slept_ns, hurry};
}

/* ---- from words ---- */

enum key { OFFSET, RATE, JUMP, JUMP_AFTER, SLEEP_OVER, SLEEP_ERROR, KEYS };

static const struct {
    const char *key;
    int exponent; /* of the unit that it is kept in, against the unit in the key */
    int64_t most;
    unsigned times; /* it may come */
} keys[KEYS] = {
    [OFFSET] = {"offset_s=", -9, SKEW_MOST_NS, 1},
    [RATE] = {"rate_ppm=", -3, SKEW_MOST_PPB, 1},
    [JUMP] = {"jump_s=", -9, SKEW_MOST_NS, CLOCK_JUMPS_MOST},
    [JUMP_AFTER] = {"jump_after_s=", -9, SKEW_MOST_NS, CLOCK_JUMPS_MOST},
    [SLEEP_OVER] = {"sleep_over_s=", -9, SKEW_MOST_NS, 1},
    [SLEEP_ERROR] = {"sleep_error_s=", -9, SKEW_MOST_NS, 1},
};

/* Where the next value of this key goes. */
static int64_t *find_place(struct clock_skew *skew, enum key key, unsigned given)
{
    if ((key == JUMP || key == JUMP_AFTER) && skew->jump_count <= given) {
        skew->jump_count = given + 1;
    }
    switch (key) {
    case RATE:
        return &skew->rate_ppb;
    case JUMP:
        return &skew->jumps[given].by_ns;
    case JUMP_AFTER:
        return &skew->jumps[given].after_ns;
    case SLEEP_OVER:
        return &skew->sleep_over_ns;
    case SLEEP_ERROR:
        return &skew->sleep_error_ns;
    case OFFSET:
    case KEYS:
        break;
    }
    return &skew->offset_ns;
}

static int open_page(const char *text, size_t length, struct clock_skew *skew, struct error *error)
{
    char path[1024];
    if (skew->page || length >= sizeof path) {
        return error_set(error, ERROR_FORMAT, "clock skew: page given twice or too long");
    }
    memcpy(path, text, length);
    path[length] = '\0';
    return clock_page_open(path, &skew->page, error);
}

/* One "key=value" part; `given` counts each key. */
static int parse_part(const char *part, size_t length, struct clock_skew *skew,
                      unsigned given[KEYS], struct error *error)
{
    size_t page_head = strlen(PAGE_KEY);
    if (length > page_head && strncmp(part, PAGE_KEY, page_head) == 0) {
        return open_page(part + page_head, length - page_head, skew, error);
    }
    for (int key = 0; key < KEYS; key++) {
        size_t head = strlen(keys[key].key);
        if (length < head || memcmp(part, keys[key].key, head) != 0) {
            continue;
        }
        if (given[key] == keys[key].times) {
            return error_set(error, ERROR_FORMAT, "clock skew: %.*s given %s", (int)head - 1,
                             keys[key].key, keys[key].times == 1 ? "twice" : "too often");
        }
        int64_t *place = find_place(skew, (enum key)key, given[key]++);
        struct decimal value;
        if (decimal_parse(part + head, length - head, &value, error)) {
            return error_wrap(error, "clock skew: %.*s", (int)head - 1, keys[key].key);
        }
        if (decimal_rescale(value, keys[key].exponent, place) || *place > keys[key].most ||
            *place < -keys[key].most) {
            return error_set(error, ERROR_RANGE, "clock skew: %.*s: too large or too fine",
                             (int)head - 1, keys[key].key);
        }
        return 0;
    }
    return error_set(error, ERROR_FORMAT, "clock skew: \"%.*s\": unknown part",
                     length > 40 ? 40 : (int)length, part);
}

int clock_skew_parse(const char *text, struct clock_skew *skew, struct error *error)
{
    *skew = (struct clock_skew){0};
    unsigned given[KEYS] = {0};
    for (;;) {
        size_t length = strcspn(text, ",");
        if (parse_part(text, length, skew, given, error)) {
            return -1;
        }
        if (text[length] == '\0') {
            break;
        }
        text += length + 1;
    }
    for (size_t i = 0; i < skew->jump_count; i++) {
        if (skew->jumps[i].after_ns < 0) {
            return error_set(error, ERROR_RANGE, "clock skew: jump_after_s is negative");
        }
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
