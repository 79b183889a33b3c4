/* Promises of the join code: what is written comes back, and what was not copied whole is refused.
 * Must never depend on a real authority. */
#include "tests/unit/test.h"

#include "common/join_code.h"

#define PEM                                                                                        \
    "-----BEGIN CERTIFICATE-----\n"                                                                \
    "MIIBaTCCAQ+gAwIBAgIIABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqr\n"                           \
    "c3R1dnc=\n"                                                                                   \
    "-----END CERTIFICATE-----\n"

static struct error error;

static struct join_code sample(void)
{
    return (struct join_code){.node = "n-hall",
                              .site = "lodge",
                              .host = "fd00::1",
                              .port = 8883,
                              .time_host = "base.local",
                              .time_port = 12300,
                              .password = "abc234",
                              .authority = PEM};
}

static void what_is_written_comes_back(void **state)
{
    (void)state;
    struct join_code code = sample();
    struct join_code again;
    struct text text = {0};
    assert_int_equal(join_code_write(&code, &text, &error), 0);
    assert_null(strpbrk(text.bytes, " '\"\\$`!\n"));
    assert_int_equal(join_code_read(text.bytes, &again, &error), 0);
    assert_memory_equal(&again, &code, sizeof code);
    text_free(&text);
}

static void a_code_that_was_not_copied_whole_is_refused(void **state)
{
    (void)state;
    struct join_code code = sample();
    struct text text = {0};
    assert_int_equal(join_code_write(&code, &text, &error), 0);
    for (size_t i = 0; i < text.length; i++) {
        char kept = text.bytes[i];
        text.bytes[i] = kept == 'x' ? 'y' : 'x';
        assert_int_equal(join_code_read(text.bytes, &code, &error), -1);
        text.bytes[i] = '\0';
        assert_int_equal(join_code_read(text.bytes, &code, &error), -1);
        assert_int_equal(error.code, ERROR_FORMAT);
        text.bytes[i] = kept;
    }
    text_free(&text);
}

static void a_config_gets_its_five_fields_and_keeps_the_rest(void **state)
{
    (void)state;
    struct join_code code = sample();
    cJSON *config = cJSON_Parse("{\"node\":\"old\",\"block_s\":0.5}");
    assert_int_equal(join_code_configure(&code, config, &error), 0);
    assert_string_equal(cJSON_GetObjectItem(config, "node")->valuestring, "n-hall");
    assert_string_equal(cJSON_GetObjectItem(config, "broker")->valuestring,
                        "mqtts://n-hall:abc234@[fd00::1]:8883");
    assert_string_equal(cJSON_GetObjectItem(config, "time")->valuestring, "base.local:12300");
    assert_string_equal(cJSON_GetObjectItem(config, "authority")->valuestring, PEM);
    assert_int_equal(cJSON_GetArraySize(config), 6);
    cJSON_Delete(config);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_written_comes_back),
        cmocka_unit_test(a_code_that_was_not_copied_whole_is_refused),
        cmocka_unit_test(a_config_gets_its_five_fields_and_keeps_the_rest),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
