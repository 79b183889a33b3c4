/* A session as it is held: the steps, what the team is told, what the night hears and when.
 * Must never know how a terminal or a page shows it. Run by ctest. */
#include "tests/unit/test.h"

#include "collector/questions/holding.h"

#define S INT64_C(1000000000)

static const char plan_text[] =
    "{\"title\":\"first\",\"channels\":[\"electric\"],\"ask_s\":2,\"window_s\":5,\"rest_s\":3,"
    "\"expect_response\":0.5,\"expect_by_chance\":0.1,"
    "\"questions\":[{\"text\":\"who is there\"},{\"text\":\"knock twice\",\"pattern\":2}]}";

struct held {
    struct question_plan *plan;
    struct holding *holding;
    uint8_t seed[DRAW_SEED_SIZE];
};

static int set_up(void **state)
{
    struct held *held = calloc(1, sizeof *held);
    struct error error;
    assert_non_null(held);
    memset(held->seed, 7, sizeof held->seed);
    assert_int_equal(plan_parse(plan_text, strlen(plan_text), "plan", &held->plan, &error), 0);
    assert_int_equal(
        holding_new(held->plan, plan_text, strlen(plan_text), held->seed, &held->holding, &error),
        0);
    *state = held;
    return 0;
}

static int tear_down(void **state)
{
    struct held *held = *state;
    holding_free(held->holding);
    free(held->plan);
    free(held);
    return 0;
}

static void the_seed_is_bound_before_the_first_window_and_told_after_the_last(void **state)
{
    struct held *held = *state;
    struct holding_step step;
    uint8_t bound[DRAW_SEED_SIZE];
    char hex[DRAW_HEX_SIZE];
    draw_bind(held->seed, plan_text, strlen(plan_text), bound);
    draw_hex(bound, hex);
    holding_begin(held->holding, &step);
    assert_true(step.told);
    assert_int_equal(step.said.what, QUESTION_PLAN);
    assert_memory_equal(step.said.text, hex, DRAW_HEX_SIZE - 1);
    assert_string_equal(step.said.text + DRAW_HEX_SIZE, plan_text);
    draw_hex(held->seed, hex);
    assert_null(strstr(step.said.text, hex));
    while (step.stage != HOLDING_OVER) {
        assert_true(!step.told || step.said.what == QUESTION_PLAN ||
                    strstr(step.said.text, hex) == NULL);
        holding_next(held->holding, &step);
    }
    assert_int_equal(step.said.what, QUESTION_END);
    assert_string_equal(step.said.text, hex);
}

static void each_window_is_held_as_it_was_drawn(void **state)
{
    struct held *held = *state;
    struct draw_window drawn[DRAW_WINDOWS_MAX];
    struct holding_step step;
    draw_windows(held->seed, held->plan, drawn);
    assert_int_equal(holding_count(held->holding), 4);
    holding_begin(held->holding, &step);
    for (size_t i = 0; i < 4; i++) {
        assert_int_equal(step.stage, HOLDING_REST);
        assert_close(step.wait_s, drawn[i].rest_s, 0);
        assert_int_equal(holding_nth(held->holding), i + 1);
        holding_next(held->holding, &step);
        assert_int_equal(step.stage, HOLDING_SPEAK);
        assert_false(step.told);
        assert_close(step.wait_s, 2, 0);
        assert_true((strstr(step.text, "ASK NOW: \"") != NULL) == drawn[i].asked);
        assert_true((strstr(step.text, "nobody asks") != NULL) != drawn[i].asked);
        holding_next(held->holding, &step);
        assert_int_equal(step.stage, HOLDING_LISTEN);
        assert_int_equal(step.said.what, drawn[i].asked ? QUESTION_ASKED : QUESTION_SILENT);
        assert_int_equal(step.said.nth, i + 1);
        assert_int_equal(step.said.length_ns, 5 * S);
        assert_string_equal(step.said.text,
                            drawn[i].asked ? held->plan->questions[drawn[i].question].text : "");
        holding_next(held->holding, &step);
    }
    assert_int_equal(step.stage, HOLDING_OVER);
    assert_close(step.wait_s, 0, 0);
}

static void a_rest_says_nothing_of_what_comes(void **state)
{
    struct held *held = *state;
    struct holding_step step;
    holding_begin(held->holding, &step);
    assert_null(strstr(step.text, "ASK"));
    assert_null(strstr(step.text, "nobody"));
    for (int i = 0; i < 3; i++) {
        holding_next(held->holding, &step);
    }
    assert_int_equal(step.stage, HOLDING_REST);
    assert_string_equal(step.text, "");
    assert_false(step.told);
}

static void a_session_that_is_broken_off_says_so_once_and_keeps_its_seed(void **state)
{
    struct held *held = *state;
    struct holding_step step;
    holding_begin(held->holding, &step);
    holding_next(held->holding, &step);
    holding_break(held->holding, "stopped by the team", &step);
    assert_int_equal(step.stage, HOLDING_OVER);
    assert_int_equal(step.said.what, QUESTION_BROKEN);
    assert_string_equal(step.said.text, "stopped by the team");
    holding_break(held->holding, "again", &step);
    assert_false(step.told);
    holding_next(held->holding, &step);
    assert_int_equal(step.stage, HOLDING_OVER);
    assert_false(step.told);
}

static void a_session_over_another_is_refused_until_that_can_be_over(void **state)
{
    (void)state;
    struct error error;
    assert_int_equal(holding_refuse_overlap("q-1", 100 * S, 60, 120 * S, &error), -1);
    assert_error(error, ERROR_USAGE, "session q-1 is being held");
    assert_int_equal(holding_refuse_overlap("q-1", 100 * S, 60, 191 * S, &error), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(
            the_seed_is_bound_before_the_first_window_and_told_after_the_last, set_up, tear_down),
        cmocka_unit_test_setup_teardown(each_window_is_held_as_it_was_drawn, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_rest_says_nothing_of_what_comes, set_up, tear_down),
        cmocka_unit_test_setup_teardown(
            a_session_that_is_broken_off_says_so_once_and_keeps_its_seed, set_up, tear_down),
        cmocka_unit_test(a_session_over_another_is_refused_until_that_can_be_over),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
