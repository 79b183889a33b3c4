/* Promises of the broker's files: who is in the password file, and what the access list grants.
 * Must never depend on the machine's own keys. */
#include "tests/unit/test.h"

#include <openssl/evp.h>
#include <stdlib.h>
#include <unistd.h>

#include "collector/enrol/users.h"

static char folder[64];
static struct keys keys;
static struct error error;

static int set_up(void **state)
{
    (void)state;
    snprintf(folder, sizeof folder, "/tmp/roomwake-users-XXXXXX");
    assert_non_null(mkdtemp(folder));
    setenv("ROOMWAKE_KEYS", folder, 1);
    return keys_open(&keys, "lodge", &error);
}

static int tear_down(void **state)
{
    (void)state;
    static const char *const names[] = {"passwords", "base.password", "lock"};
    char path[128];
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        snprintf(path, sizeof path, "%s/%s", keys.folder, names[i]);
        (void)unlink(path);
    }
    (void)rmdir(keys.folder);
    keys_close(&keys);
    return rmdir(folder);
}

static struct text passwords(void)
{
    struct text text;
    assert_int_equal(keys_read(&keys, "passwords", &text, &error), 0);
    return text;
}

static void passwords_are_long_and_differ(void **state)
{
    (void)state;
    char one[USERS_PASSWORD_SIZE];
    char two[USERS_PASSWORD_SIZE];
    assert_int_equal(users_make_password(one, &error), 0);
    assert_int_equal(users_make_password(two, &error), 0);
    assert_int_equal(strlen(one), 26);
    assert_int_equal(strspn(one, "abcdefghijkmnpqrstuvwxyz23456789"), 26);
    assert_string_not_equal(one, two);
}

/* The line's form is mosquitto_passwd(1)'s; the hash is worked out again here from its parts. */
static void a_line_is_the_hash_of_the_password(void **state)
{
    (void)state;
    unsigned char salt[16];
    unsigned char hash[80];
    unsigned char again[64];
    char salt_text[32];
    char hash_text[128];
    assert_int_equal(users_set(&keys, "n1", "a-password", NULL, &error), 0);
    struct text text = passwords();
    assert_int_equal(sscanf(text.bytes, "n1:$7$101$%31[^$]$%127s", salt_text, hash_text), 2);
    assert_int_equal(EVP_DecodeBlock(salt, (unsigned char *)salt_text, (int)strlen(salt_text)), 12);
    assert_int_equal(EVP_DecodeBlock(hash, (unsigned char *)hash_text, (int)strlen(hash_text)), 66);
    PKCS5_PBKDF2_HMAC("a-password", -1, salt, 12, 101, EVP_sha512(), 64, again);
    assert_memory_equal(hash, again, 64);
    text_free(&text);
}

static void one_user_has_one_line_and_others_stay(void **state)
{
    (void)state;
    bool replaced = true;
    assert_int_equal(users_set(&keys, "n1", "p", &replaced, &error), 0);
    assert_false(replaced);
    assert_int_equal(users_set(&keys, "n11", "p", NULL, &error), 0);
    assert_int_equal(users_set(&keys, "n1", "q", &replaced, &error), 0);
    assert_true(replaced);
    struct text text = passwords();
    assert_int_equal(users_count_nodes(text.bytes), 2);
    text_free(&text);
    assert_int_equal(users_remove(&keys, "n1", &error), 0);
    text = passwords();
    assert_memory_equal(text.bytes, "n11:$7$", 7);
    text_free(&text);
    assert_int_equal(users_remove(&keys, "n1", &error), -1);
    assert_int_equal(error.code, ERROR_NOT_FOUND);
}

static void the_base_station_keeps_its_password(void **state)
{
    (void)state;
    char one[USERS_PASSWORD_SIZE];
    char two[USERS_PASSWORD_SIZE];
    assert_int_equal(users_load_base(&keys, one, &error), 0);
    assert_int_equal(users_load_base(&keys, two, &error), 0);
    assert_string_equal(one, two);
    struct text text = passwords();
    assert_int_equal(users_count_nodes(text.bytes), 0);
    text_free(&text);
}

static void the_access_list_names_what_each_may_do(void **state)
{
    (void)state;
    struct text access = {0};
    assert_int_equal(users_access("lodge", "base.station:x\nn1:y\nreader.tablet:z\n", &access), 0);
    assert_string_equal(access.bytes,
                        "# Made by `roomwake enrol`: who may do what at the broker of "
                        "site lodge.\n"
                        "pattern write roomwake/lodge/%u/hello\n"
                        "pattern write roomwake/lodge/%u/blocks\n"
                        "pattern write roomwake/lodge/%u/state\n"
                        "pattern write roomwake/lodge/%u/senml\n"
                        "pattern read roomwake/lodge/%u/stored\n"
                        "\nuser base.station\ntopic readwrite roomwake/lodge/#\n"
                        "\nuser reader.tablet\ntopic read roomwake/lodge/alert\n");
    text_free(&access);
}

int main(void)
{
#define PROMISE(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        PROMISE(passwords_are_long_and_differ),
        PROMISE(a_line_is_the_hash_of_the_password),
        PROMISE(one_user_has_one_line_and_others_stay),
        PROMISE(the_base_station_keeps_its_password),
        PROMISE(the_access_list_names_what_each_may_do),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
