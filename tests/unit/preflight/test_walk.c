/* The walk test's ticks and orders: a right walk, swapped nodes, a blind node, wrong use. */
#include "tests/unit/test.h"

#include "collector/preflight/walk.h"

#define T0 INT64_C(1709330400000000000)

static struct site_room rooms[3] = {{.id = "hall"}, {.id = "passage"}, {.id = "kitchen"}};
static struct site_node nodes[3] = {
    {.id = "n1", .room = 0, .channel_count = 1, .channels = {{.quantity = QUANTITY_MOTION}}},
    {.id = "n2", .room = 1, .channel_count = 1, .channels = {{.quantity = QUANTITY_MOTION}}},
    {.id = "n3", .room = 2, .channel_count = 1, .channels = {{.quantity = QUANTITY_MAGNETIC}}}};
static const struct site site = {.room_count = 3, .rooms = rooms, .node_count = 3, .nodes = nodes};
static const size_t way[3] = {0, 1, 2};

static bool see(struct walk *walk, uint32_t node, enum quantity quantity, double at_s)
{
    struct disturbance seen = {.node = node,
                               .quantity = quantity,
                               .onset_ns = T0 + (int64_t)(at_s * 1e9),
                               .peak_score = 9.0};
    snprintf(seen.quantity_text, sizeof seen.quantity_text, "%s", quantity_name(quantity));
    return walk_take(walk, &seen);
}

static struct walk *begin(void)
{
    struct walk *walk = NULL;
    struct error error;
    assert_int_equal(walk_new(&site, way, 3, T0, &walk, &error), 0);
    return walk;
}

static void a_walk_in_order_ticks_each_node_off(void **state)
{
    (void)state;
    struct walk *walk = begin();
    struct text text = {0};
    assert_false(see(walk, 0, QUANTITY_MOTION, -3.0));
    assert_false(see(walk, 0, QUANTITY_MAGNETIC, 1.0)); /* its motion sensor is asked */
    assert_true(see(walk, 0, QUANTITY_MOTION, 2.0));
    assert_true(see(walk, 1, QUANTITY_MOTION, 6.0));
    assert_false(walk_is_done(walk));
    assert_true(see(walk, 2, QUANTITY_MAGNETIC, 10.0));
    assert_false(see(walk, 0, QUANTITY_MOTION, 20.0)); /* on the way back */
    assert_true(walk_is_done(walk));
    assert_true(walk_report(walk, &text));
    assert_non_null(strstr(text.bytes, "found:  hall, passage, kitchen"));
    assert_non_null(strstr(walk_get_node(walk, 2)->saw, "magnetic at"));
    text_free(&text);
    walk_free(walk);
}

static void swapped_nodes_are_named(void **state)
{
    (void)state;
    struct walk *walk = begin();
    struct text text = {0};
    (void)see(walk, 1, QUANTITY_MOTION, 2.0);
    (void)see(walk, 0, QUANTITY_MOTION, 6.0);
    (void)see(walk, 2, QUANTITY_MAGNETIC, 10.0);
    assert_false(walk_report(walk, &text));
    assert_non_null(strstr(text.bytes,
                           "swapped nodes: n1 answered when you were in passage, n2 when "
                           "you were in hall."));
    text_free(&text);
    walk_free(walk);
}

static void a_node_that_saw_nothing_is_named(void **state)
{
    (void)state;
    struct walk *walk = begin();
    struct text text = {0};
    (void)see(walk, 0, QUANTITY_MOTION, 2.0);
    (void)see(walk, 2, QUANTITY_MAGNETIC, 10.0);
    assert_false(walk_is_done(walk));
    assert_false(walk_report(walk, &text));
    assert_non_null(strstr(text.bytes, "n2 (passage) has seen nothing"));
    text_free(&text);
    walk_free(walk);
}

static void a_way_that_is_none_is_refused(void **state)
{
    (void)state;
    static const size_t twice[3] = {0, 1, 0};
    struct walk *walk = NULL;
    struct error error;
    assert_int_equal(walk_new(&site, twice, 3, T0, &walk, &error), -1);
    assert_non_null(strstr(error.text, "named twice"));
    assert_int_equal(walk_new(&site, way, 1, T0, &walk, &error), -1);
    assert_non_null(strstr(error.text, "two rooms at least"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_walk_in_order_ticks_each_node_off),
        cmocka_unit_test(swapped_nodes_are_named),
        cmocka_unit_test(a_node_that_saw_nothing_is_named),
        cmocka_unit_test(a_way_that_is_none_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
