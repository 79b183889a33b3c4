/* Pairing: who gets which right, and what guessing brings.
 * Must never depend on the clock: the time is passed in. Run by ctest. */
#include "tests/unit/test.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>

#include "collector/web/access.h"

static struct web_access *access_of(bool all)
{
    struct error error;
    struct web_access *access = NULL;
    assert_int_equal(web_access_new(all, &access, &error), 0);
    return access;
}

static void the_code_gives_the_right_it_is_for(void **state)
{
    (void)state;
    static const enum web_right rights[] = {WEB_RIGHT_VIEW, WEB_RIGHT_MARK};
    struct web_access *access = access_of(false);
    for (size_t i = 0; i < 2; i++) {
        char token[WEB_TOKEN_SIZE];
        enum web_right right = WEB_RIGHT_NONE;
        const char *code = web_access_code(access, rights[i]);
        assert_int_equal(web_access_pair(access, code, "a", 0, token, &right), WEB_PAIRED);
        assert_int_equal(right, rights[i]);
        assert_int_equal(strlen(token), WEB_TOKEN_SIZE - 1);
        assert_int_equal(web_access_of(access, token), rights[i]);
        token[0] = token[0] == 'a' ? 'b' : 'a';
        assert_int_equal(web_access_of(access, token), WEB_RIGHT_NONE);
    }
    assert_string_not_equal(web_access_code(access, WEB_RIGHT_VIEW),
                            web_access_code(access, WEB_RIGHT_MARK));
    web_access_free(access);
}

static void case_spaces_and_dashes_do_not_count(void **state)
{
    (void)state;
    struct web_access *access = access_of(false);
    const char *code = web_access_code(access, WEB_RIGHT_VIEW);
    char typed[32];
    char token[WEB_TOKEN_SIZE];
    enum web_right right = WEB_RIGHT_NONE;
    (void)snprintf(typed, sizeof typed, " %.4s %s ", code, code + 5);
    for (size_t i = 0; typed[i]; i++) {
        typed[i] = (char)toupper((unsigned char)typed[i]);
    }
    assert_int_equal(web_access_pair(access, typed, "a", 0, token, &right), WEB_PAIRED);
    web_access_free(access);
}

static void without_a_token_nothing_is_allowed_unless_everything_is(void **state)
{
    (void)state;
    struct web_access *access = access_of(false);
    assert_int_equal(web_access_of(access, NULL), WEB_RIGHT_NONE);
    assert_int_equal(web_access_of(access, ""), WEB_RIGHT_NONE);
    assert_int_equal(web_access_of(access, "00000000000000000000000000000000"), WEB_RIGHT_NONE);
    web_access_free(access);
    access = access_of(true);
    assert_int_equal(web_access_of(access, NULL), WEB_RIGHT_MARK);
    web_access_free(access);
}

static void of_ten_thousand_guesses_hardly_any_is_looked_at(void **state)
{
    (void)state;
    struct web_access *access = access_of(false);
    char token[WEB_TOKEN_SIZE];
    enum web_right right = WEB_RIGHT_NONE;
    unsigned looked_at = 0;
    for (unsigned i = 0; i < 10000; i++) { /* within ten seconds */
        char guess[WEB_CODE_SIZE];
        (void)snprintf(guess, sizeof guess, "aaaa-%04u", i);
        enum web_pairing pairing = web_access_pair(access, guess, "a", i, token, &right);
        assert_int_not_equal(pairing, WEB_PAIRED);
        looked_at += pairing == WEB_PAIR_WRONG;
    }
    assert_in_range(looked_at, 5, 8);
    web_access_free(access);
}

static void a_guesser_does_not_keep_another_address_out_for_long(void **state)
{
    (void)state;
    struct web_access *access = access_of(false);
    char token[WEB_TOKEN_SIZE];
    enum web_right right = WEB_RIGHT_NONE;
    for (unsigned i = 0; i < 1000; i++) {
        (void)web_access_pair(access, "aaaa-aaaa", "bad", 0, token, &right);
    }
    assert_int_equal(
        web_access_pair(access, web_access_code(access, WEB_RIGHT_VIEW), "good", 0, token, &right),
        WEB_PAIRED);
    for (unsigned i = 0; i < 1000; i++) { /* from a thousand addresses: all together are limited */
        char address[16];
        (void)snprintf(address, sizeof address, "bad%u", i);
        (void)web_access_pair(access, "aaaa-aaaa", address, 0, token, &right);
    }
    const char *code = web_access_code(access, WEB_RIGHT_VIEW);
    assert_int_equal(web_access_pair(access, code, "late", 0, token, &right), WEB_PAIR_WAIT);
    assert_int_equal(web_access_pair(access, code, "late", 1000, token, &right), WEB_PAIRED);
    web_access_free(access);
}

static void what_is_no_code_is_wrong(void **state)
{
    (void)state;
    static const char *const codes[] = {
        "", "a", "-", "aaaa-aaa", "aaaa-aaaaa", "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"};
    struct web_access *access = access_of(false);
    char token[WEB_TOKEN_SIZE];
    enum web_right right = WEB_RIGHT_NONE;
    for (size_t i = 0; i < sizeof codes / sizeof *codes; i++) {
        assert_int_equal(web_access_pair(access, codes[i], "a", i * 100000, token, &right),
                         WEB_PAIR_WRONG);
    }
    web_access_free(access);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_code_gives_the_right_it_is_for),
        cmocka_unit_test(case_spaces_and_dashes_do_not_count),
        cmocka_unit_test(without_a_token_nothing_is_allowed_unless_everything_is),
        cmocka_unit_test(of_ten_thousand_guesses_hardly_any_is_looked_at),
        cmocka_unit_test(a_guesser_does_not_keep_another_address_out_for_long),
        cmocka_unit_test(what_is_no_code_is_wrong),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
