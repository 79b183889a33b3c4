/* From commits on another thread to `stored` messages: never more than is on disk, not too often.
 */
#include "tests/unit/ingest/site_for_tests.h"

#include "collector/ingest/ack.h"
#include "common/message.h"

struct told {
    size_t count;
    char topics[2048][64];
    struct message_stored stored[2048];
    int refuse;
    int disk_bad;
    int disk_good;
    bool closed;
};

static struct site *site;
static uv_loop_t loop;
static struct told told;
static struct ack *ack;

static int on_publish(void *context, const char *topic, const char *payload, size_t length)
{
    struct told *to = context;
    struct error error;
    if (to->refuse > 0) {
        to->refuse--;
        return -1;
    }
    (void)snprintf(to->topics[to->count], sizeof to->topics[0], "%s", topic);
    (void)message_stored_read(payload, length, &to->stored[to->count], &error);
    to->count++;
    return 0;
}

static void on_disk(void *context, const struct error *failure)
{
    struct told *to = context;
    to->disk_bad += failure != NULL;
    to->disk_good += failure == NULL;
}

static void on_closed(void *context)
{
    ((struct told *)context)->closed = true;
}

static int setup(void **state)
{
    (void)state;
    struct error error;
    site = make_site();
    told = (struct told){0};
    (void)uv_loop_init(&loop);
    const struct ack_settings settings = {
        .loop = &loop, .site = site, .context = &told, .publish = on_publish, .disk = on_disk};
    return ack_new(&settings, &ack, &error);
}

static int teardown(void **state)
{
    (void)state;
    ack_close(ack, on_closed, &told);
    (void)uv_run(&loop, UV_RUN_DEFAULT);
    ack_free(ack);
    site_free(site);
    return told.closed && uv_loop_close(&loop) == 0 ? 0 : -1;
}

static void commit(uint32_t node, uint64_t boot, uint64_t from, uint64_t to)
{
    for (uint64_t seq = from; seq <= to; seq++) {
        const struct night_frame_id id = {node, boot, seq};
        ack_on_committed(ack, &id, 1, NULL);
    }
}

static void turn(void)
{
    (void)uv_run(&loop, UV_RUN_NOWAIT);
}

/* Runs the loop until `count` messages were told, or a second has passed. */
static void run_until(size_t count)
{
    uint64_t end = uv_hrtime() + 1000000000u;
    while (told.count < count && uv_hrtime() < end) {
        (void)uv_run(&loop, UV_RUN_ONCE);
    }
}

static void a_commit_is_told_to_its_node(void **state)
{
    (void)state;
    ack_begin_boot(ack, 1, 0xB);
    commit(1, 0xB, 1, 5);
    turn();
    assert_int_equal(told.count, 1);
    assert_string_equal(told.topics[0], "roomwake/lodge/n2/stored");
    assert_int_equal(told.stored[0].boot, 0xB);
    assert_int_equal(told.stored[0].seq, 5);
}

/* A night that is continued has them all at once. */
static void of_many_boots_at_once_the_newest_is_told(void **state)
{
    (void)state;
    for (uint64_t boot = 1; boot <= 16; boot++) {
        ack_begin_boot(ack, 1, boot);
        commit(1, boot, 7, 7);
    }
    turn();
    assert_int_equal(told.count, 1);
    assert_int_equal(told.stored[0].boot, 16);
    assert_int_equal(told.stored[0].seq, 7);
}

static void nothing_is_told_before_a_commit_nor_of_another_boot(void **state)
{
    (void)state;
    ack_begin_boot(ack, 0, 0xB);
    ack_repeat(ack, 0, 0xB);
    turn();
    assert_int_equal(told.count, 0);
    commit(0, 0xA, 1, 9); /* an earlier boot's, or a SenML node's */
    turn();
    assert_int_equal(told.count, 0);
}

static void a_node_is_told_five_times_a_second_at_most_or_when_much_is_new(void **state)
{
    (void)state;
    uint64_t start = uv_hrtime();
    ack_begin_boot(ack, 0, 0xB);
    for (uint64_t seq = 1; seq <= 100; seq++) {
        commit(0, 0xB, seq, seq);
        turn();
    }
    uint64_t took_ms = (uv_hrtime() - start) / 1000000;
    assert_true(told.count <= 1 + took_ms / ACK_EVERY_MS + 100 / ACK_FRAMES);
    assert_true(told.count >= 100 / ACK_FRAMES);
    run_until(told.count + 1);
    assert_int_equal(told.stored[told.count - 1].seq, 100);
}

