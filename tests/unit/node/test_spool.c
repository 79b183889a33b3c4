/* Promises of the spool: bounded, in order, forgetting only what was stored, whole after any cut.
 * Must never leave its folders behind. */
#include "tests/unit/test.h"

#include <dirent.h>
#include <fcntl.h>
#include <errno.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/uio.h>
#include <unistd.h>

#include "common/wire.h"
#include "node/spool.h"

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

static char folder[256];
static uint8_t buffer[WIRE_MESSAGE_MAX];

static size_t length_of(uint64_t seq)
{
    return 20 + (size_t)(seq * 37 % 60);
}

static void append(struct spool *spool, uint64_t boot, uint64_t seq)
{
    uint8_t bytes[128];
    memset(bytes, (int)(boot + seq), sizeof bytes);
    spool_append(spool, boot, seq, bytes, length_of(seq));
}

static void append_many(struct spool *spool, uint64_t boot, uint64_t from, uint64_t to)
{
    for (uint64_t seq = from; seq <= to; seq++) {
        append(spool, boot, seq);
    }
}

static struct spool *open_spool(uint64_t max_bytes)
{
    struct spool *spool;
    struct error error;
    if (spool_open(folder, max_bytes, &spool, &error)) {
        fail_msg("%s", error.text);
    }
    return spool;
}

static void expect_frame(struct spool *spool, uint64_t ordinal, uint64_t boot, uint64_t seq)
{
    struct spool_frame frame;
    struct error error;
    if (spool_read(spool, ordinal, buffer, sizeof buffer, &frame, &error)) {
        fail_msg("ordinal %llu: %s", (unsigned long long)ordinal, error.text);
    }
    assert_int_equal(frame.boot, boot);
    assert_int_equal(frame.seq, seq);
    assert_int_equal(frame.length, length_of(seq));
    assert_int_equal(buffer[0], (uint8_t)(boot + seq));
    assert_int_equal(buffer[frame.length - 1], (uint8_t)(boot + seq));
}

/* All that is held is of `boot`, from seq `from` to `to`. */
static void expect_run(struct spool *spool, uint64_t boot, uint64_t from, uint64_t to)
{
    assert_int_equal(spool_end(spool) - spool_first(spool), to + 1 - from);
    for (uint64_t seq = from; seq <= to; seq++) {
        expect_frame(spool, spool_first(spool) + (seq - from), boot, seq);
    }
}

static void clear_folder(void)
{
    DIR *dir = opendir(folder);
    const struct dirent *entry;
    while (dir && (entry = readdir(dir)) != NULL) {
        unlinkat(dirfd(dir), entry->d_name, 0);
    }
    closedir(dir);
}

static int set_up(void **state)
{
    (void)state;
    const char *root = getenv("TMPDIR");
    snprintf(folder, sizeof folder, "%s/spool-XXXXXX", root ? root : "/tmp");
    return mkdtemp(folder) ? 0 : -1;
}

static int tear_down(void **state)
{
    (void)state;
    clear_folder();
    return rmdir(folder);
}

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

/* The only spool file, as bytes. */
static size_t read_only_file(char name[256], uint8_t *bytes, size_t size)
{
    DIR *dir = opendir(folder);
    const struct dirent *entry;
    size_t length = 0;
    while ((entry = readdir(dir)) != NULL) {
        if (strstr(entry->d_name, ".spool")) {
            snprintf(name, 256, "%.200s", entry->d_name);
            int fd = openat(dirfd(dir), name, O_RDONLY);
            length = (size_t)read(fd, bytes, size);
            close(fd);
        }
    }
    closedir(dir);
    return length;
}

static void write_file(const char *name, const uint8_t *bytes, size_t length)
{
    char path[600];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    int fd = open(path, O_WRONLY | O_CREAT | O_TRUNC, 0600);
    assert_int_equal(write(fd, bytes, length), length);
    close(fd);
}

