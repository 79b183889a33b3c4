/* A disk that refuses, is full or fails to sync: nothing is told, and nothing is lost. */
#include "tests/unit/night/told.h"

#include <signal.h>
#include <sys/resource.h>

/* A try that had begun while the disk refused may still fail; the next may not. */
static void flush_again(struct night_writer *writer)
{
    struct error ignored;
    if (night_writer_flush(writer, &ignored) != 0) {
        fixture_flush(writer);
    }
}

static void while_the_disk_refuses_nothing_is_told_and_nothing_is_lost(void **state)
{
    struct fixture *fixture = *state;
    struct told told;
    told_init(&told, NULL);
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, on_committed, &told);
    struct error error;
    struct rlimit whole;
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &whole), 0);
    (void)signal(SIGXFSZ, SIG_IGN);
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_noise(writer, 0, 0, 30, 1);
    fixture_flush(writer);
    assert_int_equal(told_frames(&told), 30);

    struct rlimit small = {.rlim_cur = 1000, .rlim_max = whole.rlim_max};
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &small), 0);
    fixture_put_noise(writer, 0, 30, 300, 2);
    assert_int_equal(night_writer_flush(writer, &error), -1);
    assert_int_equal(error.code, ERROR_IO);
    assert_non_null(strstr(error.text, fixture->night));
    assert_int_equal(night_writer_flush(writer, &error), -1); /* tried again, refused again */
    assert_int_equal(told_frames(&told), 30);
    assert_true(told.failures >= 2);

    assert_int_equal(setrlimit(RLIMIT_FSIZE, &whole), 0);
    flush_again(writer);
    assert_int_equal(told_frames(&told), 330);
    fixture_close(writer, 330);
    assert_int_equal(fixture_query(fixture, "SELECT count(*) FROM frame"), 330);
    /* The failed tries left no trace in what is summed up. */
    assert_int_equal(fixture_query(fixture, "SELECT sum(n) FROM zoom"), 66000);
    assert_int_equal(fixture_query(fixture, "SELECT count(*) FROM frame LEFT JOIN fit"
                                            " ON fit.id=frame.fit WHERE fit.id IS NULL"),
                     0);
}

static void a_sync_that_fails_is_no_commit(void **state)
{
    struct fixture *fixture = *state;
    struct told told;
    told_init(&told, NULL);
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, on_committed, &told);
    struct error error;
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_noise(writer, 0, 0, 5, 1);
    fixture_flush(writer);
    atomic_store(&syncs_fail, true);
    fixture_put_noise(writer, 0, 17, 5, 1); /* all with one fit, that is new */
    assert_int_equal(night_writer_flush(writer, &error), -1);
    assert_error(error, ERROR_IO, "disk I/O error");
    assert_int_equal(told_frames(&told), 5);
    atomic_store(&syncs_fail, false);
    flush_again(writer);
    assert_int_equal(told_frames(&told), 10);
    fixture_close(writer, 22);
    assert_int_equal(fixture_query(fixture, "SELECT sum(n) FROM zoom"), 2000);
    assert_int_equal(fixture_query(fixture, "SELECT count(*) FROM pragma_foreign_key_check"), 0);
}

static void below_the_reserve_recording_stands_still_and_says_so(void **state)
{
    struct fixture *fixture = *state;
    struct told told;
    told_init(&told, NULL);
    struct night_settings settings = fixture_settings(fixture);
    settings.reserve_bytes = INT64_MAX;
    struct night_writer *writer = fixture_open(&settings, on_committed, &told);
    struct error error;
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_noise(writer, 0, 0, 1, 1);
    assert_int_equal(night_writer_flush(writer, &error), -1);
    assert_error(error, ERROR_FULL, "are kept in reserve");
    assert_int_equal(told.failure.code, ERROR_FULL);
    assert_int_equal(night_writer_close(writer, FIXTURE_START_NS, &error), -1);
    assert_error(error, ERROR_FULL, "not closed");
    assert_int_equal(told.frames, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_FIXTURE(while_the_disk_refuses_nothing_is_told_and_nothing_is_lost),
        WITH_FIXTURE(a_sync_that_fails_is_no_commit),
        WITH_FIXTURE(below_the_reserve_recording_stands_still_and_says_so),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
