/* Motion sensors: views, hold-off, blind time. */
#include "tests/unit/test.h"

#include "common/clock.h"
#include "node/world/people.h"

#define S NS_PER_S

static void the_output_holds_after_the_last_motion_and_then_falls(void **state)
{
    (void)state;
    const struct people_view views[] = {{10 * S, 12 * S}};
    struct people_edge edges[2];
    assert_int_equal(people_motion_edges(views, 1, 3 * S, 2 * S, edges), 2);
    assert_int64_equal(edges[0].time_ns, 10 * S);
    assert_int_equal(edges[0].level, 1);
    assert_int64_equal(edges[1].time_ns, 15 * S);
    assert_int_equal(edges[1].level, 0);
}

static void motion_while_held_stretches_the_hold(void **state)
{
    (void)state;
    const struct people_view views[] = {{10 * S, 11 * S}, {13 * S, 16 * S}};
    struct people_edge edges[4];
    assert_int_equal(people_motion_edges(views, 2, 3 * S, 2 * S, edges), 2);
    assert_int64_equal(edges[1].time_ns, 19 * S);
}

static void motion_in_the_blind_time_is_seen_late_or_never(void **state)
{
    (void)state;
    /* Falls at 14, blind until 18. */
    const struct people_view late[] = {{10 * S, 11 * S}, {15 * S, 19 * S}};
    const struct people_view never[] = {{10 * S, 11 * S}, {15 * S, 17 * S}};
    struct people_edge edges[4];
    assert_int_equal(people_motion_edges(late, 2, 3 * S, 4 * S, edges), 4);
    assert_int64_equal(edges[2].time_ns, 18 * S);
    assert_int64_equal(edges[3].time_ns, 22 * S);
    assert_int_equal(people_motion_edges(never, 2, 3 * S, 4 * S, edges), 2);
}

static void edges_alternate_and_rise_in_time_whatever_comes(void **state)
{
    (void)state;
    struct people_view views[200];
    struct people_edge edges[400];
    int64_t at = 0;
    for (int i = 0; i < 200; i++) {
        at += (int64_t)((i * 7919) % 9) * S / 2;
        views[i] = (struct people_view){at, at + (int64_t)((i * 104729) % 5) * S};
    }
    size_t count = people_motion_edges(views, 200, 2 * S, S, edges);
    assert_true(count > 10 && count % 2 == 0);
    for (size_t i = 0; i < count; i++) {
        assert_int_equal(edges[i].level, i % 2 == 0);
        assert_true(i == 0 || edges[i].time_ns > edges[i - 1].time_ns);
    }
}

static void a_wall_hides_what_is_near(void **state)
{
    (void)state;
    struct path path = {
        .count = 2,
        .legs = {
            {.room = 0, .from = {0, 0, 1}, .to = {4, 0, 1}, .end_ns = 4 * S},
            {.room = 1, .from = {4, 0, 1}, .to = {8, 0, 1}, .start_ns = 4 * S, .end_ns = 8 * S}}};
    const double at[3] = {5, 0, 1};
    struct people_view views[PATH_LEGS_MAX];
    assert_int_equal(people_views(&path, 1, at, 2.0, views), 1);
    assert_int64_equal(views[0].enter_ns, 4 * S);
    assert_int64_equal(views[0].leave_ns, 7 * S);
    assert_int_equal(people_views(&path, 2, at, 2.0, views), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_output_holds_after_the_last_motion_and_then_falls),
        cmocka_unit_test(motion_while_held_stretches_the_hold),
        cmocka_unit_test(motion_in_the_blind_time_is_seen_late_or_never),
        cmocka_unit_test(edges_alternate_and_rise_in_time_whatever_comes),
        cmocka_unit_test(a_wall_hides_what_is_near),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
