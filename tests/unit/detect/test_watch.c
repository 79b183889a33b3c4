/* A watch's promise to the loop: what it works out seldom, it works out bit by bit.
 * Must never use an unseeded number. Run by ctest. */
#include "collector/detect/watch.h"
#include "tests/unit/detect/rig.h"

#define RATE_HZ 200
#define BASELINE_S 60.0

struct watched {
    struct history history;
    struct outbox outbox;
    struct spell spell;
    double scale_floor;
    double reference[VECTOR_AXES_MAX];
    struct watch watch;
    struct rig rig;
};

static void begin(struct watched *watched)
{
    memset(watched, 0, sizeof *watched);
    watched->rig.random = 11;
    watched->spell.end_ns = INT64_MIN;
    assert_int_equal(history_init(&watched->history, 1, 4096, false), 0);
    struct watch_settings settings = {.name = BAND_REST,
                                      .history = &watched->history,
                                      .outbox = &watched->outbox,
                                      .baseline_s = BASELINE_S,
                                      .spell = &watched->spell,
                                      .onsets_per_hour = 0.1,
                                      .bank = true,
                                      .reference = watched->reference,
                                      .scale_floor = &watched->scale_floor};
    pace_for(INT64_C(1000000000000) / RATE_HZ, BASELINE_S, &settings.pace);
    assert_int_equal(watch_init(&watched->watch, &settings), 0);
}

static void end(struct watched *watched)
{
    watch_free(&watched->watch);
    history_free(&watched->history);
}

static void feed_one(struct watched *watched)
{
    struct history *history = &watched->history;
    uint64_t i = history->end++;
    history->times[i & history->mask] = RIG_START + (int64_t)i * (RIG_SECOND / RATE_HZ);
    history->rest[0][i & history->mask] = rig_normal(&watched->rig);
    watch_run(&watched->watch, i, i + 1);
}

static size_t chosen(const struct watch *watch)
{
    size_t count = 0;
    for (unsigned stat = 0; stat < BANK_STATS; stat++) {
        count += isfinite(watch->bank.high[stat]) && watch->bank.high[stat] > 0.0;
    }
    return count;
}

static void the_windows_levels_are_chosen_one_a_block_after_the_quiet_spell(void **state)
{
    (void)state;
    static struct watched watched;
    begin(&watched);
    while (!watched.watch.learnt) {
        feed_one(&watched);
    }
    assert_int_equal(chosen(&watched.watch), 0);
    size_t blocks = watched.watch.baseline.memory.extremes.blocks;
    size_t before = 0;
    while (watched.watch.baseline.memory.extremes.blocks < blocks + BANK_STATS + 1) {
        feed_one(&watched);
        size_t now = chosen(&watched.watch);
        assert_true(now <= before + 1);
        before = now;
    }
    /* The slowest looks too seldom for a level from one quiet spell. */
    assert_true(before >= BANK_STATS - 1);
    end(&watched);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_windows_levels_are_chosen_one_a_block_after_the_quiet_spell),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
