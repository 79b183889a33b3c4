/* The live ring: ids, what is replayed after one, and how the night stands, in words.
 * Must never need a server. Run by ctest. */
#include "tests/unit/test.h"

#include "collector/web/live.h"

static const char site_text[] =
    "{\"site\":\"lodge\",\"title\":\"The lodge\",\"mains_hz\":50,\"rooms\":["
    "{\"id\":\"hall\",\"title\":\"Hall\",\"floor\":0,"
    "\"outline_m\":[[0,0],[4,0],[4,4],[0,4]]}],\"doors\":[],\"nodes\":["
    "{\"id\":\"n1\",\"room\":\"hall\",\"position_m\":[2,2,0.8],"
    "\"channels\":[{\"name\":\"motion\",\"unit\":\"/\",\"rate_hz\":0}]}]}";

struct fixture {
    struct site *site;
    struct web_live *live;
    int64_t now_ns;
    int changes;
};

static int64_t now(void *context)
{
    return ((struct fixture *)context)->now_ns;
}

static void changed(void *context)
{
    ((struct fixture *)context)->changes++;
}

static int set_up(void **state)
{
    struct fixture *fixture = calloc(1, sizeof *fixture);
    struct error error = {0};
    if (!fixture) {
        return -1;
    }
    fixture->now_ns = INT64_C(1700000000000000000);
    if (site_parse(site_text, strlen(site_text), "site", &fixture->site, &error) != 0 ||
        web_live_new(fixture->site, now, fixture, &fixture->live, &error) != 0) {
        (void)fprintf(stderr, "%s\n", error.text);
        return -1;
    }
    web_live_listen(fixture->live, changed, fixture);
    *state = fixture;
    return 0;
}

static int tear_down(void **state)
{
    struct fixture *fixture = *state;
    web_live_free(fixture->live);
    site_free(fixture->site);
    free(fixture);
    return 0;
}

static void say(struct fixture *fixture, unsigned count)
{
    char text[32];
    for (unsigned i = 0; i < count; i++) {
        (void)snprintf(text, sizeof text, "line %llu",
                       (unsigned long long)web_live_next(fixture->live));
        web_live_line(fixture->live, fixture->now_ns, "finding", text);
    }
}

static void id_of(uint64_t number, char *id, size_t size)
{
    (void)snprintf(id, size, "1700000000000000000-%llu", (unsigned long long)number);
}

static void a_line_goes_out_once_with_its_id_and_its_words(void **state)
{
    struct fixture *fixture = *state;
    web_live_line(fixture->live, fixture->now_ns, "mark", "a \"door\"\nid: 7 <b>");
    assert_int_equal(fixture->changes, 1);
    assert_int_equal(web_live_next(fixture->live), 2);
    const char *event = web_live_event(fixture->live, 1)->bytes;
    assert_ptr_equal(strstr(event, "id: 1700000000000000000-1\nevent: line\ndata: {"), event);
    assert_non_null(
        strstr(event, "\"head\":\"mark\",\"text\":\"a \\\"door\\\"\\nid: 7 <b>\"}\n\n"));
}

static void who_has_an_id_gets_what_came_after_it(void **state)
{
    struct fixture *fixture = *state;
    char id[64];
    uint64_t number = 0;
    say(fixture, 10);
    id_of(7, id, sizeof id);
    assert_true(web_live_after(fixture->live, id, &number));
    assert_int_equal(number, 8);
    id_of(10, id, sizeof id);
    assert_true(web_live_after(fixture->live, id, &number));
    assert_int_equal(number, 11);
    assert_true(web_live_after(fixture->live, NULL, &number));
    assert_int_equal(number, 1);
}

static void the_ring_is_bounded_and_who_missed_more_begins_again(void **state)
{
    struct fixture *fixture = *state;
    char id[64];
    uint64_t number = 0;
    say(fixture, WEB_LIVE_LINES + 50);
    assert_int_equal(web_live_first(fixture->live), 51);
    assert_non_null(strstr(web_live_event(fixture->live, 51)->bytes, "line 51\""));
    assert_non_null(strstr(web_live_event(fixture->live, WEB_LIVE_LINES + 50)->bytes, "line 450"));
    id_of(49, id, sizeof id);
    assert_false(web_live_after(fixture->live, id, &number));
    assert_int_equal(number, 51);
    id_of(50, id, sizeof id);
    assert_true(web_live_after(fixture->live, id, &number));
    assert_int_equal(number, 51);
}

