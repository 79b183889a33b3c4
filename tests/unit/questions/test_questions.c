/* Plans, drawings and scores of question sessions. Promises in the names. */
#include "tests/unit/test.h"

#include "collector/questions/answers.h"
#include "collector/questions/draw.h"
#include "collector/questions/plan.h"
#include "collector/questions/score.h"

#define S INT64_C(1000000000)

static const char good[] =
    "{\"title\":\"first\",\"channels\":[\"electric\",\"magnetic\"],\"nodes\":[\"n1\"],"
    "\"window_s\":20,\"expect_response\":0.5,\"expect_by_chance\":0.1,"
    "\"questions\":[{\"text\":\"a\"},{\"text\":\"b\",\"pattern\":2},"
    "{\"text\":\"c\",\"answer\":\"yes\"},{\"text\":\"d\",\"answer\":\"no\"}]}";

static struct question_plan *plan_of(const char *text)
{
    struct question_plan *plan = NULL;
    struct error error;
    if (plan_parse(text, strlen(text), "plan", &plan, &error) != 0) {
        fail_msg("%s", error.text);
    }
    return plan;
}

static void refused(const char *text, enum error_code code, const char *part)
{
    struct question_plan *plan = NULL;
    struct error error;
    assert_int_equal(plan_parse(text, strlen(text), "plan", &plan, &error), -1);
    assert_error(error, code, part);
}

static void a_plan_is_read_with_its_defaults(void **state)
{
    (void)state;
    struct question_plan *plan = plan_of(good);
    assert_int_equal(plan->question_count, 4);
    assert_int_equal(plan->quantity_count, 2);
    assert_string_equal(plan->nodes[0], "n1");
    assert_int_equal(plan->questions[1].pattern, 2);
    assert_int_equal(plan->questions[3].answer, PLAN_ANSWER_NO);
    assert_close(plan->alpha, 0.05, 0);
    assert_close(plan->ask_s, 8, 0);
    free(plan);
}

static void wrong_plans_are_refused_by_the_field_at_fault(void **state)
{
    (void)state;
    refused("{\"title\":\"x\"}", ERROR_FORMAT, "channels");
    refused("{\"title\":\"x\",\"channels\":[\"electric\"],\"window_s\":20,\"expect_response\":0.5,"
            "\"expect_by_chance\":0.1,\"controls\":0,\"questions\":[{\"text\":\"a\"}]}",
            ERROR_USAGE, "in which nobody asks");
    refused("{\"title\":\"x\",\"channels\":[\"electric\"],\"window_s\":20,\"expect_response\":0.5,"
            "\"expect_by_chance\":0.1,\"questions\":[]}",
            ERROR_RANGE, "questions");
    refused("{\"title\":\"x\",\"channels\":[\"electric\"],\"window_s\":20,\"expect_response\":0.5,"
            "\"expect_by_chance\":0.1,\"questions\":[{\"text\":\"a\",\"answer\":\"maybe\"}]}",
            ERROR_FORMAT, "questions[0].answer");
    refused("{\"title\":\"x\",\"colour\":1}", ERROR_FORMAT, "colour");
}

static void a_plan_that_the_site_cannot_answer_is_refused(void **state)
{
    (void)state;
    struct error error;
    struct site_node nodes[] = {
        {.id = "n1", .channel_count = 2, .channels = {{.name = "electric"}, {.name = "motion"}}},
        {.id = "n2", .channel_count = 1, .channels = {{.name = "magnetic.x"}}}};
    const struct site site = {.node_count = 2, .nodes = nodes};
    struct question_plan *plan = plan_of(good);
    assert_int_equal(plan_check_site(plan, &site, &error), -1); /* n1 alone counts */
    assert_error(error, ERROR_USAGE, "channels[1]: none of the nodes that count has \"magnetic\"");
    plan->node_count = 0;
    assert_int_equal(plan_check_site(plan, &site, &error), 0);
    plan->node_count = 1;
    snprintf(plan->nodes[0], sizeof plan->nodes[0], "attic");
    assert_int_equal(plan_check_site(plan, &site, &error), -1);
    assert_error(error, ERROR_USAGE, "no node \"attic\"");
    free(plan);
}