static void after_a_cut_at_any_byte_all_whole_earlier_frames_are_there(void **state)
{
    (void)state;
    struct spool *spool = open_spool(1 << 20);
    append_many(spool, 5, 1, 12);
    spool_close(spool);
    char name[256];
    uint8_t bytes[4096];
    size_t length = read_only_file(name, bytes, sizeof bytes);
    assert_true(length > 500 && length < sizeof bytes);
    for (size_t cut = 0; cut <= length; cut++) {
        clear_folder();
        write_file(name, bytes, cut);
        spool = open_spool(1 << 20);
        uint64_t whole = 0;
        for (size_t end = 28 + length_of(1); end <= cut && whole < 12;) {
            whole++;
            end += 28 + length_of(whole + 1);
        }
        if (whole > 0) {
            expect_run(spool, 5, 1, whole);
        } else {
            assert_int_equal(spool_first(spool), spool_end(spool));
        }
        if (cut % 50 == 0) { /* and the new run goes on after them */
            append(spool, 6, 1);
            expect_frame(spool, spool_end(spool) - 1, 6, 1);
        }
        spool_close(spool);
    }
}

static void a_changed_byte_never_comes_out_as_a_frame(void **state)
{
    (void)state;
    struct spool *spool = open_spool(1 << 20);
    append_many(spool, 5, 1, 6);
    spool_close(spool);
    char name[256];
    uint8_t bytes[4096];
    size_t length = read_only_file(name, bytes, sizeof bytes);
    for (size_t at = 0; at < length; at++) {
        clear_folder();
        bytes[at] ^= 0x40;
        write_file(name, bytes, length);
        bytes[at] ^= 0x40;
        spool = open_spool(1 << 20);
        uint64_t good = 0;
        while (spool_first(spool) < spool_end(spool)) {
            struct spool_frame frame;
            if (spool_read(spool, spool_first(spool), buffer, sizeof buffer, &frame, NULL) == 0) {
                assert_int_equal(frame.boot, 5);
                assert_int_equal(frame.length, length_of(frame.seq));
                assert_int_equal(buffer[0], (uint8_t)(5 + frame.seq));
                good++;
                spool_forget(spool, frame.boot, frame.seq);
            } else {
                spool_drop_first(spool);
            }
        }
        assert_true(good <= 5);
        spool_close(spool);
    }
}

static void a_damaged_frame_can_be_given_up_and_the_rest_read(void **state)
{
    (void)state;
    struct spool *spool = open_spool(1 << 20);
    append_many(spool, 5, 1, 6);
    spool_close(spool);
    char name[256];
    uint8_t bytes[4096];
    size_t length = read_only_file(name, bytes, sizeof bytes);
    bytes[28 + length_of(1) + 28 + 3] ^= 1; /* in the second message */
    write_file(name, bytes, length);
    spool = open_spool(1 << 20);
    struct spool_frame frame;
    struct error error;
    expect_frame(spool, spool_first(spool), 5, 1);
    assert_int_equal(
        spool_read(spool, spool_first(spool) + 1, buffer, sizeof buffer, &frame, &error), -1);
    assert_int_equal(error.code, ERROR_CHECKSUM);
    spool_forget(spool, 5, 1);
    spool_drop_first(spool);
    expect_run(spool, 5, 3, 6);
    struct spool_counts counts;
    spool_count(spool, &counts);
    assert_int_equal(counts.dropped, 1);
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
        PROMISE(frames_come_out_in_order_over_boots),
        PROMISE(forgetting_takes_all_up_to_a_seq_and_earlier_boots),
        PROMISE(what_was_all_stored_does_not_come_again_after_an_orderly_end),
        PROMISE(a_full_spool_gives_up_the_oldest_and_counts_them),
        PROMISE(a_disk_that_others_fill_costs_nothing_while_memory_has_room),
        PROMISE(what_a_failed_sync_left_in_doubt_stays_so_until_it_is_stored),
        PROMISE(what_was_forgotten_frees_its_room),
        PROMISE(after_a_cut_at_any_byte_all_whole_earlier_frames_are_there),
        PROMISE(a_changed_byte_never_comes_out_as_a_frame),
        PROMISE(a_damaged_frame_can_be_given_up_and_the_rest_read),
        PROMISE(one_folder_serves_one_node),
        PROMISE(while_the_disk_fails_frames_wait_in_memory_and_none_is_lost),
        PROMISE(memory_stays_bounded_while_the_disk_fails),
        PROMISE(what_was_written_goes_through_to_the_disk_once),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