static void an_id_of_another_night_or_none_at_all_begins_again(void **state)
{
    static const char *const ids[] = {"1600000000000000000-1",
                                      "1700000000000000000-3",
                                      "1700000000000000000-99999999999999999999999999999",
                                      "1700000000000000000-1x",
                                      "1700000000000000000- 1",
                                      "1700000000000000000",
                                      "-",
                                      "what"};
    struct fixture *fixture = *state;
    uint64_t number = 0;
    say(fixture, 2);
    for (size_t i = 0; i < sizeof ids / sizeof *ids; i++) {
        assert_false(web_live_after(fixture->live, ids[i], &number));
        assert_int_equal(number, 1);
    }
}

static void a_long_line_is_cut_between_characters(void **state)
{
    struct fixture *fixture = *state;
    char text[WEB_LIVE_TEXT_MAX + 100];
    memset(text, 'a', sizeof text - 1);
    text[sizeof text - 1] = '\0';
    memcpy(text + WEB_LIVE_TEXT_MAX - 1, "\xc3\xa9", 2);
    web_live_line(fixture->live, fixture->now_ns, "mark", text);
    const struct text *event = web_live_event(fixture->live, 1);
    assert_non_null(strstr(event->bytes, "aaa...\"}\n\n"));
    assert_true(event->length < WEB_LIVE_TEXT_MAX + 200);
}

static void standing(struct fixture *fixture, const char *part)
{
    struct text out = {0};
    assert_int_equal(web_live_standing(fixture->live, &out), 0);
    if (!strstr(out.bytes, part)) {
        fail_msg("\"%s\" is not in: %s", part, out.bytes);
    }
    text_free(&out);
}

static void it_records_only_with_broker_and_disk_and_says_why_not(void **state)
{
    struct fixture *fixture = *state;
    struct error error;
    standing(fixture,
             "\"recording\":false,\"ended\":false,\"why\":\"the broker is not there yet\"");
    web_live_broker(fixture->live, true, "");
    standing(fixture, "\"recording\":true,\"ended\":false,\"why\":\"\"");
    web_live_broker(fixture->live, false, "refused");
    standing(fixture, "\"recording\":false,\"ended\":false,\"why\":\"no broker (refused)\"");
    web_live_broker(fixture->live, true, "");
    (void)error_set(&error, ERROR_IO, "night: full");
    web_live_disk(fixture->live, &error);
    standing(fixture,
             "\"recording\":false,\"ended\":false,\"why\":\"the disk refuses: night: full\"");
    web_live_disk(fixture->live, NULL);
    web_live_end(fixture->live);
    standing(fixture, "\"recording\":false,\"ended\":true");
}

static void a_node_stands_in_words_and_a_change_is_told_once(void **state)
{
    struct fixture *fixture = *state;
    struct message_state message = {.fit = {.known = true, .uncertainty_ns = 300000}};
    standing(fixture, "\"room\":\"Hall\",\"control\":false,\"well\":false,\"heard_s\":null,"
                      "\"words\":\"not heard yet\"");
    web_live_state(fixture->live, 0, &message);
    uint64_t version = web_live_version(fixture->live);
    fixture->now_ns += INT64_C(7000000000);
    standing(fixture, "\"well\":true,\"heard_s\":7,\"words\":\"in time, \u00b1 0.3");
    web_live_state(fixture->live, 0, &message);
    assert_int_equal(web_live_version(fixture->live), version);
    standing(fixture, "\"heard_s\":0");
    web_live_waited_for(fixture->live, 0, false);
    assert_int_not_equal(web_live_version(fixture->live), version);
    standing(fixture, "\"well\":false,\"heard_s\":0,\"words\":\"SILENT");
    message.gone = true;
    web_live_state(fixture->live, 0, &message);
    standing(fixture, "\"words\":\"gone (stopped, or its link is lost); ");
}

static void feed(struct fixture *fixture)
{
    static const int32_t counts[] = {5, -7, 9, 1};
    struct error error;
    struct channel channel;
    const struct block block = {.count = 4,
                                .t0_ns = now(fixture) + 1000000000,
                                .period_ps = INT64_C(100000000000),
                                .counts = counts};
    assert_int_equal(channel_init(&channel, "magnetic.x", "T", 10, &error), 0);
    web_live_blocks(fixture->live, 0, &channel, &block, 1);
}

