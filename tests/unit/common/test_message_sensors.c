/* What a node tells of each sensor comes back, what was not measured stays unknown, faults are
 * named. */
#include "../test.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "common/message.h"

static struct message_state some(void)
{
    struct message_state state = {.boot = 1, .battery_v = NAN, .sensor_count = 2};
    state.sensors[0] = (struct message_sensor){"magnetic.x", 49.97, 3.1e-8, 4, 0, 12.5};
    state.sensors[1] = (struct message_sensor){"motion", NAN, NAN, 0, 0, 0};
    return state;
}

static void figures_come_back_and_unknown_ones_stay_so(void **state)
{
    (void)state;
    struct message_state told = some();
    struct message_state heard;
    struct text text = {0};
    struct error error;
    assert_int_equal(message_state_write(&told, &text), 0);
    assert_int_equal(message_state_read(text.bytes, text.length, &heard, &error), 0);
    assert_int_equal(heard.sensor_count, 2);
    assert_string_equal(heard.sensors[0].name, "magnetic.x");
    assert_true(fabs(heard.sensors[0].rate_hz - 49.97) < 1e-9);
    assert_true(fabs(heard.sensors[0].noise - 3.1e-8) < 1e-14);
    assert_int_equal(heard.sensors[0].clipped, 4);
    assert_true(fabs(heard.sensors[0].missing_s - 12.5) < 1e-9);
    assert_true(isnan(heard.sensors[1].rate_hz) && isnan(heard.sensors[1].noise));
    text_free(&text);
}

static void a_state_without_them_is_as_it_was(void **state)
{
    (void)state;
    struct message_state told = some();
    struct text text = {0};
    told.sensor_count = 0;
    assert_int_equal(message_state_write(&told, &text), 0);
    assert_null(strstr(text.bytes, "sensors"));
    text_free(&text);
}

static void faults_are_named_by_their_place(void **state)
{
    (void)state;
    static const char *const wrong[][2] = {
        {"[{\"name\":\"Magnetic\",\"clipped\":0,\"stuck_s\":0,\"missing_s\":0}]",
         "state.sensors[0].name"},
        {"[{\"name\":\"motion\",\"clipped\":-1,\"stuck_s\":0,\"missing_s\":0}]", "clipped"},
        {"[{\"name\":\"motion\",\"clipped\":0,\"stuck_s\":0,\"missing_s\":0,\"more\":1}]", "more"},
        {"3", "sensors"},
    };
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        struct message_state told = some();
        struct message_state heard;
        struct text text = {0};
        char json[2048];
        struct error error;
        told.sensor_count = 0;
        assert_int_equal(message_state_write(&told, &text), 0);
        (void)snprintf(json, sizeof json, "%.*s,\"sensors\":%s}", (int)text.length - 1, text.bytes,
                       wrong[i][0]);
        assert_int_equal(message_state_read(json, strlen(json), &heard, &error), -1);
        assert_non_null(strstr(error.text, wrong[i][1]));
        text_free(&text);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(figures_come_back_and_unknown_ones_stay_so),
        cmocka_unit_test(a_state_without_them_is_as_it_was),
        cmocka_unit_test(faults_are_named_by_their_place),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
