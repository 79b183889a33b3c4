/* Counts without their turns, and the quickest word of each short while.
 * Must never let a counter that began anew pass for one that runs on.
 * Called by the serial driver; the line itself is made in tick_line.c. */
#include "common/tick_clock.h"

#include <string.h>

#include "common/clock.h"

#define TURN_LEAST_NS (2 * NS_PER_S)
#define WINDOW_FIRST_NS (NS_PER_S / 4)
#define WINDOW_MOST_NS (8 * NS_PER_S)
#define TICK_HZ_MOST INT64_C(1000000000)
#define TOLERANCE_MOST_PPB INT64_C(50000000)
#define LATENCY_MOST_NS INT64_C(10000000000)
#define LATE_WINDOWS 8
#define LATE_NS INT64_C(1000000)
#define AHEAD_NS (NS_PER_S / 10)
#define AWAY_MOST_NS (86400 * NS_PER_S)
/* A word may be overtaken by one that was made after it: so far back it is late, not a restart. */
#define OVERTAKEN_NS (NS_PER_S / 50)

__extension__ typedef __int128 wide;

static uint64_t counter_mask(const struct tick_clock *clock)
{
    int bits = clock->setup.counter_bits;
    return bits == 64 ? UINT64_MAX : (UINT64_C(1) << bits) - 1;
}

static int64_t tick_ns(const struct tick_clock *clock, uint64_t ticks)
{
    return (int64_t)((wide)(int64_t)ticks * NS_PER_S / clock->setup.tick_hz);
}

int tick_clock_init(struct tick_clock *clock, const struct tick_clock_setup *setup,
                    struct error *error)
{
    if (setup->tick_hz < 1 || setup->tick_hz > TICK_HZ_MOST) {
        return error_set(error, ERROR_RANGE, "tick counter: not 1 to 1000000000 ticks a second");
    }
    if (setup->counter_bits < 16 || setup->counter_bits > 64) {
        return error_set(error, ERROR_RANGE, "tick counter: not 16 to 64 bits wide");
    }
    if (setup->tolerance_ppb < 1 || setup->tolerance_ppb > TOLERANCE_MOST_PPB ||
        setup->latency_most_ns < 0 || setup->latency_most_ns > LATENCY_MOST_NS) {
        return error_set(error, ERROR_RANGE, "tick counter: tolerance or wait out of range");
    }
    *clock = (struct tick_clock){.setup = *setup, .window_ns = WINDOW_FIRST_NS};
    if ((wide)counter_mask(clock) * NS_PER_S / setup->tick_hz < TURN_LEAST_NS) {
        return error_set(error, ERROR_RANGE, "tick counter: turns over in less than two seconds");
    }
    return 0;
}

/* ---- counts ---- */

/* What has gone by since the newest count by the line, and this word's wait. */
static int64_t find_elapsed_ns(const struct tick_clock *clock, int64_t came_ns)
{
    int64_t newest_ns = clock_fit_site_ns(&clock->fit, tick_ns(clock, clock->ticks));
    return came_ns > newest_ns ? came_ns - newest_ns : 0;
}

/* How far the counter went meanwhile: forward, by as many whole turns as come nearest. */
static wide count_advance(const struct tick_clock *clock, uint64_t raw, int64_t elapsed_ns)
{
    wide turn = (wide)counter_mask(clock) + 1;
    wide advance = (raw - clock->last_raw) & counter_mask(clock);
    wide expected = (wide)elapsed_ns * clock->setup.tick_hz / NS_PER_S;
    if (expected > advance) {
        advance += (expected - advance + turn / 2) / turn * turn;
    }
    return advance;
}

