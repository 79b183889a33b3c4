/* A walker who marked himself raises no alert; unmarked he is called person walking; a coil that
 * the team tried is an alert unless marked. A few of bench_marks' seeded nights. Must never use
 * another seed than its own. */
#include "tests/unit/test.h"

#include "tests/bench/marks_night.h"

#define NIGHTS 3

static struct marks_night night;

static void run(uint64_t seed, enum marks_way way)
{
    struct error error;
    if (marks_run(&night, seed, way, &error) != 0) {
        fail_msg("%s", error.text);
    }
}

static enum marks_way marked_way(uint64_t seed)
{
    return (enum marks_way)(1 + seed % (MARKS_WAYS - 1));
}

static void a_walker_who_marked_himself_raises_no_alert_and_unmarked_is_known(void **state)
{
    (void)state;
    size_t seen = 0;
    size_t called = 0;
    for (uint64_t seed = 1; seed <= NIGHTS; seed++) {
        run(seed, MARKS_NONE);
        seen += night.walks.seen;
        called += night.walks.called;
        run(seed, marked_way(seed));
        assert_int_equal(night.walks.alerts, 0);
        for (int64_t id = 1; id <= night.ids; id++) {
            assert_false(night.alert[id] && night.mark[id] != 0);
        }
    }
    assert_true(seen >= NIGHTS * MARKS_WALKS * 3 / 4);
    assert_true(called >= seen * 9 / 10);
}

/* What no cause accounts for is an alert but for the mark; and what the mark covers hardly changes
 * anything for what comes later and is nobody's: less time is left to know the rates by. */
static void what_we_did_and_marked_is_no_alert_and_counts_in_no_chance(void **state)
{
    (void)state;
    size_t unmarked_alerts = 0;
    for (uint64_t seed = 1; seed <= NIGHTS; seed++) {
        run(seed, MARKS_NOBODY);
        double alone = night.stranger_chance;
        assert_true(alone > 0.0 && night.stranger_alert);
        run(seed, MARKS_NONE);
        assert_int_equal(night.coils.seen, MARKS_COILS);
        unmarked_alerts += night.coils.alerts;
        assert_true(night.stranger_chance > 4.0 * alone);
        run(seed, marked_way(seed));
        assert_int_equal(night.coils.seen, MARKS_COILS);
        assert_int_equal(night.coils.alerts, 0);
        assert_true(night.stranger_alert);
        assert_true(night.stranger_chance < 2.5 * alone);
    }
    assert_true(unmarked_alerts > NIGHTS * MARKS_COILS / 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_walker_who_marked_himself_raises_no_alert_and_unmarked_is_known),
        cmocka_unit_test(what_we_did_and_marked_is_no_alert_and_counts_in_no_chance),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
