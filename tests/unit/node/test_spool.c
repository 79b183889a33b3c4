/* Promises of the spool: bounded, in order, forgetting only what was stored. */
#include "tests/unit/node/spool_for_tests.h"

static void frames_come_out_in_order_over_boots(void **state)
{
    (void)state;
    struct spool *spool = open_spool(1 << 20);
    append_many(spool, 1, 1, 50);
    spool_close(spool);
    spool = open_spool(1 << 20);
    append_many(spool, 2, 1, 30);
    assert_int_equal(spool_end(spool) - spool_first(spool), 80);
    for (uint64_t i = 0; i < 80; i++) {
        expect_frame(spool, spool_first(spool) + i, i < 50 ? 1 : 2, i < 50 ? i + 1 : i - 49);
    }
    expect_frame(spool, spool_first(spool) + 7, 1, 8); /* and again from anywhere */
    expect_frame(spool, spool_first(spool) + 62, 2, 13);
    struct spool_frame frame;
    assert_int_equal(spool_read(spool, spool_end(spool), buffer, sizeof buffer, &frame, NULL), -1);
    spool_close(spool);
}

static void forgetting_takes_all_up_to_a_seq_and_earlier_boots(void **state)
{
    (void)state;
    struct spool *spool = open_spool(1 << 20);
    append_many(spool, 1, 1, 20);
    spool_close(spool);
    spool = open_spool(1 << 20);
    append_many(spool, 2, 1, 20);
    assert_int_equal(spool_oldest_seq(spool, 1, 99), 1);
    assert_int_equal(spool_oldest_seq(spool, 2, 99), 1);
    assert_int_equal(spool_oldest_seq(spool, 3, 99), 99);
    spool_forget(spool, 7, 1000); /* nobody's */
    assert_int_equal(spool_end(spool) - spool_first(spool), 40);
    spool_forget(spool, 1, 5);
    assert_int_equal(spool_oldest_seq(spool, 1, 99), 6);
    expect_frame(spool, spool_first(spool), 1, 6);
    spool_forget(spool, 1, 3); /* an old word changes nothing */
    expect_frame(spool, spool_first(spool), 1, 6);
    spool_forget(spool, 2, 4);
    expect_run(spool, 2, 5, 20);
    assert_int_equal(spool_oldest_seq(spool, 1, 99), 99);
    spool_forget(spool, 2, 20);
    assert_int_equal(spool_first(spool), spool_end(spool));
    append_many(spool, 2, 21, 25);
    expect_run(spool, 2, 21, 25);
    struct spool_counts counts;
    spool_count(spool, &counts);
    assert_int_equal(counts.frames, 5);
    assert_int_equal(counts.dropped, 0);
    spool_close(spool);
}

static void what_was_all_stored_does_not_come_again_after_an_orderly_end(void **state)
{
    (void)state;
    struct spool *spool = open_spool(1 << 20);
    append_many(spool, 1, 1, 20);
    spool_forget(spool, 1, 20);
    spool_close(spool);
    spool = open_spool(1 << 20);
    assert_int_equal(spool_first(spool), spool_end(spool));
    spool_close(spool);
}

static uint64_t folder_bytes(void)
{
    uint64_t bytes = 0;
    DIR *dir = opendir(folder);
    const struct dirent *entry;
    while ((entry = readdir(dir)) != NULL) {
        struct stat status;
        if (fstatat(dirfd(dir), entry->d_name, &status, 0) == 0 && S_ISREG(status.st_mode)) {
            bytes += (uint64_t)status.st_size;
        }
    }
    closedir(dir);
    return bytes;
}

static void a_full_spool_gives_up_the_oldest_and_counts_them(void **state)
{
    (void)state;
    struct spool *spool = open_spool(16384);
    for (uint64_t seq = 1; seq <= 2000; seq++) {
        append(spool, 1, seq);
        assert_true(folder_bytes() <= 16384);
    }
    struct spool_counts counts;
    spool_count(spool, &counts);
    assert_int_equal(counts.frames + counts.dropped, 2000);
    assert_true(counts.bytes > 16384 * 3 / 4);
    expect_run(spool, 1, counts.dropped + 1, 2000);
    assert_int_equal(spool_oldest_seq(spool, 1, 0), counts.dropped + 1);
    spool_close(spool);
}

static void what_was_forgotten_frees_its_room(void **state)
{
    (void)state;
    struct spool *spool = open_spool(16384);
    for (uint64_t seq = 1; seq <= 3000; seq++) {
        append(spool, 1, seq);
        if (seq > 20) {
            spool_forget(spool, 1, seq - 20);
        }
    }
    struct spool_counts counts;
    spool_count(spool, &counts);
    assert_int_equal(counts.dropped, 0);
    expect_run(spool, 1, 2981, 3000);
    assert_true(folder_bytes() < 2 * 16384 / 8 + 2000);
    spool_close(spool);
}

static void one_folder_serves_one_node(void **state)
{
    (void)state;
    struct spool *spool = open_spool(1 << 20);
    struct spool *second;
    struct error error;
    assert_int_equal(spool_open(folder, 1 << 20, &second, &error), -1);
    assert_error(error, ERROR_BUSY, "another node");
    spool_close(spool);
    assert_int_equal(spool_open("/proc/none/spool", 1 << 20, &second, &error), -1);
    assert_error(error, ERROR_IO, "/proc/none/spool");
}

int main(void)
{
#define PROMISE(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        PROMISE(frames_come_out_in_order_over_boots),
        PROMISE(forgetting_takes_all_up_to_a_seq_and_earlier_boots),
        PROMISE(what_was_all_stored_does_not_come_again_after_an_orderly_end),
        PROMISE(a_full_spool_gives_up_the_oldest_and_counts_them),
        PROMISE(what_was_forgotten_frees_its_room),
        PROMISE(one_folder_serves_one_node),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
