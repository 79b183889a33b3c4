/* Ways through rooms and doors. */
#include "tests/unit/world/house.h"

#include "node/world/path.h"

static void a_way_goes_from_middle_through_doors_to_middle_at_its_speed(void **state)
{
    (void)state;
    struct house house;
    struct path path;
    double at[3];
    const size_t rooms[] = {0, 1, 2};
    house_build(&house, HOUSE_QUIET(""));
    path_through_rooms(house.site, rooms, 3, 1.0, 2.0, 10 * NS_PER_S, &path);
    assert_int_equal(path.count, 4);
    assert_int64_equal(path_start_ns(&path), 10 * NS_PER_S);
    assert_int64_equal(path_end_ns(&path), 14 * NS_PER_S);
    path_place(&path, 11 * NS_PER_S, at);
    assert_close(at[0], 4.0, 1e-9); /* at the first door */
    assert_close(at[1], 2.0, 1e-9);
    assert_close(at[2], 1.0, 1e-9);
    path_place(&path, 0, at);
    assert_close(at[0], 2.0, 1e-9);
    path_place(&path, 99 * NS_PER_S, at);
    assert_close(at[0], 10.0, 1e-9);
    house_free(&house);
}

static void the_closest_approach_keeps_to_the_asked_room(void **state)
{
    (void)state;
    struct house house;
    struct path path;
    int64_t time_ns;
    double distance;
    const size_t rooms[] = {0, 1};
    const double near_door[3] = {3.5, 2.0, 1.0};
    house_build(&house, HOUSE_QUIET(""));
    path_through_rooms(house.site, rooms, 2, 1.0, 1.0, 0, &path);
    assert_true(path_closest(&path, 1, near_door, &time_ns, &distance));
    assert_close(distance, 0.5, 1e-9);
    assert_int64_equal(time_ns, 2 * NS_PER_S);
    assert_true(path_closest(&path, PATH_NO_ROOM, near_door, &time_ns, &distance));
    assert_close(distance, 0.0, 1e-9);
    assert_false(path_closest(&path, 2, near_door, &time_ns, &distance));
    house_free(&house);
}

static void a_leg_is_within_range_between_the_circles_two_crossings(void **state)
{
    (void)state;
    const struct path_leg leg = {
        .from = {0, 0, 1}, .to = {10, 0, 1}, .start_ns = 0, .end_ns = 10 * NS_PER_S};
    const double at[3] = {5, 3, 1};
    int64_t enter;
    int64_t leave;
    assert_true(path_leg_within(&leg, at, 5.0, &enter, &leave));
    assert_int64_equal(enter, NS_PER_S);
    assert_int64_equal(leave, 9 * NS_PER_S);
    assert_false(path_leg_within(&leg, at, 2.9, &enter, &leave));
    assert_true(path_leg_within(&leg, at, 50.0, &enter, &leave));
    assert_int64_equal(enter, 0);
    assert_int64_equal(leave, 10 * NS_PER_S);
}

static void the_middle_of_a_bent_room_is_its_centroid(void **state)
{
    (void)state;
    struct site_room room = {.corner_count = 6,
                             .floor = -1,
                             .outline_m = {{0, 0}, {4, 0}, {4, 2}, {2, 2}, {2, 4}, {0, 4}}};
    const struct site site = {.room_count = 1, .rooms = &room};
    double at[3];
    path_room_middle(&site, 0, 1.0, at);
    assert_close(at[0], 5.0 / 3.0, 1e-12);
    assert_close(at[1], 5.0 / 3.0, 1e-12);
    assert_close(at[2], 1.0 - PATH_STOREY_M, 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_way_goes_from_middle_through_doors_to_middle_at_its_speed),
        cmocka_unit_test(the_closest_approach_keeps_to_the_asked_room),
        cmocka_unit_test(a_leg_is_within_range_between_the_circles_two_crossings),
        cmocka_unit_test(the_middle_of_a_bent_room_is_its_centroid),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