/* Forward by more than time has gone by can't be: the counter began anew. */
static bool is_possible(const struct tick_clock *clock, wide advance, int64_t elapsed_ns)
{
    wide went_ns = advance * NS_PER_S / clock->setup.tick_hz;
    wide drift_ns = (wide)elapsed_ns * clock->setup.tolerance_ppb / NS_PER_S;
    return went_ns <= elapsed_ns + 2 * drift_ns + clock->setup.latency_most_ns + AHEAD_NS;
}

/* ---- windows ---- */

/* How long the word waited by the line so far. */
static int64_t find_wait_ns(const struct tick_clock *clock, int64_t at_tick_ns, int64_t came_ns)
{
    return came_ns - clock_fit_site_ns(&clock->fit, at_tick_ns);
}

static void open_window(struct tick_clock *clock, const struct tick_window *window)
{
    if (clock->count == TICK_WINDOWS) {
        if (clock->window_ns < WINDOW_MOST_NS) {
            clock->window_ns *= 2;
            for (size_t i = 0; i < TICK_WINDOWS / 2; i++) {
                const struct tick_window *first = &clock->windows[2 * i];
                bool is_first = find_wait_ns(clock, first[0].tick_ns, first[0].host_ns) <=
                                find_wait_ns(clock, first[1].tick_ns, first[1].host_ns);
                struct tick_window kept = is_first ? first[0] : first[1];
                kept.round_ns =
                    first[0].round_ns < first[1].round_ns ? first[0].round_ns : first[1].round_ns;
                kept.from_host_ns = first[0].from_host_ns;
                clock->windows[i] = kept;
            }
            clock->count = TICK_WINDOWS / 2;
        } else {
            clock->count--;
            memmove(clock->windows, clock->windows + 1, clock->count * sizeof clock->windows[0]);
        }
    }
    clock->windows[clock->count++] = *window;
}

/* A board that stood still for a while comes late for good: once that is plain, what came before
 * counts no more. Waits are never less than nothing, so early words need no such rule. */
static bool is_late_for_good(struct tick_clock *clock)
{
    const struct tick_window *closed = &clock->windows[clock->count - 1];
    int64_t wait_ns = find_wait_ns(clock, closed->tick_ns, closed->host_ns);
    int64_t bound_ns =
        clock_fit_uncertainty_ns(&clock->fit, closed->tick_ns) * CLOCK_FIT_BOUND_PERCENT / 100;
    bool late = wait_ns > 2 * bound_ns + clock->setup.latency_most_ns + LATE_NS;
    clock->late = late ? clock->late + 1 : 0;
    return clock->late == LATE_WINDOWS;
}

static enum tick_verdict close_window(struct tick_clock *clock)
{
    enum tick_verdict verdict = TICK_TAKEN;
    if (is_late_for_good(clock)) {
        memmove(clock->windows, clock->windows + clock->count - LATE_WINDOWS,
                LATE_WINDOWS * sizeof clock->windows[0]);
        clock->count = LATE_WINDOWS;
        clock->late = 0;
        verdict = TICK_RESTARTED;
    }
    tick_line_fit(clock->windows, clock->count, clock->setup.tolerance_ppb, &clock->fit);
    return verdict;
}

static void begin(struct tick_clock *clock, int64_t came_ns, int64_t round_ns)
{
    clock->begun = true;
    clock->ticks = 0;
    clock->stamped = false;
    clock->late = 0;
    clock->window_ns = WINDOW_FIRST_NS;
    clock->count = 1;
    clock->windows[0] = (struct tick_window){.tick_ns = tick_ns(clock, clock->ticks),
                                             .host_ns = came_ns,
                                             .round_ns = round_ns,
                                             .from_host_ns = came_ns};
    tick_line_fit(clock->windows, 1, clock->setup.tolerance_ppb, &clock->fit);
}

