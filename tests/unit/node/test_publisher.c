/* Promises of the publisher: in order, a bounded number out, again until stored, nothing before the
 * clock is known. Must never need a broker: the link is a list. */
#include "tests/unit/test.h"

#include <dirent.h>
#include <fcntl.h>
#include <unistd.h>

#include "common/clock.h"
#include "common/wire.h"
#include "node/publisher.h"

#define BOOT UINT64_C(0xabc)
#define SENT_MAX 4096

struct sent {
    char topic[64];
    uint64_t boot, seq, oldest;
    bool fit_known;
    int qos;
    bool retain;
    char text[256];
};

struct rig {
    char folder[256];
    struct spool *spool;
    struct publisher *publisher;
    struct wire_arena arena;
    struct sent sent[SENT_MAX];
    int count;
    int subscriptions;
    bool broken;
    int64_t now_ns;
};

static struct rig rig;

static int publish(void *context, const char *topic, const void *payload, size_t length, int qos,
                   bool retain, struct error *error)
{
    struct rig *to = context;
    if (to->broken) {
        return error_set(error, ERROR_NETWORK, "broken on purpose");
    }
    assert_true(to->count < SENT_MAX);
    struct sent *sent = &to->sent[to->count++];
    memset(sent, 0, sizeof *sent);
    snprintf(sent->topic, sizeof sent->topic, "%s", topic);
    sent->qos = qos;
    sent->retain = retain;
    if (strstr(topic, "/blocks")) {
        struct frame frame;
        struct error why;
        if (wire_decode(payload, length, &to->arena, &frame, &why)) {
            fail_msg("%s", why.text);
        }
        sent->boot = frame.boot;
        sent->seq = frame.seq;
        sent->oldest = frame.oldest_seq;
        sent->fit_known = frame.fit.known;
    } else {
        snprintf(sent->text, sizeof sent->text, "%.*s", (int)length, (const char *)payload);
    }
    return 0;
}

static int subscribe(void *context, const char *filter, int qos, struct error *error)
{
    (void)error;
    assert_string_equal(filter, "roomwake/lodge/n1/stored");
    assert_int_equal(qos, 1);
    ((struct rig *)context)->subscriptions++;
    return 0;
}

static void append(uint64_t boot, uint64_t seq)
{
    uint8_t bytes[512];
    size_t length;
    struct frame frame;
    memset(&frame, 0, sizeof frame);
    frame.boot = boot;
    frame.seq = seq;
    frame.oldest_seq = 1;
    frame.until_node_ns = (int64_t)seq * NS_PER_S;
    assert_int_equal(wire_encode(&frame, bytes, sizeof bytes, &length, NULL), 0);
    spool_append(rig.spool, boot, seq, bytes, length);
}

static void append_many(uint64_t boot, uint64_t from, uint64_t to)
{
    for (uint64_t seq = from; seq <= to; seq++) {
        append(boot, seq);
    }
}

static void store(uint64_t boot, uint64_t seq)
{
    struct text text = {0};
    struct message_stored stored = {.boot = boot, .seq = seq};
    assert_int_equal(message_stored_write(&stored, &text), 0);
    publisher_message(rig.publisher, "roomwake/lodge/n1/stored", (const uint8_t *)text.bytes,
                      text.length, rig.now_ns);
    text_free(&text);
}

static void learn_clock(void)
{
    struct clock_fit fit = {.known = true, .ref_node_ns = 1, .offset_ns = 5, .uncertainty_ns = 9};
    publisher_set_fit(rig.publisher, &fit, rig.now_ns);
}

static void open_rig(uint64_t boot)
{
    struct message_hello hello;
    memset(&hello, 0, sizeof hello);
    hello.boot = boot;
    snprintf(hello.software, sizeof hello.software, "0.1.0");
    hello.channel_count = 1;
    assert_int_equal(channel_init(&hello.channels[0], "motion", NULL, 0, NULL), 0);
    assert_int_equal(spool_open(rig.folder, 1 << 20, &rig.spool, NULL), 0);
    struct publisher_setup setup = {.site = "lodge",
                                    .node = "n1",
                                    .hello = &hello,
                                    .spool = rig.spool,
                                    .link = {&rig, publish, subscribe}};
    assert_int_equal(publisher_new(&setup, &rig.publisher, NULL), 0);
    struct text text = {0};
    assert_int_equal(message_hello_write(&hello, &text), 0);
    assert_int_equal(spool_keep_hello(rig.spool, boot, text.bytes, text.length, NULL), 0);
    text_free(&text);
}

