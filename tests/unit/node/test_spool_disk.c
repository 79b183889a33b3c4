/* A spool whose disk is full, fails or syncs badly: nothing that was sampled goes while there is
 * another way. */
#include "tests/unit/node/spool_for_tests.h"

#include <errno.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/syscall.h>
#include <sys/uio.h>

/* The spool's calls of these come here first. */
static bool disk_full;
static bool syncs_fail;

ssize_t writev(int fd, const struct iovec *parts, int count)
{
    if (disk_full) {
        errno = ENOSPC;
        return -1;
    }
    return syscall(SYS_writev, fd, parts, count);
}

int fdatasync(int fd)
{
    if (syncs_fail) {
        errno = EIO;
        return -1;
    }
    return (int)syscall(SYS_fdatasync, fd);
}

static void a_disk_that_others_fill_costs_nothing_while_memory_has_room(void **state)
{
    (void)state;
    struct spool *spool = open_spool(16384);
    struct spool_counts counts;
    append_many(spool, 1, 1, 100);
    disk_full = true;
    append_many(spool, 1, 101, 164);
    spool_count(spool, &counts);
    assert_int_equal(counts.dropped, 0);
    assert_non_null(strstr(spool_fault(spool), "No space left"));
    expect_run(spool, 1, 1, 164);
    disk_full = false;
    append(spool, 1, 165);
    assert_string_equal(spool_fault(spool), "");
    expect_run(spool, 1, 1, 165);

    disk_full = true;
    append_many(spool, 1, 166, 229);
    append(spool, 1, 230); /* memory is full: the oldest file goes, and there is still no room */
    spool_count(spool, &counts);
    assert_true(counts.dropped > 1 && counts.dropped < 60);
    disk_full = false;
    expect_run(spool, 1, counts.dropped, 229);
    append(spool, 1, 231);
    expect_frame(spool, spool_end(spool) - 1, 1, 231);
    spool_close(spool);
}

static void sync_now(struct spool *spool)
{
    struct spool_sync sync;
    assert_true(spool_sync_take(spool, &sync));
    spool_sync_done(spool, spool_sync_run(&sync));
}

/* After a failed sync the kernel calls those pages clean: a later sync that succeeds says nothing
 * of them, and nor may we. */
static void what_a_failed_sync_left_in_doubt_stays_so_until_it_is_stored(void **state)
{
    (void)state;
    struct spool *spool = open_spool(1 << 20);
    append_many(spool, 1, 1, 3);
    sync_now(spool);
    assert_string_equal(spool_fault(spool), "");
    append_many(spool, 1, 4, 6);
    syncs_fail = true;
    sync_now(spool);
    syncs_fail = false;
    assert_non_null(strstr(spool_fault(spool), "Input/output error"));
    append_many(spool, 1, 7, 9);
    sync_now(spool);
    assert_non_null(strstr(spool_fault(spool), "Input/output error"));
    expect_run(spool, 1, 1, 9);
    spool_forget(spool, 1, 5);
    append(spool, 1, 10);
    sync_now(spool);
    assert_non_null(strstr(spool_fault(spool), "Input/output error"));
    spool_forget(spool, 1, 6);
    append(spool, 1, 11);
    sync_now(spool);
    assert_string_equal(spool_fault(spool), "");
    expect_run(spool, 1, 7, 11);
    spool_close(spool);
}

/* The n-th write fails for want of room in the file, as long as the limit stands. */
static void limit_files(rlim_t bytes)
{
    struct rlimit limit;
    getrlimit(RLIMIT_FSIZE, &limit);
    limit.rlim_cur = bytes;
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &limit), 0);
}

static void while_the_disk_fails_frames_wait_in_memory_and_none_is_lost(void **state)
{
    (void)state;
    signal(SIGXFSZ, SIG_IGN);
    for (rlim_t limit = 0; limit < 1400; limit += 97) {
        struct spool *spool = open_spool(1 << 20);
        limit_files(limit);
        append_many(spool, 9, 1, 40);
        bool failed = spool_fault(spool)[0] != '\0';
        assert_true(failed || limit > 1000);
        expect_run(spool, 9, 1, 40);
        spool_forget(spool, 9, limit % 40);
        expect_run(spool, 9, limit % 40 + 1, 40);
        limit_files(RLIM_INFINITY);
        append(spool, 9, 41);
        assert_string_equal(spool_fault(spool), "");
        expect_run(spool, 9, limit % 40 + 1, 41);
        spool_close(spool);
        spool = open_spool(1 << 20);
        expect_frame(spool, spool_end(spool) - 1, 9, 41);
        spool_forget(spool, 9, limit % 40);
        expect_run(spool, 9, limit % 40 + 1, 41);
        spool_close(spool);
        clear_folder();
    }
}

static void memory_stays_bounded_while_the_disk_fails(void **state)
{
    (void)state;
    signal(SIGXFSZ, SIG_IGN);
    struct spool *spool = open_spool(1 << 20);
    limit_files(0);
    append_many(spool, 9, 1, 500);
    limit_files(RLIM_INFINITY);
    struct spool_counts counts;
    spool_count(spool, &counts);
    assert_int_equal(counts.frames, 64);
    assert_int_equal(counts.dropped, 436);
    expect_run(spool, 9, 437, 500);
    spool_close(spool);
}

static void what_was_written_goes_through_to_the_disk_once(void **state)
{
    (void)state;
    struct spool *spool = open_spool(1 << 20);
    struct spool_sync sync;
    assert_false(spool_sync_take(spool, &sync));
    append(spool, 1, 1);
    assert_true(spool_sync_take(spool, &sync));
    assert_int_equal(spool_sync_run(&sync), 0);
    spool_sync_done(spool, 0);
    assert_false(spool_sync_take(spool, &sync));
    spool_sync_done(spool, 5);
    assert_non_null(strstr(spool_fault(spool), "fdatasync"));
    spool_close(spool);
}

int main(void)
{
#define PROMISE(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        PROMISE(a_disk_that_others_fill_costs_nothing_while_memory_has_room),
        PROMISE(what_a_failed_sync_left_in_doubt_stays_so_until_it_is_stored),
        PROMISE(while_the_disk_fails_frames_wait_in_memory_and_none_is_lost),
        PROMISE(memory_stays_bounded_while_the_disk_fails),
        PROMISE(what_was_written_goes_through_to_the_disk_once),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