static enum tick_verdict add_word(struct tick_clock *clock, uint64_t ticks, int64_t came_ns,
                                  int64_t round_ns)
{
    const struct tick_window word = {.tick_ns = tick_ns(clock, ticks),
                                     .host_ns = came_ns,
                                     .round_ns = round_ns,
                                     .from_host_ns = came_ns};
    struct tick_window *open = &clock->windows[clock->count - 1];
    if (came_ns - open->from_host_ns >= clock->window_ns) {
        enum tick_verdict verdict = close_window(clock);
        open_window(clock, &word);
        return verdict;
    }
    open->round_ns = round_ns < open->round_ns ? round_ns : open->round_ns;
    if (find_wait_ns(clock, word.tick_ns, came_ns) <
        find_wait_ns(clock, open->tick_ns, open->host_ns)) {
        open->tick_ns = word.tick_ns;
        open->host_ns = came_ns;
    }
    return TICK_TAKEN;
}

/* ---- what others call ---- */

static enum tick_verdict feed(struct tick_clock *clock, uint64_t ticks, int64_t came_ns,
                              int64_t round_ns)
{
    uint64_t raw = ticks & counter_mask(clock);
    bool was_begun = clock->begun;
    uint64_t back = (clock->last_raw - raw) & counter_mask(clock);
    if (was_begun && back > 0 && back <= clock->ticks && tick_ns(clock, back) <= OVERTAKEN_NS) {
        return add_word(clock, clock->ticks - back, came_ns, round_ns);
    }
    int64_t elapsed_ns = was_begun ? find_elapsed_ns(clock, came_ns) : 0;
    wide advance = was_begun ? count_advance(clock, raw, elapsed_ns) : 0;
    bool possible = was_begun && is_possible(clock, advance, elapsed_ns);
    clock->last_raw = raw;
    if (!possible) {
        begin(clock, came_ns, round_ns);
        return was_begun ? TICK_RESTARTED : TICK_TAKEN;
    }
    clock->ticks += (uint64_t)advance;
    return add_word(clock, clock->ticks, came_ns, round_ns);
}

enum tick_verdict tick_clock_feed(struct tick_clock *clock, uint64_t ticks, int64_t came_ns)
{
    return feed(clock, ticks, came_ns, clock->setup.latency_most_ns);
}

enum tick_verdict tick_clock_feed_answer(struct tick_clock *clock, int64_t asked_ns, uint64_t ticks,
                                         int64_t came_ns)
{
    int64_t round_ns = came_ns - asked_ns;
    bool tells = round_ns >= 0 && round_ns < clock->setup.latency_most_ns;
    return feed(clock, ticks, came_ns, tells ? round_ns : clock->setup.latency_most_ns);
}

int tick_clock_at(struct tick_clock *clock, uint64_t ticks, int64_t *host_ns,
                  int64_t *uncertainty_ns)
{
    if (!clock->begun) {
        return -1;
    }
    /* Signed: the count may be a little before or after the newest word's. */
    uint64_t away = (ticks - clock->last_raw) & counter_mask(clock);
    if (away > counter_mask(clock) / 2) {
        away -= counter_mask(clock) + 1;
    }
    wide away_ns = (wide)(int64_t)away * NS_PER_S / clock->setup.tick_hz;
    if (away_ns > AWAY_MOST_NS || away_ns < -AWAY_MOST_NS) {
        return -1;
    }
    uint64_t at = clock->ticks + away;
    int64_t at_tick_ns = tick_ns(clock, at);
    *host_ns = clock_fit_site_ns(&clock->fit, at_tick_ns);
    *uncertainty_ns = clock_fit_uncertainty_ns(&clock->fit, at_tick_ns);
    if (clock->stamped && (int64_t)(at - clock->stamped_ticks) > 0 &&
        *host_ns <= clock->stamped_ns) {
        *host_ns = clock->stamped_ns + 1;
    }
    clock->stamped = true;
    clock->stamped_ticks = at;
    clock->stamped_ns = *host_ns;
    return 0;
}

int64_t tick_clock_rate_ppt(const struct tick_clock *clock)
{
    return clock->fit.rate_ppt;
}
