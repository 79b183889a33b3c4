/* That the base station's key is made once, for its owner alone, and never used where others could
 * have read it. */
#include "tests/unit/night/fixture.h"

#include <sys/stat.h>
#include <sys/wait.h>

#include "collector/night/key.h"

static void place_key(const struct fixture *fixture, const char *name, char path[160])
{
    (void)snprintf(path, 160, "%s/%s", fixture->folder, name);
    assert_int_equal(setenv("ROOMWAKE_KEY", path, 1), 0);
}

static void a_key_is_made_on_first_use_and_is_the_same_ever_after(void **state)
{
    char path[160];
    struct key first;
    struct key again;
    struct error error;
    struct stat file;
    place_key(*state, "deep/down/base.key", path);
    assert_int_equal(key_load_existing(&first, &error), -1);
    assert_error(error, ERROR_NOT_FOUND, "base.key");
    assert_int_equal(access(path, F_OK), -1);
    fixture_check(key_load(&first, &error), &error);
    fixture_check(key_load(&again, &error), &error);
    assert_memory_equal(&first, &again, sizeof first);
    fixture_check(key_load_existing(&again, &error), &error);
    assert_memory_equal(&first, &again, sizeof first);
    assert_int_equal(stat(path, &file), 0);
    assert_int_equal(file.st_mode & 0777, 0600);
    *strrchr(path, '/') = '\0';
    assert_int_equal(stat(path, &file), 0);
    assert_int_equal(file.st_mode & 0777, 0700);
    assert_int_equal(file.st_nlink, 2); /* nothing half beside it */
}

static void without_a_name_it_is_in_the_home_folder(void **state)
{
    const struct fixture *fixture = *state;
    char path[160];
    struct key key;
    struct error error;
    place_key(fixture, "unused", path);
    assert_int_equal(unsetenv("ROOMWAKE_KEY"), 0);
    assert_int_equal(setenv("HOME", fixture->folder, 1), 0);
    fixture_check(key_load(&key, &error), &error);
    (void)snprintf(path, sizeof path, "%s/.local/share/roomwake/base.key", fixture->folder);
    assert_int_equal(access(path, R_OK), 0);
    assert_int_equal(unsetenv("HOME"), 0);
    assert_int_equal(key_load(&key, &error), -1);
    assert_error(error, ERROR_NOT_FOUND, "neither ROOMWAKE_KEY nor HOME is set");
}

static void a_key_that_others_may_read_is_refused(void **state)
{
    char path[160];
    struct key key;
    struct error error;
    place_key(*state, "base.key", path);
    fixture_check(key_load(&key, &error), &error);
    static const mode_t modes[] = {0640, 0604, 0620, 0601};
    for (size_t i = 0; i < sizeof modes / sizeof *modes; i++) {
        assert_int_equal(chmod(path, modes[i]), 0);
        assert_int_equal(key_load(&key, &error), -1);
        assert_error(error, ERROR_STATE, "others may read");
    }
    assert_int_equal(chmod(path, 0400), 0);
    fixture_check(key_load(&key, &error), &error);
}

static void what_is_no_key_is_refused(void **state)
{
    static const char *const texts[] = {
        "",
        "x",
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f6\n\n",
        "gd61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60\n",
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60\n\n"};
    char path[160];
    struct key key;
    struct error error;
    place_key(*state, "base.key", path);
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        FILE *file = fopen(path, "wb");
        assert_non_null(file);
        assert_true(fputs(texts[i], file) >= 0);
        assert_int_equal(fclose(file), 0);
        assert_int_equal(chmod(path, 0600), 0);
        assert_int_equal(key_load(&key, &error), -1);
        assert_error(error, ERROR_FORMAT, "is no key");
    }
    assert_int_equal(unlink(path), 0);
    assert_int_equal(mkdir(path, 0700), 0);
    assert_int_equal(key_load(&key, &error), -1);
    assert_error(error, ERROR_FORMAT, "is no file");
}

static void two_that_come_at_once_get_the_same_key(void **state)
{
    enum { PROCESSES = 8 };
    char path[160];
    int results[2];
    place_key(*state, "base.key", path);
    assert_int_equal(pipe(results), 0);
    for (int i = 0; i < PROCESSES; i++) {
        pid_t child = fork();
        if (child == 0) {
            struct key key;
            struct error error;
            bool good = key_load(&key, &error) == 0 &&
                        write(results[1], key.public_key, KEY_PUBLIC_SIZE) == KEY_PUBLIC_SIZE;
            _exit(good ? 0 : 1);
        }
    }
    for (int i = 0; i < PROCESSES; i++) {
        int status = 0;
        assert_true(wait(&status) > 0);
        assert_int_equal(status, 0);
    }
    uint8_t keys[PROCESSES][KEY_PUBLIC_SIZE];
    assert_int_equal(read(results[0], keys, sizeof keys), sizeof keys);
    for (int i = 1; i < PROCESSES; i++) {
        assert_memory_equal(keys[0], keys[i], KEY_PUBLIC_SIZE);
    }
    close(results[0]);
    close(results[1]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_FIXTURE(a_key_is_made_on_first_use_and_is_the_same_ever_after),
        WITH_FIXTURE(without_a_name_it_is_in_the_home_folder),
        WITH_FIXTURE(a_key_that_others_may_read_is_refused),
        WITH_FIXTURE(what_is_no_key_is_refused),
        WITH_FIXTURE(two_that_come_at_once_get_the_same_key),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
