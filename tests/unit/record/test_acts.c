/* The acts on a loop, over a night that is being written: what is refused and in which words, what
 * every page is told, what the night hears. Must never need a server. Run by ctest. */
#include "tests/unit/night/fixture.h"

#include "collector/record/acts.h"

#define DEADLINE_MS 20000u
#define PLAN(more)                                                                                 \
    "{\"title\":\"first\",\"channels\":[\"magnetic\"],\"ask_s\":0.1,\"window_s\":0.1,"             \
    "\"rest_s\":0.1,\"expect_response\":0.5,\"expect_by_chance\":0.1," more                        \
    "\"questions\":[{\"text\":\"who\"}]}"

struct rig {
    struct fixture *fixture;
    uv_loop_t loop;
    struct night_writer *writer;
    struct web_live *live;
    struct acts *acts;
    int64_t ahead_ns; /* of the loop's clock */
    size_t learning;
    int orders;
    bool refuses;
    int heard[QUESTION_WHAT_COUNT];
    struct text event;
};

static int64_t now(void *context)
{
    struct rig *rig = context;
    return FIXTURE_START_NS + rig->ahead_ns + (int64_t)uv_now(&rig->loop) * 1000000;
}

static int take_quiet(void *context, const struct message_baseline *order, struct error *error)
{
    struct rig *rig = context;
    if (rig->refuses) {
        return error_set(error, ERROR_USAGE, "a quiet spell began 3 s ago");
    }
    rig->orders++;
    const struct quiet_order taken = {
        .from_ns = now(rig), .end = order->end, .length_ns = order->length_ns};
    acts_take_quiet(rig->acts, &taken);
    return 0;
}

static int take_question(void *context, const struct message_question *said, struct error *error)
{
    struct rig *rig = context;
    const struct question_step step = {.time_ns = now(rig), .said = *said};
    if (rig->refuses) {
        return error_set(error, ERROR_IO, "the disk is full");
    }
    rig->heard[said->what]++;
    acts_take_question(rig->acts, &step);
    return 0;
}

static size_t learning(void *context)
{
    return ((struct rig *)context)->learning;
}

static int set_up(void **state)
{
    struct rig *rig = calloc(1, sizeof *rig);
    struct error error;
    void *fixture = NULL;
    assert_non_null(rig);
    (void)fixture_setup(&fixture);
    rig->fixture = fixture;
    struct night_settings night = fixture_settings(rig->fixture);
    rig->writer = fixture_open(&night, NULL, NULL);
    fixture_check(night_put_analysis(rig->writer, 1, rig->fixture->site, "live", &error), &error);
    fixture_flush(rig->writer);
    assert_int_equal(uv_loop_init(&rig->loop), 0);
    fixture_check(web_live_new(rig->fixture->site, now, rig, &rig->live, &error), &error);
    const struct acts_settings settings = {.loop = &rig->loop,
                                           .site = rig->fixture->site,
                                           .night_path = rig->fixture->night,
                                           .live = rig->live,
                                           .context = rig,
                                           .now_ns = now,
                                           .quiet = take_quiet,
                                           .question = take_question,
                                           .learning = learning};
    fixture_check(acts_new(&settings, &rig->acts, &error), &error);
    *state = rig;
    return 0;
}

static int tear_down(void **state)
{
    struct rig *rig = *state;
    void *fixture = rig->fixture;
    acts_stop(rig->acts);
    acts_close(rig->acts);
    (void)uv_run(&rig->loop, UV_RUN_DEFAULT);
    acts_free(rig->acts);
    web_live_free(rig->live);
    assert_int_equal(uv_loop_close(&rig->loop), 0);
    fixture_close(rig->writer, 600);
    text_free(&rig->event);
    free(rig);
    return fixture_teardown(&fixture);
}

static const char *told(struct rig *rig)
{
    text_clear(&rig->event);
    web_live_acts_event(rig->live, &rig->event);
    return rig->event.bytes;
}

static void until_told(struct rig *rig, const char *part)
{
    uv_update_time(&rig->loop);
    uint64_t end_ms = uv_now(&rig->loop) + DEADLINE_MS;
    while (!strstr(told(rig), part)) {
        (void)uv_run(&rig->loop, UV_RUN_ONCE);
        if (uv_now(&rig->loop) > end_ms) {
            fail_msg("waited in vain for %s: %s", part, told(rig));
        }
    }
}

static int ask_for(struct rig *rig, const struct web_act *asked, struct text *said,
                   struct error *error)
{
    uv_update_time(&rig->loop);
    return acts_do(rig->acts, asked, said, error);
}

static void refused(struct rig *rig, const struct web_act *asked, const char *why)
{
    struct text said = {0};
    struct error error = {0};
    assert_int_equal(ask_for(rig, asked, &said, &error), -1);
    if (!strstr(error.text, why)) {
        fail_msg("%s is not in: %s", why, error.text);
    }
    text_free(&said);
}

