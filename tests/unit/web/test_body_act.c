/* The body of a request for an act: the commands' own bounds and defaults, all else refused by its
 * name. Must never be softened: it comes from whoever reaches the port. Run by ctest. */
#include "tests/unit/test.h"

#include "collector/web/body.h"

static int read_act(const char *json, struct web_act *act, struct error *error)
{
    struct text body = {0};
    assert_int_equal(text_append(&body, json, strlen(json)), 0);
    int result = web_body_act(&body, act, error);
    text_free(&body);
    return result;
}

static void an_act_has_the_commands_defaults(void **state)
{
    (void)state;
    struct web_act act;
    struct error error;
    assert_int_equal(read_act("{\"act\":\"preflight\",\"do\":\"begin\"}", &act, &error), 0);
    assert_int_equal(act.kind, WEB_ACT_PREFLIGHT);
    assert_int_equal(act.what, WEB_ACT_BEGIN);
    assert_close(act.hours, 8, 0);
    assert_close(act.wait_s, 120, 0);
    assert_close(act.look_s, 30, 0);
    assert_close(act.quiet_s, 30, 0);
    assert_close(act.limit_s, 300, 0);
    assert_close(act.for_s, 0, 0);
    assert_null(act.plan);
}

static void a_walk_names_its_rooms_in_order(void **state)
{
    (void)state;
    struct web_act act;
    struct error error;
    assert_int_equal(read_act("{\"act\":\"walk\",\"do\":\"begin\",\"rooms\":[\"hall\",\"cellar\"],"
                              "\"quiet_s\":0}",
                              &act, &error),
                     0);
    assert_int_equal(act.room_count, 2);
    assert_string_equal(act.rooms[0], "hall");
    assert_string_equal(act.rooms[1], "cellar");
    assert_close(act.quiet_s, 0, 0);
}

static void a_plan_is_kept_to_the_byte(void **state)
{
    (void)state;
    struct web_act act;
    struct error error;
    assert_int_equal(
        read_act("{\"act\":\"ask\",\"do\":\"check\",\"plan\":\"{ \\\"title\\\" : 1.50 }\"}", &act,
                 &error),
        0);
    assert_int_equal(act.what, WEB_ACT_CHECK);
    assert_string_equal(act.plan, "{ \"title\" : 1.50 }");
    web_act_clear(&act);
    assert_null(act.plan);
}

static void a_bad_act_is_refused_by_its_fault(void **state)
{
    (void)state;
    static const char *const bad[][2] = {
        {"{}", "act"},
        {"[]", "object"},
        {"{\"act\":\"dance\",\"do\":\"begin\"}", "dance"},
        {"{\"act\":\"quiet\",\"do\":\"stay\"}", "stay"},
        {"{\"act\":\"quiet\",\"do\":\"begin\",\"for_s\":5}", "for_s"},
        {"{\"act\":\"quiet\",\"do\":\"begin\",\"for_s\":1e9}", "for_s"},
        {"{\"act\":\"preflight\",\"do\":\"begin\",\"look_s\":1}", "look_s"},
        {"{\"act\":\"walk\",\"do\":\"begin\",\"rooms\":\"hall\"}", "rooms"},
        {"{\"act\":\"walk\",\"do\":\"begin\",\"rooms\":[\"A B\"]}", "rooms[0]"},
        {"{\"act\":\"walk\",\"do\":\"begin\",\"rooms\":[7]}", "rooms[0]"},
        {"{\"act\":\"ask\",\"do\":\"begin\",\"plan\":{}}", "plan"},
        {"{\"act\":\"ask\",\"do\":\"begin\",\"more\":1}", "more"},
    };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct web_act act;
        struct error error;
        assert_int_equal(read_act(bad[i][0], &act, &error), -1);
        if (!strstr(error.text, bad[i][1])) {
            fail_msg("%s: %s", bad[i][0], error.text);
        }
    }
}

static void a_walk_has_no_more_rooms_than_a_house(void **state)
{
    (void)state;
    struct web_act act;
    struct error error;
    for (size_t count = SITE_ROOMS_MAX; count <= SITE_ROOMS_MAX + 1; count++) {
        char json[128 + (SITE_ROOMS_MAX + 1) * sizeof "\"a\","] =
            "{\"act\":\"walk\",\"do\":\"begin\",\"rooms\":[\"a\"";
        for (size_t i = 1; i < count; i++) {
            (void)strcat(json, ",\"a\"");
        }
        (void)strcat(json, "]}");
        assert_int_equal(read_act(json, &act, &error), count == SITE_ROOMS_MAX ? 0 : -1);
    }
    assert_non_null(strstr(error.text, "rooms: more than"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_act_has_the_commands_defaults),
        cmocka_unit_test(a_walk_names_its_rooms_in_order),
        cmocka_unit_test(a_plan_is_kept_to_the_byte),
        cmocka_unit_test(a_bad_act_is_refused_by_its_fault),
        cmocka_unit_test(a_walk_has_no_more_rooms_than_a_house),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
