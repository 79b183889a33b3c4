/* A spool whose files were cut or changed: what is whole comes out, what is not never does. */
#include "tests/unit/node/spool_for_tests.h"

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

int main(void)
{
#define PROMISE(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        PROMISE(after_a_cut_at_any_byte_all_whole_earlier_frames_are_there),
        PROMISE(a_changed_byte_never_comes_out_as_a_frame),
        PROMISE(a_damaged_frame_can_be_given_up_and_the_rest_read),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