static void taken(struct rig *rig, const struct web_act *asked, const char *words)
{
    struct text said = {0};
    struct error error;
    fixture_check(ask_for(rig, asked, &said, &error), &error);
    if (!strstr(said.bytes, words)) {
        fail_msg("%s is not in: %s", words, said.bytes);
    }
    text_free(&said);
}

static struct web_act ask_act(enum web_act_what what, const char *plan)
{
    union {
        const char *constant;
        char *pointer;
    } text = {.constant = plan};
    return (struct web_act){.kind = WEB_ACT_ASK, .what = what, .plan = text.pointer};
}

static const struct web_act walk = {.kind = WEB_ACT_WALK,
                                    .what = WEB_ACT_BEGIN,
                                    .quiet_s = 30,
                                    .limit_s = 300,
                                    .room_count = 2,
                                    .rooms = {"hall", "kitchen"}};

static void nothing_is_shown_of_a_night_in_which_nothing_was_begun(void **state)
{
    struct rig *rig = *state;
    assert_string_equal(told(rig), "event: acts\ndata: {\"preflight\":null,\"walk\":null,"
                                   "\"quiet\":null,\"ask\":null}\n\n");
}

static void a_preflight_is_told_until_its_verdict(void **state)
{
    struct rig *rig = *state;
    const struct web_act begin = {
        .kind = WEB_ACT_PREFLIGHT, .what = WEB_ACT_BEGIN, .hours = 8, .wait_s = 1, .look_s = 10};
    taken(rig, &begin, "Waiting for 2 nodes");
    refused(rig, &begin, "a preflight is under way");
    until_told(rig, "\"state\":\"over\"");
    assert_non_null(strstr(told(rig), "\"go\":false"));
    assert_non_null(strstr(told(rig), "not heard: nothing has come from it"));
    taken(rig, &begin, "Waiting"); /* another one */
}

static void a_walk_is_refused_in_the_commands_words_or_asks_for_its_quiet(void **state)
{
    struct rig *rig = *state;
    struct web_act bad = walk;
    bad.room_count = 0;
    refused(rig, &bad, "a walk has two rooms at least");
    bad = walk;
    (void)snprintf(bad.rooms[1], sizeof bad.rooms[1], "attic");
    refused(rig, &bad, "\"attic\" is no room of the site file");
    rig->refuses = true;
    refused(rig, &walk, "a quiet spell began");
    assert_non_null(strstr(told(rig), "\"walk\":null"));
    rig->refuses = false;
    taken(rig, &walk, "Stand still for 30 s");
    assert_int_equal(rig->orders, 1);
    refused(rig, &walk, "a walk test is under way");
    const struct web_act session = ask_act(WEB_ACT_BEGIN, PLAN(""));
    refused(rig, &session, "a walk test is under way"); /* its quiet would fall into the windows */
    assert_int_equal(rig->heard[QUESTION_PLAN], 0);
    const struct web_act leave = {.kind = WEB_ACT_WALK, .what = WEB_ACT_END};
    taken(rig, &leave, "left off");
    until_told(rig, "\"state\":\"left\"");
}

static void a_quiet_spell_is_followed_to_what_it_taught(void **state)
{
    struct rig *rig = *state;
    const struct web_act begin = {.kind = WEB_ACT_QUIET, .what = WEB_ACT_BEGIN, .for_s = 20};
    rig->refuses = true;
    refused(rig, &begin, "a quiet spell began 3 s ago");
    rig->refuses = false;
    rig->learning = 3;
    taken(rig, &begin, "A quiet spell has begun");
    until_told(rig, "\"quiet\":{\"state\":\"running\"");
    rig->ahead_ns = 35 * NS_PER_S; /* beyond its end and what may be late */
    until_told(rig, "\"longer\":true");
    rig->learning = 0;
    until_told(rig, "The quiet spell taught");
    assert_non_null(strstr(told(rig), "\"quiet\":{\"state\":\"over\""));
}

static void a_spell_until_the_end_goes_on_until_it_is_ended(void **state)
{
    struct rig *rig = *state;
    const struct web_act begin = {.kind = WEB_ACT_QUIET, .what = WEB_ACT_BEGIN};
    const struct web_act end = {.kind = WEB_ACT_QUIET, .what = WEB_ACT_END};
    taken(rig, &begin, "until you end it");
    rig->ahead_ns = 3600 * NS_PER_S;
    until_told(rig, "until you end it");
    assert_non_null(strstr(told(rig), "\"quiet\":{\"state\":\"running\""));
    taken(rig, &end, "over");
    until_told(rig, "\"quiet\":{\"state\":\"over\"");
}