static void what_could_not_leave_is_tried_again(void **state)
{
    (void)state;
    told.refuse = 1;
    ack_begin_boot(ack, 0, 0xB);
    commit(0, 0xB, 1, 3);
    turn();
    assert_int_equal(told.count, 0);
    run_until(1);
    assert_int_equal(told.stored[0].seq, 3);
}

static void a_node_that_repeats_itself_is_told_again(void **state)
{
    (void)state;
    ack_begin_boot(ack, 0, 0xB);
    commit(0, 0xB, 1, 3);
    turn();
    ack_repeat(ack, 0, 0xB);
    run_until(2);
    assert_int_equal(told.count, 2);
    assert_int_equal(told.stored[1].seq, 3);
}

static void a_new_boot_is_not_told_the_old_ones_number(void **state)
{
    (void)state;
    ack_begin_boot(ack, 0, 0xA);
    commit(0, 0xA, 1, 40);
    turn();
    ack_begin_boot(ack, 0, 0xB);
    commit(0, 0xA, 41, 42);
    commit(0, 0xB, 1, 1);
    ack_flush(ack);
    assert_int_equal(told.count, 2);
    assert_int_equal(told.stored[1].boot, 0xB);
    assert_int_equal(told.stored[1].seq, 1);
}

/* A node whose disk gave back what it had forgotten sends nothing newer before that is told. */
static void an_earlier_boot_that_is_sent_again_is_told_of_and_then_the_newest(void **state)
{
    (void)state;
    ack_begin_boot(ack, 0, 0xA);
    commit(0, 0xA, 1, 40);
    turn();
    ack_begin_boot(ack, 0, 0xB);
    ack_repeat(ack, 0, 0xA);
    run_until(2);
    assert_int_equal(told.stored[1].boot, 0xA);
    assert_int_equal(told.stored[1].seq, 40);
    commit(0, 0xB, 1, 2);
    run_until(3);
    commit(0, 0xA, 41, 45); /* strays */
    turn();
    ack_repeat(ack, 0, 0xA);
    run_until(5);
    assert_int_equal(told.stored[3].boot, 0xA);
    assert_int_equal(told.stored[3].seq, 45);
    assert_int_equal(told.stored[4].boot, 0xB);
    assert_int_equal(told.stored[4].seq, 2);
}

static void a_disk_that_refuses_is_told_once_and_so_is_its_return(void **state)
{
    (void)state;
    struct error failure = {.code = ERROR_IO, .text = "disk full"};
    ack_on_committed(ack, NULL, 0, &failure);
    ack_on_committed(ack, NULL, 0, &failure);
    turn();
    ack_on_committed(ack, NULL, 0, &failure);
    turn();
    assert_int_equal(told.disk_bad, 1);
    commit(0, 0xA, 1, 1);
    turn();
    assert_int_equal(told.disk_good, 1);
}

static void write_many(void *context)
{
    (void)context;
    commit(2, 0xC, 1, 20000);
}

static void commits_of_another_thread_arrive_whole(void **state)
{
    (void)state;
    uv_thread_t thread;
    ack_begin_boot(ack, 2, 0xC);
    assert_int_equal(uv_thread_create(&thread, write_many, NULL), 0);
    uint64_t last = 0;
    for (int i = 0; i < 1000; i++) {
        turn();
        for (size_t k = 0; k < told.count; k++) {
            assert_true(told.stored[k].seq >= last);
            last = told.stored[k].seq;
        }
        last = 0;
    }
    (void)uv_thread_join(&thread);
    ack_flush(ack);
    assert_int_equal(told.stored[told.count - 1].seq, 20000);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_commit_is_told_to_its_node, setup, teardown),
        cmocka_unit_test_setup_teardown(of_many_boots_at_once_the_newest_is_told, setup, teardown),
        cmocka_unit_test_setup_teardown(nothing_is_told_before_a_commit_nor_of_another_boot, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(
            a_node_is_told_five_times_a_second_at_most_or_when_much_is_new, setup, teardown),
        cmocka_unit_test_setup_teardown(what_could_not_leave_is_tried_again, setup, teardown),
        cmocka_unit_test_setup_teardown(a_node_that_repeats_itself_is_told_again, setup, teardown),
        cmocka_unit_test_setup_teardown(a_new_boot_is_not_told_the_old_ones_number, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(
            an_earlier_boot_that_is_sent_again_is_told_of_and_then_the_newest, setup, teardown),
        cmocka_unit_test_setup_teardown(a_disk_that_refuses_is_told_once_and_so_is_its_return,
                                        setup, teardown),
        cmocka_unit_test_setup_teardown(commits_of_another_thread_arrive_whole, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
