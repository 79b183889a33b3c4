/* That another program which still has a night open keeps it from being one file, but costs
 * nothing: what is left opens and is whole, and becomes one file once that program has ended. */
#include "tests/unit/night/sealed.h"

#include "collector/night/night_fold.h"

#define SECONDS 20

static sqlite3 *other;
static sqlite3_stmt *reading;

/* Another program, which reads of the night what is there until now. */
static void open_other(const struct fixture *fixture)
{
    assert_int_equal(sqlite3_open_v2(fixture->night, &other, SQLITE_OPEN_READONLY, NULL),
                     SQLITE_OK);
    assert_int_equal(sqlite3_prepare_v2(other, "SELECT seq FROM frame", -1, &reading, NULL),
                     SQLITE_OK);
    assert_int_equal(sqlite3_step(reading), SQLITE_ROW);
}

/* It keeps the night open, without reading. */
static void other_rests(void)
{
    assert_int_equal(sqlite3_finalize(reading), SQLITE_OK);
}

static void put_seconds(struct night_writer *writer, const struct fixture *fixture)
{
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_noise(writer, 0, 0, SECONDS, 1);
    fixture_flush(writer);
}

static void end(struct night_writer *writer)
{
    struct error error;
    fixture_check(night_writer_end(writer, FIXTURE_START_NS + SECONDS * NS_PER_S, &error), &error);
}

static void assert_busy(const struct fixture *fixture, bool whole_by_itself)
{
    struct error error;
    bool whole = !whole_by_itself;
    assert_int_equal(night_fold(fixture->night, 0, &whole, &error), -1);
    assert_error(error, ERROR_BUSY, fixture->night);
    assert_int_equal(whole, whole_by_itself);
}

static void assert_verifies(const char *path)
{
    const struct sealed_told *told = sealed_verify(path, NULL);
    assert_int_equal(told->fault_count, 0);
    assert_int_equal(told->seal_count, 2); /* its samples, its analysis */
    for (size_t i = 0; i < told->seal_count; i++) {
        assert_true(told->seals[i].holds && told->seals[i].closed);
    }
}

static void assert_one_file(const struct fixture *fixture)
{
    struct error error;
    bool whole = false;
    fixture_check(night_fold(fixture->night, 0, &whole, &error), &error);
    assert_true(whole);
    assert_false(fixture_exists(fixture, "-wal"));
    assert_false(fixture_exists(fixture, "-shm"));
    assert_verifies(fixture->night);
}

static void a_program_that_only_has_it_open_leaves_the_file_whole(void **state)
{
    const struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    put_seconds(writer, fixture);
    open_other(fixture);
    other_rests();
    end(writer);
    assert_busy(fixture, true);
    assert_verifies(fixture->night);
    char command[256];
    char copy[128];
    (void)snprintf(copy, sizeof copy, "%s/copy.sqlite", fixture->folder);
    (void)snprintf(command, sizeof command, "cp '%s' '%s'", fixture->night, copy);
    assert_int_equal(system(command), 0);
    assert_verifies(copy); /* the one file, by itself */
    assert_int_equal(sqlite3_close(other), SQLITE_OK);
    assert_one_file(fixture);
}

static void a_program_in_the_midst_of_reading_leaves_two_files_and_both_are_the_night(void **state)
{
    const struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    put_seconds(writer, fixture);
    open_other(fixture);
    end(writer);
    assert_busy(fixture, false);
    assert_verifies(fixture->night);
    other_rests();
    assert_int_equal(sqlite3_close(other), SQLITE_OK);
    assert_one_file(fixture);
}

static void a_night_that_nobody_reads_is_one_file_at_once(void **state)
{
    const struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    put_seconds(writer, fixture);
    end(writer);
    assert_one_file(fixture);
    assert_one_file(fixture); /* and again */
    struct error error;
    bool whole = true;
    assert_int_equal(night_fold("/nowhere/night.sqlite", 0, &whole, &error), -1);
    assert_non_null(strstr(error.text, "/nowhere/night.sqlite: "));
    assert_false(whole);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_FIXTURE(a_program_that_only_has_it_open_leaves_the_file_whole),
        WITH_FIXTURE(a_program_in_the_midst_of_reading_leaves_two_files_and_both_are_the_night),
        WITH_FIXTURE(a_night_that_nobody_reads_is_one_file_at_once),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
