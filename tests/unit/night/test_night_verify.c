/* That seals are made when they should be, hold over the night's whole life, and are told of as
 * they are: while it is recorded, after a crash, when it is closed, analysed again, cut short. */
#include "tests/unit/night/sealed.h"

#include <signal.h>
#include <sys/wait.h>

#include "collector/night/key.h"
#include "collector/night/seal.h"

static void root_of(const struct fixture *fixture, const char *where, uint8_t root[32])
{
    char sql[200];
    sqlite3 *db = NULL;
    sqlite3_stmt *statement = NULL;
    (void)snprintf(sql, sizeof sql, "SELECT root FROM seal WHERE %s", where);
    assert_int_equal(sqlite3_open_v2(fixture->night, &db, SQLITE_OPEN_READONLY, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_prepare_v2(db, sql, -1, &statement, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_step(statement), SQLITE_ROW);
    assert_int_equal(sqlite3_column_bytes(statement, 0), 32);
    memcpy(root, sqlite3_column_blob(statement, 0), 32);
    sqlite3_finalize(statement);
    assert_int_equal(sqlite3_close(db), SQLITE_OK);
}

static void a_night_is_sealed_as_it_goes_and_at_its_end(void **state)
{
    struct fixture *fixture = *state;
    struct key key;
    struct error error;
    sealed_make(fixture);
    fixture_check(key_load_existing(&key, &error), &error);
    struct sealed_told *told = sealed_verify(fixture->night, NULL);
    sealed_print(told);
    assert_int_equal(told->result.faults, 0);
    assert_true(told->result.seals_so_far >= 2);
    assert_int_equal(told->result.frames, 81);
    assert_int_equal(told->result.blocks, 6); /* a boot's first is shorter */
    assert_int_equal(told->result.samples, 80 * 200 + 3);
    assert_int_equal(told->result.gaps, 3);
    assert_string_equal(told->gap_text, "n1 node was off");
    assert_int_equal(told->result.rows_unsealed, 0);
    assert_int_equal(told->seal_count, 2);
    assert_int_equal(told->seals[0].analysis, 0);
    assert_int_equal(told->seals[1].analysis, 1);
    for (size_t i = 0; i < 2; i++) {
        assert_true(told->seals[i].closed && told->seals[i].holds);
        assert_int64_equal(told->seals[i].time_ns, FIXTURE_START_NS + 40 * NS_PER_S);
        assert_memory_equal(told->seals[i].public_key, key.public_key, 32);
    }
    /* Seals in between are dated on the site's clock. */
    assert_int_equal(fixture_query(fixture,
                                   "SELECT count(*) FROM seal WHERE what='so far' AND time_ns NOT"
                                   " BETWEEN 1700000000000000000 AND 1700000100000000000"),
                     0);
}

static void the_seal_holds_whatever_the_number_of_rows(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    settings.seal_every_ms = 1;
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    for (int64_t second = 0; second < 700; second += 35) { /* several spans of every clue */
        fixture_put_noise(writer, 0, second, 35, 1);
        fixture_flush(writer);
    }
    fixture_close(writer, 700);
    sealed_holds(fixture->night);
    const char *copy = sealed_copy(fixture);
    sealed_change(copy, "UPDATE frame SET late=1 WHERE id=600; DELETE FROM block WHERE id=9");
    struct sealed_told *told = sealed_verify(copy, NULL);
    assert_true(sealed_tells(told, "frame", "id 600 (n1, message 600,", "altered"));
    assert_true(sealed_tells(told, "block", "id 9", "missing"));
    assert_true(sealed_tells(told, "boot", "id 1", "its messages have 140000 samples"));
}

static void a_root_that_was_read_out_is_found_and_another_is_not(void **state)
{
    struct fixture *fixture = *state;
    uint8_t root[32];
    sealed_make(fixture);
    root_of(fixture, "what='samples'", root);
    struct sealed_told *told = sealed_verify(fixture->night, root);
    assert_int_equal(told->result.faults, 0);
    assert_true(told->result.root_found);
    assert_int64_equal(told->result.root_time_ns, FIXTURE_START_NS + 40 * NS_PER_S);
    root_of(fixture, "id=1", root); /* read out during the night */
    assert_true(sealed_verify(fixture->night, root)->result.root_found);
    root_of(fixture, "what='analysis'", root);
    assert_true(sealed_verify(fixture->night, root)->result.root_found);
    root[31] ^= 1;
    told = sealed_verify(fixture->night, root);
    assert_false(told->result.root_found);
    assert_int_equal(told->result.faults, 1);
    assert_true(sealed_tells(told, "seal", "", "the root that was given"));
    /* Whoever has the key can seal another night: only the root tells it. */
    root_of(fixture, "what='samples'", root);
    const char *copy = sealed_copy(fixture);
    assert_int_equal(unlink(fixture->night), 0);
    struct night_writer *writer = sealed_begin(fixture);
    fixture_close(writer, 41);
    sealed_holds(fixture->night);
    assert_false(sealed_verify(fixture->night, root)->result.root_found);
    assert_true(sealed_verify(copy, root)->result.root_found);
}

static void a_root_counts_no_more_once_its_rows_are_changed(void **state)
{
    struct fixture *fixture = *state;
    uint8_t first[32];
    uint8_t last[32];
    sealed_make(fixture);
    root_of(fixture, "id=1", first);
    root_of(fixture, "what='samples'", last);
    const char *copy = sealed_copy(fixture);
    sealed_change(copy, "UPDATE log SET text='x'"); /* came after the first seal */
    assert_true(sealed_verify(copy, first)->result.root_found);
    assert_false(sealed_verify(copy, last)->result.root_found);
    sealed_change(copy, "UPDATE frame SET late=1 WHERE id=3");
    assert_false(sealed_verify(copy, first)->result.root_found);
}

static void messages_that_are_missing_without_a_named_gap_are_told(void **state)
{
    struct fixture *fixture = *state;
    for (int named = 0; named < 2; named++) {
        struct night_settings settings = fixture_settings(fixture);
        struct night_writer *writer = fixture_open(&settings, NULL, NULL);
        struct error error;
        fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
        fixture_put_noise(writer, 0, 3, 7, 1); /* 1 to 3 may be in an earlier night */
        fixture_put_noise(writer, 0, 15, 5, 1);
        const struct gap gap = {.node = (uint32_t)(1 - named),
                                .start_ns = FIXTURE_START_NS + 10 * NS_PER_S,
                                .end_ns = FIXTURE_START_NS + 15 * NS_PER_S,
                                .reason = "spool overflow on the node: 5 frames given up"};
        fixture_check(night_put_gap(writer, &gap, &error), &error);
        fixture_close(writer, 20);
        struct sealed_told *told = sealed_verify(fixture->night, NULL);
        sealed_print(told);
        assert_int_equal(told->result.faults, 1 - named);
        assert_true(named || sealed_tells(told, "frame", "n1, messages 11 to 15", "named gap"));
        assert_int_equal(unlink(fixture->night), 0);
    }
}

static void another_analysis_is_sealed_beside_the_samples_seal(void **state)
{
    struct fixture *fixture = *state;
    uint8_t before[32];
    uint8_t after[32];
    struct night_writer *writer = NULL;
    struct error error;
    int analysis = 0;
    sealed_make(fixture);
    root_of(fixture, "what='samples'", before);
    int64_t leaves = fixture_query(fixture, "SELECT sum(leaves) FROM seal");
    for (int i = 2; i <= 3; i++) {
        fixture_check(night_writer_open_for_analysis(fixture->night, &analysis, &writer, &error),
                      &error);
        assert_int_equal(analysis, i);
        fixture_check(night_put_analysis(writer, i, fixture->site, "again", &error), &error);
        struct mark mark = {.id = 9};
        assert_int_equal(night_put_mark(writer, &mark, &error), -1);
        assert_error(error, ERROR_STATE, "only findings");
        assert_int_equal(night_put_log(writer, 1, "info", "x", &error), -1);
        sealed_put_findings(writer, i);
        fixture_check(night_writer_close(writer, 0, &error), &error);
        root_of(fixture, "what='samples'", after);
        assert_memory_equal(before, after, sizeof before);
    }
    assert_true(fixture_query(fixture, "SELECT sum(leaves) FROM seal WHERE analysis < 2") ==
                leaves);
    struct sealed_told *told = sealed_verify(fixture->night, before);
    sealed_print(told);
    assert_int_equal(told->result.faults, 0);
    assert_int_equal(told->seal_count, 4);
    /* An abandoned one leaves no trace, nor one that was killed once another came. */
    fixture_check(night_writer_open_for_analysis(fixture->night, &analysis, &writer, &error),
                  &error);
    sealed_put_findings(writer, 4);
    fixture_flush(writer);
    night_writer_abandon(writer);
    sealed_holds(fixture->night);
    /* What is changed in one analysis leaves the others' seals. */
    const char *copy = sealed_copy(fixture);
    sealed_change(copy, "UPDATE alert SET text='x' WHERE analysis=2 AND coincidence=1");
    told = sealed_verify(copy, NULL);
    assert_int_equal(told->result.faults, 1);
    assert_int_equal(told->seals[2].analysis, 2);
    assert_true(told->seals[0].holds && told->seals[1].holds && told->seals[3].holds);
    assert_false(told->seals[2].holds);
}

static void a_night_that_goes_on_is_told_as_not_sealed_to_its_end(void **state)
{
    struct fixture *fixture = *state;
    struct night_writer *writer = sealed_begin(fixture);
    struct night_writer_seal seal;
    fixture_flush(writer);
    assert_true(night_writer_last_seal(writer, &seal));
    struct sealed_told *told = sealed_verify(fixture->night, seal.root);
    assert_true(told->result.root_found); /* the last seal, or the one before it */
    assert_true(told->seals[0].holds);
    assert_int_equal(told->result.faults, 1);
    assert_true(sealed_tells(told, "seal", "", "was not closed"));
    assert_false(told->seals[0].closed);
    fixture_close(writer, 40);
    sealed_holds(fixture->night);

    assert_int_equal(unlink(fixture->night), 0);
    struct night_settings settings = fixture_settings(fixture); /* five minutes: none so far */
    writer = fixture_open(&settings, NULL, NULL);
    assert_false(night_writer_last_seal(writer, &seal));
    told = sealed_verify(fixture->night, NULL);
    assert_true(sealed_tells(told, "seal", "", "nothing of this night is sealed yet"));
    fixture_close(writer, 40);
    sealed_holds(fixture->night);
}

/* A recorder that is killed after some commits; its night is there, without an end. */
static void record_and_die(struct fixture *fixture)
{
    int ready[2];
    assert_int_equal(pipe(ready), 0);
    pid_t child = fork();
    if (child == 0) {
        struct night_writer *writer = sealed_begin(fixture);
        sealed_put_findings(writer, 1);
        fixture_flush(writer);
        fixture_put_noise(writer, 0, 40, 1, 3);
        fixture_flush(writer);
        _exit(write(ready[1], "x", 1) == 1 && pause() == 0);
    }
    char byte;
    assert_int_equal(read(ready[0], &byte, 1), 1);
    assert_int_equal(kill(child, SIGKILL), 0);
    assert_int_equal(waitpid(child, NULL, 0), child);
    close(ready[0]);
    close(ready[1]);
}

static void reopen_and_close(struct fixture *fixture)
{
    struct night_settings settings = fixture_settings(fixture);
    settings.reopen = true;
    settings.seal_every_ms = 1;
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    struct error error;
    fixture_put_noise(writer, 0, 41, 30, 3);
    fixture_flush(writer);
    struct disturbance found = sealed_disturbance(1, 0);
    fixture_check(night_put_analysis(writer, 2, fixture->site, "live, continued", &error), &error);
    fixture_check(night_put_disturbance(writer, 2, &found, &error), &error);
    fixture_close(writer, 80);
}

static void a_night_whose_recorder_died_is_sealed_on_and_holds(void **state)
{
    struct fixture *fixture = *state;
    uint8_t root[32];
    record_and_die(fixture);
    root_of(fixture, "id=2", root);
    struct sealed_told *told = sealed_verify(fixture->night, root);
    assert_true(told->result.root_found);
    assert_int_equal(told->result.faults, 1);
    reopen_and_close(fixture);
    told = sealed_verify(fixture->night, root);
    sealed_print(told);
    assert_int_equal(told->result.faults, 0);
    assert_true(told->result.root_found);
    assert_int_equal(told->seal_count, 3); /* the samples, both recorders' findings */
}

static void what_was_changed_while_no_recorder_ran_is_told_of_the_earlier_seals(void **state)
{
    struct fixture *fixture = *state;
    record_and_die(fixture);
    sealed_change(fixture->night, "UPDATE gap SET reason='nothing' WHERE id=2");
    reopen_and_close(fixture);
    struct sealed_told *told = sealed_verify(fixture->night, NULL);
    assert_true(sealed_tells(told, "gap", "", "is not what was sealed at 2023-11-14T22:13:2"));
    assert_false(told->seals[0].holds);
}

static void seals_of_another_key_in_one_night_are_told(void **state)
{
    struct fixture *fixture = *state;
    char path[128];
    record_and_die(fixture);
    (void)snprintf(path, sizeof path, "%s/.other.key", fixture->folder);
    assert_int_equal(setenv("ROOMWAKE_KEY", path, 1), 0);
    reopen_and_close(fixture);
    struct sealed_told *told = sealed_verify(fixture->night, NULL);
    assert_true(sealed_tells(told, "seal", "id ", "another key"));
    assert_false(told->seals[0].holds);
}

static void a_key_that_others_may_read_seals_nothing(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = NULL;
    struct error error;
    struct key key;
    fixture_check(key_load(&key, &error), &error);
    char command[160];
    (void)snprintf(command, sizeof command, "chmod 644 '%s/.base.key'", fixture->folder);
    assert_int_equal(system(command), 0);
    assert_int_equal(night_writer_open(&settings, NULL, NULL, &writer, &error), -1);
    assert_error(error, ERROR_STATE, "others may read");
    assert_false(fixture_exists(fixture, ""));
    assert_false(fixture_exists(fixture, "-lock"));
}

static void a_night_that_is_cut_short_is_told_and_still_opens(void **state)
{
    struct fixture *fixture = *state;
    struct night_writer *writer = sealed_begin(fixture);
    fixture_put_noise(writer, 0, 40, 500, 3);
    fixture_close(writer, 540);
    FILE *file = fopen(fixture->night, "rb");
    assert_non_null(file);
    assert_int_equal(fseek(file, 0, SEEK_END), 0);
    const long size = ftell(file);
    assert_int_equal(fclose(file), 0);
    size_t opened = 0;
    for (long length = size - 1; length > 0; length -= size / 11) {
        const char *copy = sealed_copy(fixture);
        struct night_reader *reader = NULL;
        struct verify_result result;
        struct night_seal seal;
        struct sealed_told told = {.gaps = 0};
        const struct verify_sink sink = {&told, sealed_on_fault, sealed_on_seal, sealed_on_gap};
        struct error error;
        assert_int_equal(truncate(copy, length), 0);
        if (night_verify(copy, NULL, &sink, &result, &error) == 0) {
            assert_true(sealed_tells(&told, "file", "", "cut short"));
        } else {
            assert_true(strstr(error.text, "cut short") || strstr(error.text, "not a"));
        }
        if (night_reader_open_damaged(copy, &reader, &error) == 0) {
            opened++;
            assert_true(night_reader_damage(reader) || length == size - 1);
            fixture_check(night_read_seal(reader, 1, &seal, &error), &error);
            assert_int_equal(seal.state, NIGHT_SEAL_BROKEN);
            night_reader_close(reader);
        }
    }
    assert_true(opened >= 3);
}

static enum night_seal_state state_of(const char *path, char root[65])
{
    struct night_reader *reader = NULL;
    struct night_seal seal;
    struct error error;
    fixture_check(night_reader_open_damaged(path, &reader, &error), &error);
    fixture_check(night_read_seal(reader, 1, &seal, &error), &error);
    fixture_check(night_read_root(reader, root, &error), &error);
    if (seal.state != NIGHT_SEAL_BROKEN) {
        assert_string_equal(root, seal.root);
    }
    night_reader_close(reader);
    return seal.state;
}

static void a_review_is_told_quickly_whether_the_seal_holds(void **state)
{
    struct fixture *fixture = *state;
    char root[65];
    struct night_writer *writer = sealed_begin(fixture);
    fixture_flush(writer);
    assert_int_equal(state_of(fixture->night, root), NIGHT_SEAL_OPEN);
    assert_string_equal(root, "");
    sealed_put_findings(writer, 1);
    fixture_close(writer, 40);
    assert_int_equal(state_of(fixture->night, root), NIGHT_SEAL_HOLDS);
    assert_int_equal(strlen(root), 64);
    static const char *const changes[] = {
        "UPDATE coincidence SET alert=1",        "UPDATE gap SET reason=''",
        "UPDATE block SET span_ns=1 WHERE id=1", "DELETE FROM seal WHERE what='analysis'",
        "DELETE FROM seal WHERE what<>'so far'", "UPDATE node SET room=7"};
    for (size_t i = 0; i < sizeof changes / sizeof *changes; i++) {
        const char *copy = sealed_copy(fixture);
        sealed_change(copy, changes[i]);
        assert_int_equal(state_of(copy, root), NIGHT_SEAL_BROKEN);
    }
}

/* Else the fuzzing would only ever see that it is of another version: after a change of the schema,
 * `roomwake import` a recording of two nodes with a coincidence into it anew. */
static void the_night_that_is_fuzzed_is_one_of_this_version(void **state)
{
    (void)state;
    struct sealed_told *told = sealed_verify("fuzz/corpus/night/small", NULL);
    sealed_print(told);
    assert_int_equal(told->result.faults, 0);
    assert_true(told->result.blocks > 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_FIXTURE(a_night_is_sealed_as_it_goes_and_at_its_end),
        WITH_FIXTURE(the_seal_holds_whatever_the_number_of_rows),
        WITH_FIXTURE(a_root_that_was_read_out_is_found_and_another_is_not),
        WITH_FIXTURE(a_root_counts_no_more_once_its_rows_are_changed),
        WITH_FIXTURE(messages_that_are_missing_without_a_named_gap_are_told),
        WITH_FIXTURE(another_analysis_is_sealed_beside_the_samples_seal),
        WITH_FIXTURE(a_night_that_goes_on_is_told_as_not_sealed_to_its_end),
        WITH_FIXTURE(a_night_whose_recorder_died_is_sealed_on_and_holds),
        WITH_FIXTURE(what_was_changed_while_no_recorder_ran_is_told_of_the_earlier_seals),
        WITH_FIXTURE(seals_of_another_key_in_one_night_are_told),
        WITH_FIXTURE(a_key_that_others_may_read_seals_nothing),
        WITH_FIXTURE(a_night_that_is_cut_short_is_told_and_still_opens),
        WITH_FIXTURE(the_night_that_is_fuzzed_is_one_of_this_version),
        WITH_FIXTURE(a_review_is_told_quickly_whether_the_seal_holds),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
