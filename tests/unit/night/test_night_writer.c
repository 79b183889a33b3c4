/* That a frame is told only when it is on disk, that one program alone writes a night, and that its
 * end is one closed file. */
#include "tests/unit/night/told.h"

#include <signal.h>
#include <sys/wait.h>

static void a_frame_is_told_only_when_another_connection_can_see_it(void **state)
{
    struct fixture *fixture = *state;
    struct told told;
    told_init(&told, fixture);
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, on_committed, &told);
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_noise(writer, 0, 0, 20, 1);
    fixture_flush(writer);
    assert_int_equal(told_frames(&told), 20);
    assert_int_equal(told.not_on_disk, 0);
    for (int64_t second = 20; second < 30; second++) {
        fixture_put_noise(writer, 0, second, 1, 1);
        fixture_flush(writer);
    }
    assert_int_equal(told_frames(&told), 30);
    assert_int_equal(told.not_synced, 0);
    fixture_close(writer, 20);
    assert_int_equal(told.failures, 0);
}

static void a_frame_that_comes_twice_is_stored_once_and_told_twice(void **state)
{
    struct fixture *fixture = *state;
    struct told told;
    told_init(&told, NULL);
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, on_committed, &told);
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_noise(writer, 0, 0, 3, 1);
    fixture_put_noise(writer, 0, 0, 3, 99); /* in the same commit, perhaps: other samples */
    fixture_flush(writer);
    fixture_put_noise(writer, 0, 1, 1, 77);
    fixture_close(writer, 3);
    assert_int_equal(told.frames, 7);
    assert_int_equal(fixture_query(fixture, "SELECT count(*) FROM frame"), 3);
    assert_int_equal(fixture_query(fixture, "SELECT count(*) FROM block"), 1);
    assert_int_equal(fixture_query(fixture, "SELECT sum(n) FROM zoom"), 600);
}

static void the_end_of_a_night_is_one_file_that_says_what_it_is(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    assert_true(fixture_exists(fixture, "-lock"));
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_noise(writer, 0, 0, 5, 1);
    fixture_close(writer, 5);
    assert_true(fixture_exists(fixture, ""));
    assert_false(fixture_exists(fixture, "-wal"));
    assert_false(fixture_exists(fixture, "-shm"));
    assert_false(fixture_exists(fixture, "-journal"));
    assert_false(fixture_exists(fixture, "-lock"));
    assert_int_equal(fixture_query(fixture, "PRAGMA application_id"), 0x526d576b);
    assert_int_equal(fixture_query(fixture, "PRAGMA user_version"), 6);
    assert_int_equal(fixture_query(fixture, "SELECT count(*) FROM pragma_integrity_check"
                                            " WHERE integrity_check='ok'"),
                     1);
    assert_int_equal(fixture_query(fixture, "SELECT count(*) FROM pragma_foreign_key_check"), 0);
    assert_int_equal(fixture_query(fixture, "SELECT count(*) FROM pragma_table_list"
                                            " WHERE type='table' AND NOT strict"
                                            " AND name NOT LIKE 'sqlite%'"),
                     0);
}

static void fits_are_kept_once_for_each_change(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_noise(writer, 0, 0, 64, 1); /* the fixture's fit changes every 16 s */
    fixture_close(writer, 64);
    int64_t fits = fixture_query(fixture, "SELECT count(*) FROM fit");
    assert_true(fits >= 4 && fits <= 5);
    assert_int_equal(fixture_query(fixture,
                                   "SELECT count(*) FROM frame JOIN fit ON fit.id=frame.fit"
                                   " WHERE offset_ns=1000000000000 AND uncertainty_ns=250000"),
                     64);
}

static void a_second_writer_is_refused_while_the_first_lives_and_not_after_it_died(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *second = NULL;
    struct error error;
    int ready[2];
    assert_int_equal(pipe(ready), 0);
    pid_t child = fork();
    if (child == 0) {
        struct night_writer *writer = fixture_open(&settings, NULL, NULL);
        fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
        fixture_put_noise(writer, 0, 0, 40, 1);
        fixture_flush(writer);
        _exit(write(ready[1], "x", 1) == 1 && pause() == 0);
    }
    char byte;
    assert_int_equal(read(ready[0], &byte, 1), 1);
    settings.reopen = true;
    assert_int_equal(night_writer_open(&settings, NULL, NULL, &second, &error), -1);
    assert_error(error, ERROR_BUSY, "another program writes it");

    /* While it is being written and after it was left, it reads. */
    struct night_reader *reader = fixture_read(fixture);
    struct night_info info;
    fixture_check(night_read_info(reader, &info, &error), &error);
    assert_int64_equal(info.end_ns, 0);
    night_reader_close(reader);

    assert_int_equal(kill(child, SIGKILL), 0);
    assert_int_equal(waitpid(child, NULL, 0), child);
    close(ready[0]);
    close(ready[1]);
    reader = fixture_read(fixture);
    struct night_node_summary summary;
    fixture_check(night_read_node_summary(reader, 0, &summary, &error), &error);
    assert_int_equal(summary.samples, 40 * 200);
    night_reader_close(reader);

    second = fixture_open(&settings, NULL, NULL);
    fixture_put_noise(second, 0, 0, 50, 2); /* 40 of them are there already */
    fixture_close(second, 50);
    assert_int_equal(fixture_query(fixture, "SELECT count(*) FROM frame"), 50);
    assert_int_equal(fixture_query(fixture, "SELECT sum(n) FROM zoom"), 50 * 200);
    assert_false(fixture_exists(fixture, "-lock"));
}