static void close_rig(void)
{
    publisher_free(rig.publisher);
    spool_close(rig.spool);
}

static int set_up(void **state)
{
    (void)state;
    memset(&rig, 0, sizeof rig);
    const char *root = getenv("TMPDIR");
    snprintf(rig.folder, sizeof rig.folder, "%s/publisher-XXXXXX", root ? root : "/tmp");
    if (!mkdtemp(rig.folder)) {
        return -1;
    }
    rig.now_ns = 1000 * NS_PER_S;
    open_rig(BOOT);
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    close_rig();
    wire_arena_free(&rig.arena);
    DIR *dir = opendir(rig.folder);
    const struct dirent *entry;
    while ((entry = readdir(dir)) != NULL) {
        unlinkat(dirfd(dir), entry->d_name, 0);
    }
    closedir(dir);
    return rmdir(rig.folder);
}

/* Only the frames among what was sent from `from` on must be `boot`, seq `first` and on. */
static int expect_frames(int from, uint64_t boot, uint64_t first)
{
    int frames = 0;
    for (int i = from; i < rig.count; i++) {
        if (strstr(rig.sent[i].topic, "/blocks")) {
            assert_int_equal(rig.sent[i].boot, boot);
            assert_int_equal(rig.sent[i].seq, first + (uint64_t)frames);
            assert_int_equal(rig.sent[i].qos, 1);
            assert_false(rig.sent[i].retain);
            frames++;
        }
    }
    return frames;
}

static void each_connect_says_hello_and_subscribes_before_the_frames(void **state)
{
    (void)state;
    learn_clock();
    append_many(BOOT, 1, 3);
    publisher_pump(rig.publisher, rig.now_ns);
    assert_int_equal(rig.count, 0); /* nothing leaves offline */
    for (int round = 1; round <= 2; round++) {
        int from = rig.count;
        publisher_up(rig.publisher, rig.now_ns);
        assert_string_equal(rig.sent[from].topic, "roomwake/lodge/n1/hello");
        assert_true(rig.sent[from].retain);
        assert_non_null(strstr(rig.sent[from].text, "\"0000000000000abc\""));
        assert_int_equal(rig.subscriptions, round);
        assert_int_equal(expect_frames(from, BOOT, 1), 3);
        publisher_down(rig.publisher);
        assert_int_equal(publisher_state(rig.publisher), PUBLISHER_OFFLINE);
    }
}

static void frames_wait_for_the_first_clock_fit_and_then_carry_it(void **state)
{
    (void)state;
    publisher_up(rig.publisher, rig.now_ns);
    append_many(BOOT, 1, 5);
    publisher_pump(rig.publisher, rig.now_ns);
    assert_int_equal(expect_frames(0, BOOT, 1), 0);
    assert_int_equal(publisher_state(rig.publisher), PUBLISHER_WAITING);
    learn_clock();
    assert_int_equal(expect_frames(0, BOOT, 1), 5);
    for (int i = 1; i < rig.count; i++) {
        assert_true(rig.sent[i].fit_known);
        assert_int_equal(rig.sent[i].oldest, 1);
    }
}

static void no_more_than_the_window_is_out(void **state)
{
    (void)state;
    learn_clock();
    publisher_up(rig.publisher, rig.now_ns);
    append_many(BOOT, 1, 200);
    publisher_pump(rig.publisher, rig.now_ns);
    assert_int_equal(expect_frames(0, BOOT, 1), PUBLISHER_WINDOW);
    store(BOOT, 10);
    assert_int_equal(expect_frames(0, BOOT, 1), PUBLISHER_WINDOW + 10);
    assert_int_equal(rig.sent[rig.count - 1].oldest, 11);
    for (uint64_t seq = 20; seq <= 200; seq += 10) {
        store(BOOT, seq);
    }
    assert_int_equal(expect_frames(0, BOOT, 1), 200); /* each once, in order */
    assert_int_equal(spool_first(rig.spool), spool_end(rig.spool));
}