static void fresh_samples_go_to_who_reads_by_least_and_greatest(void **state)
{
    struct fixture *fixture = *state;
    feed(fixture);
    web_live_flush(fixture->live);
    assert_int_equal(web_live_fresh_next(fixture->live), 1); /* nobody reads */
    web_live_watch(fixture->live, true);
    feed(fixture);
    web_live_flush(fixture->live);
    web_live_flush(fixture->live); /* nothing came since */
    assert_int_equal(web_live_fresh_next(fixture->live), 2);
    assert_non_null(strstr(web_live_fresh_event(fixture->live, 1)->bytes,
                           "[\"n1/magnetic.x\",1000000000,1300000000,5,5,-7,-7,9,9,1,1]"));
}

static void fresh_samples_are_kept_for_a_few_seconds_only(void **state)
{
    struct fixture *fixture = *state;
    web_live_watch(fixture->live, true);
    for (unsigned i = 0; i < 3 * WEB_LIVE_FRESH; i++) {
        feed(fixture);
        web_live_flush(fixture->live);
    }
    assert_int_equal(web_live_fresh_next(fixture->live) - web_live_fresh_first(fixture->live),
                     WEB_LIVE_FRESH);
    for (unsigned i = 0; i < 5000; i++) {
        feed(fixture); /* nobody flushes: it is bounded, and says that something is missing */
    }
    web_live_flush(fixture->live);
    const struct text *event =
        web_live_fresh_event(fixture->live, web_live_fresh_next(fixture->live) - 1);
    assert_true(event->length < 100000);
    assert_non_null(strstr(event->bytes, "\"missed\":true"));
}

static void disturb(struct fixture *fixture, int64_t onset_ns, int64_t end_ns)
{
    struct disturbance disturbance = {.node = 0, .quantity_text = "magnetic", .peak_score = 7.5};
    disturbance.onset_ns = now(fixture) + onset_ns;
    disturbance.end_ns = end_ns ? now(fixture) + end_ns : 0;
    web_live_disturbed(fixture->live, &disturbance);
}

static void who_comes_is_told_what_is_disturbed_now_and_that_it_ended(void **state)
{
    struct fixture *fixture = *state;
    standing(fixture, "\"disturbed\":[]");
    disturb(fixture, 5000000, 0); /* nobody reads */
    standing(fixture, "\"disturbed\":[[\"n1\",\"magnetic\",5000000,false,7.5]]");
    disturb(fixture, 6000000, 0);
    standing(fixture, "\"disturbed\":[[\"n1\",\"magnetic\",6000000,false,7.5]]");
    disturb(fixture, 6000000, 9000000);
    standing(fixture, "\"disturbed\":[]");
    for (int i = 0; i < 1000; i++) { /* it is bounded */
        struct disturbance other = {.node = 0};
        (void)snprintf(other.quantity_text, sizeof other.quantity_text, "other%d", i);
        web_live_disturbed(fixture->live, &other);
    }
    standing(fixture, "\"other63\"");
}

static void without_a_page_nothing_is_told(void **state)
{
    (void)state;
    web_live_line(NULL, 0, "mark", "text");
    web_live_hello(NULL, 0);
    web_live_state(NULL, 0, NULL);
    web_live_noticed(NULL, 0);
    web_live_waited_for(NULL, 0, true);
    web_live_disk(NULL, NULL);
    web_live_broker(NULL, true, "");
    web_live_end(NULL);
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(a_line_goes_out_once_with_its_id_and_its_words),
        TEST(who_has_an_id_gets_what_came_after_it),
        TEST(the_ring_is_bounded_and_who_missed_more_begins_again),
        TEST(an_id_of_another_night_or_none_at_all_begins_again),
        TEST(a_long_line_is_cut_between_characters),
        TEST(it_records_only_with_broker_and_disk_and_says_why_not),
        TEST(a_node_stands_in_words_and_a_change_is_told_once),
        TEST(fresh_samples_go_to_who_reads_by_least_and_greatest),
        TEST(fresh_samples_are_kept_for_a_few_seconds_only),
        TEST(who_comes_is_told_what_is_disturbed_now_and_that_it_ended),
        cmocka_unit_test(without_a_page_nothing_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