static void a_drawing_is_the_same_for_the_same_seed_and_holds_each_question_twice(void **state)
{
    (void)state;
    struct question_plan *plan = plan_of(good);
    struct draw_window one[DRAW_WINDOWS_MAX];
    struct draw_window two[DRAW_WINDOWS_MAX];
    const uint8_t seed[DRAW_SEED_SIZE] = {1, 2, 3};
    const uint8_t other[DRAW_SEED_SIZE] = {1, 2, 4};
    draw_windows(seed, plan, one);
    draw_windows(seed, plan, two);
    assert_memory_equal(one, two, 8 * sizeof *one);
    for (size_t q = 0; q < 4; q++) {
        int asked = 0;
        int silent = 0;
        for (size_t i = 0; i < 8; i++) {
            asked += one[i].question == q && one[i].asked;
            silent += one[i].question == q && !one[i].asked;
            assert_true(one[i].rest_s >= plan->rest_s && one[i].rest_s < 2 * plan->rest_s);
        }
        assert_int_equal(asked, 1);
        assert_int_equal(silent, 1);
    }
    uint8_t bound[DRAW_SEED_SIZE];
    uint8_t bound_other[DRAW_SEED_SIZE];
    draw_bind(seed, good, strlen(good), bound);
    draw_bind(other, good, strlen(good), bound_other);
    assert_memory_not_equal(bound, bound_other, DRAW_SEED_SIZE);
    draw_bind(seed, good, strlen(good) - 1, bound_other);
    assert_memory_not_equal(bound, bound_other, DRAW_SEED_SIZE);
    char hex[DRAW_HEX_SIZE];
    uint8_t back[DRAW_SEED_SIZE];
    draw_hex(seed, hex);
    assert_int_equal(draw_from_hex(hex, back), 0);
    assert_memory_equal(seed, back, DRAW_SEED_SIZE);
    assert_int_equal(draw_from_hex("12", back), -1);
    free(plan);
}

/* Over many seeds each place is asked in as often: 4000 drawings, 5 sigma of a binomial share. */
static void every_window_is_asked_in_as_often_as_not(void **state)
{
    (void)state;
    struct question_plan *plan = plan_of(good);
    struct draw_window windows[DRAW_WINDOWS_MAX];
    int asked[8] = {0};
    for (uint32_t n = 0; n < 4000; n++) {
        uint8_t seed[DRAW_SEED_SIZE] = {0};
        memcpy(seed, &n, sizeof n);
        draw_windows(seed, plan, windows);
        for (size_t i = 0; i < 8; i++) {
            asked[i] += windows[i].asked;
        }
    }
    for (size_t i = 0; i < 8; i++) {
        assert_close(asked[i], 2000, 5 * sqrt(4000 * 0.25));
    }
    free(plan);
}

static void responses_near_each_other_are_one_and_patterns_want_their_number(void **state)
{
    (void)state;
    const struct score_onset onsets[] = {
        {10 * S, false, 0}, {10 * S + 100, false, 1}, {12 * S, true, 0}, {30 * S, false, 0}};
    assert_int_equal(score_count(onsets, 4, 10 * S, 30 * S, SCORE_ALL, SCORE_ANY_QUANTITY), 2);
    assert_int_equal(
        score_count(onsets, 4, 10 * S, 30 * S, SCORE_WITHOUT_ORDINARY, SCORE_ANY_QUANTITY), 1);
    assert_int_equal(score_count(onsets, 4, 10 * S, 31 * S, SCORE_ALL, 1), 1);
    const struct plan_question twice = {.pattern = 2};
    const struct plan_question any = {.pattern = 0};
    assert_true(score_fits(&twice, 2));
    assert_false(score_fits(&twice, 3));
    assert_true(score_fits(&any, 3));
    assert_false(score_fits(&any, 0));
}