static void without_a_word_from_the_collector_it_begins_again_after_five_seconds(void **state)
{
    (void)state;
    learn_clock();
    publisher_up(rig.publisher, rig.now_ns);
    append_many(BOOT, 1, 100);
    publisher_pump(rig.publisher, rig.now_ns);
    store(BOOT, 3);
    int from = rig.count;
    for (int i = 0; i < 49; i++) {
        rig.now_ns += NS_PER_S / 10;
        publisher_pump(rig.publisher, rig.now_ns);
    }
    assert_int_equal(rig.count, from);
    rig.now_ns += NS_PER_S / 10;
    publisher_pump(rig.publisher, rig.now_ns);
    int again = expect_frames(from, BOOT, 4);
    assert_true(again >= 1 && again <= (int)PUBLISHER_WINDOW);
    for (uint64_t seq = 4; seq <= 100; seq++) { /* and gathers speed when it is stored again */
        store(BOOT, seq);
    }
    assert_int_equal(expect_frames(from, BOOT, 4), 97);
}

static void an_idle_node_never_repeats_itself(void **state)
{
    (void)state;
    learn_clock();
    publisher_up(rig.publisher, rig.now_ns);
    append(BOOT, 1);
    publisher_pump(rig.publisher, rig.now_ns);
    store(BOOT, 1);
    int from = rig.count;
    rig.now_ns += 3600 * NS_PER_S;
    append(BOOT, 2);
    publisher_pump(rig.publisher, rig.now_ns);
    assert_int_equal(expect_frames(from, BOOT, 2), 1);
}

static void an_earlier_boots_frames_go_first_with_its_own_hello_and_no_fit(void **state)
{
    (void)state;
    append_many(BOOT, 7, 9);
    close_rig();
    open_rig(BOOT + 1);
    learn_clock();
    append_many(BOOT + 1, 1, 2);
    publisher_up(rig.publisher, rig.now_ns);
    const char *order[] = {"hello", "hello", "blocks", "blocks", "blocks"};
    assert_int_equal(rig.count, 5);
    for (int i = 0; i < 5; i++) {
        assert_non_null(strstr(rig.sent[i].topic, order[i]));
    }
    assert_non_null(strstr(rig.sent[1].text, "abc"));
    assert_false(rig.sent[1].retain);
    assert_int_equal(rig.sent[2].seq, 7);
    assert_int_equal(rig.sent[2].oldest, 7);
    assert_false(rig.sent[4].fit_known);
    store(BOOT, 9);
    assert_int_equal(rig.count, 7);
    assert_int_equal(rig.sent[5].boot, BOOT + 1);
    assert_int_equal(rig.sent[5].oldest, 1);
    assert_true(rig.sent[5].fit_known);
}

/* Otherwise `stored` of this boot would forget a tail of the earlier one that was lost on the way.
 */
static void no_frame_leaves_before_all_of_earlier_boots_are_stored(void **state)
{
    (void)state;
    append_many(BOOT, 1, 3);
    close_rig();
    open_rig(BOOT + 1);
    append(BOOT + 1, 1);
    close_rig();
    open_rig(BOOT + 2);
    learn_clock();
    append(BOOT + 2, 1);
    publisher_up(rig.publisher, rig.now_ns);
    assert_int_equal(expect_frames(0, BOOT, 1), 3);
    int from = rig.count;
    store(BOOT, 2); /* the third was lost */
    publisher_pump(rig.publisher, rig.now_ns);
    assert_int_equal(rig.count, from);
    rig.now_ns += PUBLISHER_STALL_NS;
    publisher_pump(rig.publisher, rig.now_ns);
    assert_int_equal(expect_frames(from, BOOT, 3), 1);
    from = rig.count;
    store(BOOT, 3);
    assert_int_equal(expect_frames(from, BOOT + 1, 1), 1);
    from = rig.count;
    store(BOOT + 1, 1);
    assert_int_equal(expect_frames(from, BOOT + 2, 1), 1);
}

