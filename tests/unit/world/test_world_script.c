/* Scripts: what is read, what is refused and how the fault is named. */
#include "tests/unit/world/house.h"

static void refuse(const char *script, enum error_code code, const char *part)
{
    struct error error = {0};
    struct site *site;
    struct script *parsed = NULL;
    assert_int_equal(site_parse(house_site_text, strlen(house_site_text), "site", &site, &error),
                     0);
    int status = script_parse(script, strlen(script), "house.json", site, &parsed, &error);
    site_free(site);
    script_free(parsed);
    assert_int_equal(status, -1);
    assert_error(error, code, part);
    assert_error(error, code, "house.json");
}

static void faults_are_named_by_their_path(void **state)
{
    (void)state;
    refuse("{\"version\":2,\"seed\":1}", ERROR_VERSION, "version");
    refuse("{\"version\":1}", ERROR_FORMAT, "seed");
    refuse("{\"version\":1,\"seed\":1,\"colour\":3}", ERROR_FORMAT, "colour");
    refuse(HOUSE_QUIET(",\"wires\":[{\"id\":\"a\",\"through_m\":[0,0],\"along\":[1,0,0]}]"),
           ERROR_FORMAT, "wires[0].through_m");
    refuse(HOUSE_QUIET(",\"wires\":[{\"id\":\"a\",\"through_m\":[0,0,0],\"along\":[0,0,0]}]"),
           ERROR_RANGE, "wires[0].along");
    refuse(HOUSE_QUIET(",\"wires\":[{\"id\":\"a\",\"through_m\":[0,0,0],\"along\":[0,0,1],"
                       "\"fed_by\":\"a\"}]"),
           ERROR_NOT_FOUND, "wires[0].fed_by");
    refuse(HOUSE_QUIET(",\"events\":[{\"at_s\":1,\"kind\":\"load\",\"wire\":\"b\",\"amps\":1}]"),
           ERROR_NOT_FOUND, "events[0].wire");
    refuse(HOUSE_QUIET(",\"events\":[{\"at_s\":1,\"kind\":\"dance\"}]"), ERROR_FORMAT,
           "events[0].kind");
    refuse(HOUSE_QUIET(",\"events\":[{\"at_s\":1,\"kind\":\"walk\",\"from\":\"hall\","
                       "\"via\":[\"kitchen\"],\"speed_m_s\":1}]"),
           ERROR_NOT_FOUND, "events[0].via[0]: no door");
    refuse(HOUSE_QUIET(",\"events\":[{\"at_s\":1,\"kind\":\"walk\",\"from\":\"attic\","
                       "\"via\":[\"hall\"],\"speed_m_s\":1}]"),
           ERROR_NOT_FOUND, "events[0].from");
    refuse(HOUSE_QUIET(",\"events\":[{\"at_s\":1,\"kind\":\"walk\",\"from\":\"hall\","
                       "\"via\":[\"passage\"],\"speed_m_s\":99}]"),
           ERROR_RANGE, "events[0].speed_m_s");
    refuse(HOUSE_QUIET(",\"events\":[{\"at_s\":1,\"kind\":\"stuck\",\"node\":\"n1\","
                       "\"channel\":\"sound\"}]"),
           ERROR_NOT_FOUND, "events[0].channel");
    refuse(HOUSE_QUIET(",\"repeat\":{\"from_s\":1,\"every_s\":5,\"events\":[{\"at_s\":1,"
                       "\"kind\":\"outage\",\"node\":\"n9\"}]}"),
           ERROR_NOT_FOUND, "repeat.events[0].node");
    refuse("{\"version\":1,\"seed\":1", ERROR_FORMAT, "line");
}

static void repeats_are_written_out_up_to_the_end_in_order(void **state)
{
    (void)state;
    struct house house;
    house_build(&house, HOUSE_QUIET(",\"events\":[{\"at_s\":130,\"kind\":\"phone\","
                                    "\"room\":\"hall\"}],"
                                    "\"repeat\":{\"from_s\":100,\"every_s\":200,\"events\":["
                                    "{\"at_s\":20,\"kind\":\"phone\",\"room\":\"kitchen\"},"
                                    "{\"at_s\":40,\"kind\":\"outage\",\"node\":\"n2\"}]}"));
    static const int64_t at_s[] = {120, 130, 140, 320, 340, 520, 540};
    assert_int_equal(house.script->event_count, 7);
    for (size_t i = 0; i < 7; i++) {
        assert_int64_equal(house.script->events[i].at_ns, at_s[i] * NS_PER_S);
    }
    house_free(&house);
}

static void too_many_events_are_refused_not_dropped(void **state)
{
    (void)state;
    refuse("{\"version\":1,\"seed\":1,\"length_s\":30000,\"repeat\":{\"from_s\":0,\"every_s\":1,"
           "\"events\":[{\"at_s\":0,\"kind\":\"phone\",\"room\":\"hall\"}]}}",
           ERROR_RANGE, "more than 20000");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(faults_are_named_by_their_path),
        cmocka_unit_test(repeats_are_written_out_up_to_the_end_in_order),
        cmocka_unit_test(too_many_events_are_refused_not_dropped),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