static void a_session_is_put_into_its_tables(void **state)
{
    (void)state;
    struct question_plan *plan = plan_of(good);
    struct score_window windows[8];
    for (size_t i = 0; i < 8; i++) {
        windows[i] = (struct score_window){i % 2 == 0, i / 2, (int64_t)i * 100 * S,
                                           (int64_t)i * 100 * S + 20 * S};
    }
    const struct score_onset onsets[] = {{5 * S, false, 0},   /* question 0, asked */
                                         {105 * S, true, 0},  /* question 0, silent */
                                         {205 * S, false, 1}, /* question 1 wants two: */
                                         {210 * S, false, 1},
                                         {405 * S, false, 0},  /* question 2, yes: right */
                                         {750 * S, false, 0}}; /* outside */
    struct score score;
    score_session(plan, windows, 8, onsets, 6, SCORE_ALL, SCORE_ANY_QUANTITY, &score);
    assert_int_equal(score.hits.asked_hits, 3);
    assert_int_equal(score.hits.silent_hits, 1);
    assert_int_equal(score.answers, 2);
    assert_int_equal(score.right, 2);
    assert_int_equal(score.control_right, 1); /* silence is right for "no" alone */
    assert_close(score.p_value, 17.0 / 70.0, 1e-12);
    score_session(plan, windows, 8, onsets, 6, SCORE_WITHOUT_ORDINARY, SCORE_ANY_QUANTITY, &score);
    assert_int_equal(score.hits.silent_hits, 0);
    struct score_background rest = score_background(plan, 0, windows, 8, onsets, 6, 0, 800 * S);
    assert_int_equal(rest.windows, 40 - 8);
    assert_int_equal(rest.hits, 1);
    free(plan);
}

static void the_outcome_is_told_with_the_number_of_sessions_tried(void **state)
{
    (void)state;
    struct question_plan *plan = plan_of(good);
    struct answers answers = {.plan = plan,
                              .session = "q1",
                              .nth = 2,
                              .sessions = 3,
                              .seed_holds = true,
                              .drawn_holds = true};
    answers.without_ordinary.p_value = 0.03;
    answers.patterns[1] = (struct answers_pattern){true, 2, {40, 1}};
    struct text text = {0};
    answers_write(&answers, &text);
    assert_non_null(strstr(text.bytes, "no more came after questions than chance gives"));
    assert_non_null(strstr(text.bytes, "Sessions tried in this night: 3, this is number 2"));
    assert_non_null(strstr(text.bytes, "\"b\": asked for exactly 2, 2 came: as asked."));
    assert_non_null(strstr(text.bytes, "gives\n  exactly 2 in 1 of 40 such windows"));
    answers.sessions = 1;
    answers.patterns[1] = (struct answers_pattern){true, 3, {0, 0}};
    text_clear(&text);
    answers_write(&answers, &text);
    assert_non_null(strstr(text.bytes, "more often after questions"));
    assert_non_null(strstr(text.bytes, "exactly 2, 3 came: not that. The night has no other"));
    answers.broken = "the team had to leave";
    text_clear(&text);
    answers_write(&answers, &text);
    assert_non_null(strstr(text.bytes, "nothing can be claimed"));
    text_free(&text);
    free(plan);
    assert_close(answers_corrected_p(0.03, 3), 1 - 0.97 * 0.97 * 0.97, 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_plan_is_read_with_its_defaults),
        cmocka_unit_test(wrong_plans_are_refused_by_the_field_at_fault),
        cmocka_unit_test(a_plan_that_the_site_cannot_answer_is_refused),
        cmocka_unit_test(a_drawing_is_the_same_for_the_same_seed_and_holds_each_question_twice),
        cmocka_unit_test(every_window_is_asked_in_as_often_as_not),
        cmocka_unit_test(responses_near_each_other_are_one_and_patterns_want_their_number),
        cmocka_unit_test(a_session_is_put_into_its_tables),
        cmocka_unit_test(the_outcome_is_told_with_the_number_of_sessions_tried),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