static void a_night_is_not_written_over_nor_continued_once_closed(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = NULL;
    struct error error;
    settings.reopen = true;
    assert_int_equal(night_writer_open(&settings, NULL, NULL, &writer, &error), -1);
    assert_error(error, ERROR_NOT_FOUND, fixture->night);
    settings.reopen = false;
    fixture_close(fixture_open(&settings, NULL, NULL), 1);
    assert_int_equal(night_writer_open(&settings, NULL, NULL, &writer, &error), -1);
    assert_error(error, ERROR_BUSY, "exists already");
    settings.reopen = true;
    assert_int_equal(night_writer_open(&settings, NULL, NULL, &writer, &error), -1);
    assert_error(error, ERROR_STATE, "was closed");
    assert_false(fixture_exists(fixture, "-lock"));
}

static void a_stop_that_is_to_be_continued_is_continued(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    struct error error;
    struct mark mark = {.id = 3, .text = "stairs"};
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_noise(writer, 0, 0, 10, 1);
    fixture_check(night_put_mark(writer, &mark, &error), &error);
    fixture_check(night_writer_close(writer, 0, &error), &error);

    settings.reopen = true;
    settings.site_text = "{}";
    assert_int_equal(night_writer_open(&settings, NULL, NULL, &writer, &error), -1);
    assert_error(error, ERROR_STATE, "another site file");
    settings.site_text = fixture_site_text;
    writer = fixture_open(&settings, NULL, NULL);
    assert_int_equal(night_put_mark(writer, &mark, &error), -1);
    assert_error(error, ERROR_STATE, "mark 3 is there already");
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_noise(writer, 0, 10, 10, 2);
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT + 1);
    fixture_close(writer, 20);
    assert_int_equal(fixture_query(fixture, "SELECT count(*) FROM boot"), 2);
    assert_int_equal(fixture_query(fixture, "SELECT count(*) FROM frame WHERE boot=1"), 20);
    assert_int_equal(fixture_query(fixture, "SELECT sum(n) FROM zoom"), 20 * 200);
}

static void a_full_queue_takes_nothing_and_empties(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    settings.commit_every_ms = 60000;
    settings.queue_bytes = 10000;
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    struct error error = {0};
    int32_t counts[200] = {0};
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    int64_t taken = 0;
    while (taken < 1000 && fixture_put_second(writer, 0, taken, counts, false, &error) == 0) {
        taken++;
    }
    assert_error(error, ERROR_FULL, "wait to be written");
    assert_true(taken < 1000);
    fixture_flush(writer);
    fixture_check(fixture_put_second(writer, 0, taken, counts, false, &error), &error);
    fixture_close(writer, taken + 1);
    assert_int_equal(fixture_query(fixture, "SELECT count(*) FROM frame"), taken + 1);
}

static void what_cannot_be_stored_rightly_is_refused_at_once(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    struct error error;
    int32_t counts[200] = {0};
    assert_int_equal(fixture_put_second(writer, 0, 0, counts, false, &error), -1);
    assert_error(error, ERROR_STATE, "has not told this boot's channels");
    assert_int_equal(fixture_put_second(writer, 2, 0, counts, false, &error), -1);
    assert_error(error, ERROR_RANGE, "node 2 is not in the site");
    fixture_put_channels(writer, fixture, 1, FIXTURE_BOOT);

    struct clock_fit fit = {0};
    struct night_frame_id id = {1, FIXTURE_BOOT, 1};
    int64_t times[3] = {5, 7, 7};
    int64_t node_t0_ns = 5;
    struct block block = {.channel = 1, .count = 3, .times_ns = times, .counts = counts};
    assert_int_equal(night_put_frame(writer, &id, &fit, &block, &node_t0_ns, 1, false, &error), -1);
    assert_error(error, ERROR_RANGE, "times do not rise");
    times[2] = 8;
    assert_int_equal(night_put_frame(writer, &id, &fit, &block, &node_t0_ns, 1, false, &error), -1);
    assert_error(error, ERROR_RANGE, "channel 1 of 1");
    block.count = BLOCK_SAMPLES_MAX + 1;
    assert_int_equal(night_put_frame(writer, &id, &fit, &block, &node_t0_ns, 1, false, &error), -1);
    assert_error(error, ERROR_RANGE, "65537 samples");

    struct channel other = fixture->site->nodes[1].channels[0];
    other.step = (struct decimal){2, -9};
    assert_int_equal(night_put_channels(writer, 1, FIXTURE_BOOT, &other, 1, &error), -1);
    assert_error(error, ERROR_STATE, "magnetic.x differs");
    other.step = (struct decimal){10, -10}; /* the same, written otherwise */
    fixture_check(night_put_channels(writer, 1, FIXTURE_BOOT, &other, 1, &error), &error);
    fixture_close(writer, 1);
}

