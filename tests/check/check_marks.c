/* A walker who marked himself raises no alert; unmarked he is called person walking. A few of
 * bench_marks' seeded nights. Must never use another seed than its own. */
#include "tests/unit/test.h"

#include "tests/bench/marks_night.h"

#define NIGHTS 3

static void a_walker_who_marked_himself_raises_no_alert_and_unmarked_is_known(void **state)
{
    (void)state;
    static struct marks_night night;
    struct error error;
    size_t seen = 0;
    size_t called = 0;
    for (uint64_t seed = 1; seed <= NIGHTS; seed++) {
        assert_int_equal(marks_run(&night, seed, MARKS_NONE, &error), 0);
        seen += night.seen;
        called += night.called;
        assert_int_equal(
            marks_run(&night, seed, (enum marks_way)(1 + seed % (MARKS_WAYS - 1)), &error), 0);
        assert_int_equal(night.alerts_of_walks, 0);
        for (int64_t id = 1; id <= night.ids; id++) {
            assert_false(night.alert[id] && night.mark[id] != 0);
        }
    }
    assert_true(seen >= NIGHTS * MARKS_WALKS * 3 / 4);
    assert_true(called >= seen * 9 / 10);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_walker_who_marked_himself_raises_no_alert_and_unmarked_is_known),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