static void a_collector_that_repeats_itself_gets_the_frames_at_once(void **state)
{
    (void)state;
    learn_clock();
    publisher_up(rig.publisher, rig.now_ns);
    append_many(BOOT, 1, 10);
    publisher_pump(rig.publisher, rig.now_ns);
    store(BOOT, 3);
    int from = rig.count;
    rig.now_ns += PUBLISHER_REPEAT_NS - 1;
    store(BOOT, 3); /* what is under way may still be stored */
    assert_int_equal(rig.count, from);
    rig.now_ns += 1;
    store(BOOT, 3);
    assert_true(expect_frames(from, BOOT, 4) >= 1);
    from = rig.count;
    store(BOOT, 3); /* and no flood, however often it is said */
    assert_int_equal(rig.count, from);
    for (uint64_t seq = 4; seq <= 10; seq++) {
        store(BOOT, seq);
    }
    assert_int_equal(spool_first(rig.spool), spool_end(rig.spool));
    from = rig.count;
    rig.now_ns += 10 * PUBLISHER_REPEAT_NS;
    store(BOOT, 10); /* nothing is out */
    assert_int_equal(rig.count, from);
}

static void a_broken_link_loses_nothing(void **state)
{
    (void)state;
    learn_clock();
    publisher_up(rig.publisher, rig.now_ns);
    append_many(BOOT, 1, 4);
    rig.broken = true;
    publisher_pump(rig.publisher, rig.now_ns);
    publisher_down(rig.publisher);
    rig.broken = false;
    publisher_up(rig.publisher, rig.now_ns);
    assert_int_equal(expect_frames(0, BOOT, 1), 4);
}

static void a_damaged_frame_is_passed_over_only_when_all_before_it_are_stored(void **state)
{
    (void)state;
    append_many(BOOT, 1, 2);
    uint8_t rubbish[100] = {1};
    spool_append(rig.spool, BOOT, 3, rubbish, sizeof rubbish);
    append_many(BOOT, 4, 5);
    learn_clock();
    publisher_up(rig.publisher, rig.now_ns);
    assert_int_equal(expect_frames(0, BOOT, 1), 2);
    int from = rig.count;
    store(BOOT, 2);
    assert_int_equal(expect_frames(from, BOOT, 4), 2);
    assert_int_equal(rig.sent[from].oldest, 4);
}

static void a_malformed_or_foreign_word_changes_nothing(void **state)
{
    (void)state;
    append_many(BOOT, 1, 2);
    const char *bad[] = {"", "{", "{\"version\":1,\"boot\":7,\"seq\":\"1\"}", "[]"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        publisher_message(rig.publisher, "roomwake/lodge/n1/stored", (const uint8_t *)bad[i],
                          strlen(bad[i]), rig.now_ns);
    }
    store(BOOT + 5, 100);
    assert_int_equal(spool_end(rig.spool) - spool_first(rig.spool), 2);
}

static void the_state_is_sent_now_and_at_each_connect(void **state)
{
    (void)state;
    struct message_state message;
    memset(&message, 0, sizeof message);
    message.boot = BOOT;
    message.battery_v = NAN;
    publisher_set_state(rig.publisher, &message);
    assert_int_equal(rig.count, 0);
    publisher_up(rig.publisher, rig.now_ns);
    assert_string_equal(rig.sent[1].topic, "roomwake/lodge/n1/state");
    assert_true(rig.sent[1].retain);
    message.gone = true;
    publisher_set_state(rig.publisher, &message);
    assert_non_null(strstr(rig.sent[2].text, "\"gone\":true"));
    struct text will = {0};
    assert_int_equal(publisher_will(&will), 0);
    assert_non_null(strstr(will.bytes, "\"gone\":true"));
    text_free(&will);
}

int main(void)
{
#define PROMISE(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        PROMISE(each_connect_says_hello_and_subscribes_before_the_frames),
        PROMISE(frames_wait_for_the_first_clock_fit_and_then_carry_it),
        PROMISE(no_more_than_the_window_is_out),
        PROMISE(without_a_word_from_the_collector_it_begins_again_after_five_seconds),
        PROMISE(an_idle_node_never_repeats_itself),
        PROMISE(an_earlier_boots_frames_go_first_with_its_own_hello_and_no_fit),
        PROMISE(no_frame_leaves_before_all_of_earlier_boots_are_stored),
        PROMISE(a_collector_that_repeats_itself_gets_the_frames_at_once),
        PROMISE(a_broken_link_loses_nothing),
        PROMISE(a_damaged_frame_is_passed_over_only_when_all_before_it_are_stored),
        PROMISE(a_malformed_or_foreign_word_changes_nothing),
        PROMISE(the_state_is_sent_now_and_at_each_connect),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