static void a_bad_plan_is_refused_and_a_good_one_says_what_it_can_find(void **state)
{
    struct rig *rig = *state;
    struct web_act act = ask_act(WEB_ACT_BEGIN, PLAN("\"controls\":0,"));
    refused(rig, &act, "as many windows in which nobody asks");
    act = ask_act(WEB_ACT_BEGIN, NULL);
    refused(rig, &act, "plan");
    act = ask_act(WEB_ACT_BEGIN, PLAN("\"nodes\":[\"n9\"],"));
    refused(rig, &act, "no node \"n9\"");
    rig->learning = 2;
    act = ask_act(WEB_ACT_CHECK, PLAN(""));
    taken(rig, &act, "NOTE: 2 quantities are still learning");
    assert_int_equal(rig->heard[QUESTION_PLAN], 0);
    assert_non_null(strstr(told(rig), "\"ask\":null"));
}

static void a_session_is_held_to_its_end_and_none_over_it(void **state)
{
    struct rig *rig = *state;
    const struct web_act begin = ask_act(WEB_ACT_BEGIN, PLAN(""));
    const struct web_act quiet = {.kind = WEB_ACT_QUIET, .what = WEB_ACT_BEGIN, .for_s = 20};
    taken(rig, &begin, "in an order that nobody knows");
    assert_int_equal(rig->heard[QUESTION_PLAN], 1);
    refused(rig, &begin, "is being held");
    refused(rig, &walk, "is being held");
    refused(rig, &quiet, "is being held");
    assert_non_null(strstr(told(rig), "\"stage\":\"rest\""));
    assert_null(strstr(told(rig), "who"));
    until_told(rig, "\"stage\":\"listen\"");
    until_told(rig, "\"ask\":{\"state\":\"over\"");
    assert_int_equal(rig->heard[QUESTION_ASKED], 1);
    assert_int_equal(rig->heard[QUESTION_SILENT], 1);
    assert_int_equal(rig->heard[QUESTION_END], 1);
    assert_non_null(strstr(told(rig), "\"counting\":true"));
    rig->ahead_ns = 60 * NS_PER_S;
    until_told(rig, "\"counting\":false");
    taken(rig, &begin, "in an order");
}

static void a_session_that_is_broken_off_or_can_not_be_told_counts_as_broken(void **state)
{
    struct rig *rig = *state;
    const struct web_act begin = ask_act(WEB_ACT_BEGIN, PLAN(""));
    const struct web_act end = ask_act(WEB_ACT_END, NULL);
    refused(rig, &end, "no question session is being held");
    taken(rig, &begin, "in an order");
    taken(rig, &end, "counts as a session that was tried");
    assert_int_equal(rig->heard[QUESTION_BROKEN], 1);
    assert_non_null(strstr(told(rig), "Broken off: stopped by the team"));
    taken(rig, &begin, "in an order");
    rig->refuses = true;
    until_told(rig, "\"state\":\"left\"");
    assert_non_null(strstr(told(rig), "the disk is full"));
    rig->refuses = false;
}

static void the_nights_end_breaks_a_session_off(void **state)
{
    struct rig *rig = *state;
    const struct web_act begin = ask_act(WEB_ACT_BEGIN, PLAN(""));
    taken(rig, &begin, "in an order");
    acts_stop(rig->acts);
    assert_int_equal(rig->heard[QUESTION_BROKEN], 1);
    refused(rig, &begin, "nothing is being recorded any more");
}

static void a_session_from_the_terminal_is_seen_and_not_crossed(void **state)
{
    struct rig *rig = *state;
    struct web_act begin = ask_act(WEB_ACT_BEGIN, PLAN(""));
    char plan[1024];
    struct question_step step = {.time_ns = now(rig), .said = {.what = QUESTION_PLAN}};
    (void)snprintf(step.said.session, sizeof step.said.session, "q-7");
    (void)snprintf(plan, sizeof plan, "%064d %s", 0, PLAN(""));
    step.said.text = plan;
    acts_take_question(rig->acts, &step);
    refused(rig, &begin, "session q-7 is being held");
    until_told(rig, "Session q-7 is held from the base station's terminal");
    step.said.what = QUESTION_BROKEN;
    acts_take_question(rig->acts, &step);
    taken(rig, &begin, "in an order");
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(nothing_is_shown_of_a_night_in_which_nothing_was_begun),
        TEST(a_preflight_is_told_until_its_verdict),
        TEST(a_walk_is_refused_in_the_commands_words_or_asks_for_its_quiet),
        TEST(a_quiet_spell_is_followed_to_what_it_taught),
        TEST(a_spell_until_the_end_goes_on_until_it_is_ended),
        TEST(a_bad_plan_is_refused_and_a_good_one_says_what_it_can_find),
        TEST(a_session_is_held_to_its_end_and_none_over_it),
        TEST(a_session_that_is_broken_off_or_can_not_be_told_counts_as_broken),
        TEST(the_nights_end_breaks_a_session_off),
        TEST(a_session_from_the_terminal_is_seen_and_not_crossed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