static void an_abandoned_night_leaves_nothing(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_noise(writer, 0, 0, 3, 1);
    fixture_flush(writer);
    night_writer_abandon(writer);
    assert_false(fixture_exists(fixture, ""));
    assert_false(fixture_exists(fixture, "-wal"));
    assert_false(fixture_exists(fixture, "-shm"));
    assert_false(fixture_exists(fixture, "-lock"));
}

static struct night_writer *open_analysis(const struct fixture *fixture, int expected)
{
    struct night_writer *writer = NULL;
    struct error error;
    int analysis = 0;
    fixture_check(night_writer_open_for_analysis(fixture->night, &analysis, &writer, &error),
                  &error);
    assert_int_equal(analysis, expected);
    fixture_check(night_put_analysis(writer, analysis, fixture->site, "again", &error), &error);
    struct disturbance disturbance = {.id = 1, .quantity_text = "magnetic", .unit = "T"};
    fixture_check(night_put_disturbance(writer, analysis, &disturbance, &error), &error);
    return writer;
}

static void an_analysis_is_added_to_a_closed_night_and_counts_once_it_is_whole(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = NULL;
    struct error error;
    int analysis = 0;
    assert_int_equal(night_writer_open_for_analysis(fixture->night, &analysis, &writer, &error),
                     -1);
    assert_error(error, ERROR_NOT_FOUND, fixture->night);
    writer = fixture_open(&settings, NULL, NULL);
    fixture_check(night_writer_close(writer, 0, &error), &error);
    assert_int_equal(night_writer_open_for_analysis(fixture->night, &analysis, &writer, &error),
                     -1);
    assert_error(error, ERROR_STATE, "is not closed yet");
    settings.reopen = true;
    fixture_close(fixture_open(&settings, NULL, NULL), 1);

    writer = open_analysis(fixture, 2);
    int32_t counts[200] = {0};
    assert_int_equal(fixture_put_second(writer, 0, 0, counts, false, &error), -1);
    assert_error(error, ERROR_STATE, "only findings may be added");
    struct disturbance disturbance = {.id = 1};
    assert_int_equal(night_put_disturbance(writer, 1, &disturbance, &error), -1);
    assert_error(error, ERROR_STATE, "analysis 1 is not open");
    fixture_flush(writer);
    struct night_reader *reader = fixture_read(fixture);
    struct night_info info;
    fixture_check(night_read_info(reader, &info, &error), &error);
    assert_int_equal(info.analysis, 1); /* not yet */
    night_reader_close(reader);
    fixture_close(writer, 0);

    writer = open_analysis(fixture, 3);
    fixture_flush(writer);
    night_writer_abandon(writer);
    assert_int_equal(fixture_query(fixture, "SELECT max(id) FROM analysis WHERE done"), 2);
    assert_int_equal(fixture_query(fixture, "SELECT count(*) FROM analysis"), 2);
    assert_int_equal(fixture_query(fixture, "SELECT count(*) FROM disturbance"), 1);
    assert_int_equal(fixture_query(fixture, "SELECT value/1000000000 FROM meta"
                                            " WHERE key='end_ns'"),
                     1700000001);
    assert_false(fixture_exists(fixture, "-journal"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_FIXTURE(a_frame_is_told_only_when_another_connection_can_see_it),
        WITH_FIXTURE(a_frame_that_comes_twice_is_stored_once_and_told_twice),
        WITH_FIXTURE(the_end_of_a_night_is_one_file_that_says_what_it_is),
        WITH_FIXTURE(fits_are_kept_once_for_each_change),
        WITH_FIXTURE(a_second_writer_is_refused_while_the_first_lives_and_not_after_it_died),
        WITH_FIXTURE(a_night_is_not_written_over_nor_continued_once_closed),
        WITH_FIXTURE(a_stop_that_is_to_be_continued_is_continued),
        WITH_FIXTURE(a_full_queue_takes_nothing_and_empties),
        WITH_FIXTURE(what_cannot_be_stored_rightly_is_refused_at_once),
        WITH_FIXTURE(an_abandoned_night_leaves_nothing),
        WITH_FIXTURE(an_analysis_is_added_to_a_closed_night_and_counts_once_it_is_whole),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
