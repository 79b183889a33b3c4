/* The motion pin's driver where there is no chip: all that can be had of it without one (no kernel
 * of ours has a line to simulate). Must never ask a chip that is there. */
#include "tests/unit/test.h"

#include <cjson/cJSON.h>

#include "node/drivers/driver.h"

static int try_open(const char *text, struct driver **driver, struct channel *channel, cJSON **json,
                    struct error *error)
{
    size_t count;
    *json = cJSON_Parse(text);
    struct driver_setup setup = {
        .settings = *json, .path = "drivers[0]", .config_dir = ".", .clock = clock_system()};
    return driver_find("gpio")->open(&setup, driver, channel, 1, &count, error);
}

static void a_node_starts_without_the_chip_and_it_is_told(void **state)
{
    (void)state;
    struct driver *driver = NULL;
    struct channel channel;
    struct error error;
    cJSON *json;
    int64_t next_ns;
    if (!driver_find("gpio")) {
        skip(); /* built without libgpiod */
    }
    assert_int_equal(
        try_open("{\"chip\":\"no-such-chip\",\"line\":4}", &driver, &channel, &json, &error), 0);
    assert_string_equal(channel.name, "motion");
    assert_int_equal(channel.period_ps, 0);
    const struct driver_sink sink = {0};
    for (int i = 0; i < 2; i++) { /* again and again */
        assert_int_equal(driver_find("gpio")->poll(driver, 1, &sink, &next_ns, &error), -1);
        assert_error(error, ERROR_IO, "no-such-chip: ");
    }
    driver_find("gpio")->close(driver);
    cJSON_Delete(json);
}

static void wrong_settings_are_named(void **state)
{
    (void)state;
    static const char *const wrong[] = {"{\"chip\":\"no-such-chip\"}", "{\"line\":-1}",
                                        "{\"line\":4,\"warm_up\":3}"};
    if (!driver_find("gpio")) {
        skip();
    }
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        struct driver *driver;
        struct channel channel;
        struct error error = {0};
        cJSON *json;
        assert_int_equal(try_open(wrong[i], &driver, &channel, &json, &error), -1);
        assert_non_null(strstr(error.text, "drivers[0]"));
        cJSON_Delete(json);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_node_starts_without_the_chip_and_it_is_told),
        cmocka_unit_test(wrong_settings_are_named),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
