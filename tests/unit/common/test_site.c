/* The site file: what is taken, what is refused and under which name, and the ways between nodes.
 * Must never need a file outside its own temporary folder. */
#include "tests/unit/test.h"

#include <stdlib.h>
#include <unistd.h>

#include "common/site.h"
#include "common/site_check.h"

static const char whole[] =
    "{\"site\":\"lodge\",\"title\":\"The old lodge\",\"mains_hz\":60,\"baseline_s\":300,"
    "\"false_onsets_per_hour\":0.25,\"alert_limit_per_night\":0.2,\"order_confidence\":0.9,"
    "\"rooms\":["
    "{\"id\":\"hall\",\"title\":\"Hall\",\"floor\":0,\"outline_m\":[[0,0],[6,0],[6,4],[0,4]]},"
    "{\"id\":\"kitchen\",\"outline_m\":[[6.1,0],[10,0],[10,4],[6.1,4]]},"
    "{\"id\":\"attic\",\"floor\":1,\"outline_m\":[[0,0],[6,0],[6,4],[0,4]]},"
    "{\"id\":\"shed\",\"outline_m\":[[20,0],[22,0],[22,2],[20,2]]}],"
    "\"doors\":[{\"between\":[\"hall\",\"kitchen\"],\"at_m\":[6,2]},"
    "{\"between\":[\"attic\",\"hall\"],\"at_m\":[1,3]}],"
    "\"nodes\":["
    "{\"id\":\"n1\",\"room\":\"hall\",\"position_m\":[1,2,0.8],\"control\":false,"
    "\"clock_error_s\":0.002,\"channels\":[{\"name\":\"magnetic.x\",\"unit\":\"T\","
    "\"rate_hz\":50},{\"name\":\"magnetic.y\",\"rate_hz\":50},"
    "{\"name\":\"motion\",\"unit\":\"/\",\"rate_hz\":0}]},"
    "{\"id\":\"n2\",\"room\":\"kitchen\",\"position_m\":[8,2,0.8],"
    "\"channels\":[{\"name\":\"temperature\",\"unit\":\"Cel\",\"rate_hz\":1}]},"
    "{\"id\":\"n3\",\"room\":\"attic\",\"position_m\":[1,2,0.8],\"control\":true,"
    "\"channels\":[{\"name\":\"motion\",\"rate_hz\":0}]},"
    "{\"id\":\"n4\",\"room\":\"shed\",\"position_m\":[21,1,0],"
    "\"channels\":[{\"name\":\"motion\",\"rate_hz\":0}]}]}";

static struct site *good(void)
{
    struct site *site = NULL;
    struct error error = {0};
    if (site_parse(whole, strlen(whole), "site.json", &site, &error) != 0) {
        fail_msg("%s", error.text);
    }
    return site;
}

/* The whole site with one part of its text put differently; the result is the caller's. */
static char *with(const char *from, const char *to)
{
    const char *at = strstr(whole, from);
    assert_non_null(at);
    size_t head = (size_t)(at - whole);
    size_t size = sizeof whole + strlen(to);
    char *text = malloc(size);
    assert_non_null(text);
    (void)snprintf(text, size, "%.*s%s%s", (int)head, whole, to, at + strlen(from));
    return text;
}

struct fault {
    const char *from;
    const char *to;
    enum error_code code;
    const char *text;
};

static void assert_refused(const struct fault *fault)
{
    char *text = with(fault->from, fault->to);
    struct site *site = NULL;
    struct error error = {0};
    if (site_parse(text, strlen(text), "site.json", &site, &error) == 0) {
        fail_msg("taken: %s", fault->to);
    }
    free(text);
    assert_null(site);
    assert_error(error, fault->code, fault->text);
    assert_int_equal(strncmp(error.text, "site.json: ", 11), 0);
}

static void a_whole_site_is_read_as_written(void **state)
{
    (void)state;
    struct site *site = good();
    assert_string_equal(site->id, "lodge");
    assert_string_equal(site->title, "The old lodge");
    assert_close(site->mains_hz, 60, 0);
    assert_close(site->baseline_s, 300, 0);
    assert_close(site->false_onsets_per_hour, 0.25, 0);
    assert_close(site->alert_limit_per_night, 0.2, 0);
    assert_close(site->order_confidence, 0.9, 0);
    assert_int_equal(site->room_count, 4);
    assert_int_equal(site->rooms[2].floor, 1);
    assert_string_equal(site->rooms[0].title, "Hall");
    assert_string_equal(site->rooms[1].title, "kitchen");
    assert_int_equal(site->door_count, 2);
    assert_int_equal(site->doors[1].rooms[0], 2);
    assert_int_equal(site->node_count, 4);
    const struct site_node *node = &site->nodes[site_find_node(site, "n1")];
    assert_int_equal(node->room, site_find_room(site, "hall"));
    assert_close(node->clock_error_s, 0.002, 0);
    assert_int_equal(site_node_find_channel(node, "magnetic.y"), 1);
    assert_string_equal(node->channels[1].unit, "T");
    assert_int64_equal(node->channels[1].period_ps, 20000000000);
    assert_true(site_node_find_channel(node, "magnetic.z") == SIZE_MAX);
    assert_true(site->nodes[2].control);
    assert_close(site->nodes[1].clock_error_s, 0.001, 0);
    site_free(site);
}

static void numbers_left_out_take_their_defaults(void **state)
{
    (void)state;
    const char *text =
        "{\"site\":\"s\",\"rooms\":[{\"id\":\"r\",\"outline_m\":[[0,0],[1,0],[1,1]]}],"
        "\"nodes\":[]}";
    struct site *site = NULL;
    struct error error = {0};
    assert_int_equal(site_parse(text, strlen(text), "s", &site, &error), 0);
    assert_close(site->mains_hz, 50, 0);
    assert_close(site->baseline_s, 600, 0);
    assert_close(site->false_onsets_per_hour, 0.5, 0);
    assert_close(site->alert_limit_per_night, 0.1, 0);
    assert_close(site->order_confidence, 0.95, 0);
    assert_int_equal(site->door_count, 0);
    site_free(site);
}

static void an_unknown_field_is_named_by_its_path(void **state)
{
    (void)state;
    const struct fault faults[] = {
        {"\"mains_hz\"", "\"mains_Hz\"", ERROR_FORMAT, "site.json: mains_Hz: unknown field"},
        {"\"position_m\":[21", "\"positon_m\":[21", ERROR_FORMAT,
         "site.json: nodes[3].positon_m: unknown field"},
        {"\"title\":\"Hall\"", "\"name\":\"Hall\"", ERROR_FORMAT, "rooms[0].name: unknown field"},
        {"\"at_m\":[1,3]", "\"at_m\":[1,3],\"wide\":1", ERROR_FORMAT,
         "doors[1].wide: unknown field"},
        {"\"rate_hz\":1}", "\"rate_hz\":1,\"gain\":2}", ERROR_FORMAT,
         "nodes[1].channels[0].gain: unknown field"},
        {"\"baseline_s\":300", "\"baseline_s\":300,\"baseline_s\":301", ERROR_FORMAT,
         "baseline_s: given twice"},
    };
    for (size_t i = 0; i < sizeof faults / sizeof faults[0]; i++) {
        assert_refused(&faults[i]);
    }
}

static void a_missing_or_misshapen_field_is_named_by_its_path(void **state)
{
    (void)state;
    const struct fault faults[] = {
        {"\"site\":\"lodge\",", "", ERROR_FORMAT, "site.json: site: missing"},
        {"\"room\":\"hall\",", "", ERROR_FORMAT, "nodes[0].room: missing"},
        {"\"position_m\":[8,2,0.8]", "\"position_m\":[8,2]", ERROR_FORMAT,
         "nodes[1].position_m: not a list of 3 numbers"},
        {"\"position_m\":[8,2,0.8]", "\"position_m\":[8,\"2\",0.8]", ERROR_RANGE,
         "nodes[1].position_m[1]"},
        {"[6,4],[0,4]]},{\"id\":\"kitchen\"", "[6,4],[0,1e9]]},{\"id\":\"kitchen\"", ERROR_RANGE,
         "rooms[0].outline_m[3][1]"},
        {"\"floor\":1", "\"floor\":1.5", ERROR_RANGE, "rooms[2].floor: not a whole number"},
        {"\"site\":\"lodge\"", "\"site\":\"Old Lodge\"", ERROR_FORMAT, "site: \"Old Lodge\""},
        {"\"id\":\"n2\"", "\"id\":\"n/2\"", ERROR_FORMAT, "nodes[1].id: \"n/2\""},
        {"\"control\":true", "\"control\":1", ERROR_FORMAT, "nodes[2].control"},
        {"\"order_confidence\":0.9", "\"order_confidence\":1", ERROR_RANGE, "order_confidence"},
        {"\"clock_error_s\":0.002", "\"clock_error_s\":-1", ERROR_RANGE, "nodes[0].clock_error_s"},
        {"\"between\":[\"hall\",\"kitchen\"]", "\"between\":[\"hall\"]", ERROR_FORMAT,
         "doors[0].between"},
        {"[{\"name\":\"temperature\",\"unit\":\"Cel\",\"rate_hz\":1}]", "[]", ERROR_FORMAT,
         "nodes[1].channels: empty"},
        {"\"nodes\":[", "\"nodes\":[,", ERROR_FORMAT, "line 1, column"},
    };
    for (size_t i = 0; i < sizeof faults / sizeof faults[0]; i++) {
        assert_refused(&faults[i]);
    }
}

static void a_node_outside_its_room_and_a_door_between_apart_rooms_are_refused(void **state)
{
    (void)state;
    const struct fault faults[] = {
        {"[1,2,0.8],\"control\":false", "[6.02,2,0.8],\"control\":false", ERROR_RANGE,
         "nodes[0].position_m: outside room \"hall\""},
        {"\"room\":\"shed\"", "\"room\":\"barn\"", ERROR_NOT_FOUND,
         "nodes[3].room: no room \"barn\""},
        {"[\"hall\",\"kitchen\"]", "[\"hall\",\"shed\"]", ERROR_RANGE,
         "doors[0].at_m: rooms \"hall\" and \"shed\" don't touch there"},
        {"\"at_m\":[6,2]", "\"at_m\":[3,2]", ERROR_RANGE, "doors[0].at_m"},
        {"[\"hall\",\"kitchen\"]", "[\"hall\",\"cellar\"]", ERROR_NOT_FOUND,
         "doors[0].between[1]: no room \"cellar\""},
        {"[\"hall\",\"kitchen\"]", "[\"hall\",\"hall\"]", ERROR_RANGE, "twice the same room"},
        {"\"at_m\":[1,3]", "\"at_m\":[8,3]", ERROR_RANGE, "doors[1].at_m"},
        {"\"floor\":1", "\"floor\":2", ERROR_RANGE, "more than one floor apart"},
    };
    for (size_t i = 0; i < sizeof faults / sizeof faults[0]; i++) {
        assert_refused(&faults[i]);
    }
}

static void the_edge_of_a_room_counts_as_inside(void **state)
{
    (void)state;
    const char *places[] = {"[6,2,0.8]", "[0,0,0.8]", "[6.009,4,0.8]", "[3,4,0.8]"};
    for (size_t i = 0; i < sizeof places / sizeof places[0]; i++) {
        char *text = with("[1,2,0.8]", places[i]);
        struct site *site = NULL;
        struct error error = {0};
        assert_int_equal(site_parse(text, strlen(text), "s", &site, &error), 0);
        free(text);
        site_free(site);
    }
}

static void double_ids_are_refused(void **state)
{
    (void)state;
    const struct fault faults[] = {
        {"\"id\":\"n3\"", "\"id\":\"n1\"", ERROR_FORMAT, "nodes[2].id: \"n1\" is nodes[0]'s"},
        {"\"id\":\"attic\"", "\"id\":\"hall\"", ERROR_FORMAT,
         "rooms[2].id: \"hall\" is rooms[0]'s"},
        {"magnetic.y", "magnetic.x", ERROR_FORMAT,
         "nodes[0].channels[1].name: \"magnetic.x\" is there twice"},
    };
    for (size_t i = 0; i < sizeof faults / sizeof faults[0]; i++) {
        struct fault fault = faults[i];
        if (i == 1) {
            /* The stair names the attic, which is then no more. */
            fault.code = ERROR_NOT_FOUND;
            fault.text = "doors[1].between[0]: no room \"attic\"";
        }
        assert_refused(&fault);
    }
    struct site *site = good();
    struct error error = {0};
    (void)snprintf(site->rooms[2].id, sizeof site->rooms[2].id, "hall");
    assert_int_equal(site_check(site, &error), -1);
    assert_error(error, ERROR_FORMAT, faults[1].text);
    site_free(site);
}

static void units_and_rates_that_don_t_fit_are_refused(void **state)
{
    (void)state;
    const struct fault faults[] = {
        {"\"unit\":\"Cel\"", "\"unit\":\"K\"", ERROR_RANGE, "nodes[1].channels[0].unit: \"K\""},
        {"\"rate_hz\":1}", "\"rate_hz\":20001}", ERROR_RANGE, "nodes[1].channels[0].rate_hz"},
        {"\"rate_hz\":1}", "\"rate_hz\":-1}", ERROR_RANGE, "nodes[1].channels[0].rate_hz"},
        {"\"magnetic.y\",\"rate_hz\":50", "\"magnetic.y\",\"rate_hz\":25", ERROR_RANGE,
         "nodes[0].channels[1].rate_hz: 25, but magnetic.x has 50"},
        {"\"temperature\"", "\"Temperature\"", ERROR_FORMAT, "nodes[1].channels[0].name"},
    };
    for (size_t i = 0; i < sizeof faults / sizeof faults[0]; i++) {
        assert_refused(&faults[i]);
    }
}

static void an_outline_that_is_no_room_is_refused(void **state)
{
    (void)state;
    const char *from = "[[20,0],[22,0],[22,2],[20,2]]";
    const struct fault faults[] = {
        {from, "[[20,0],[22,0]]", ERROR_RANGE, "rooms[3].outline_m: 2 corners"},
        {from, "[[20,0],[22,0],[22,2],[20,2],[20,0]]", ERROR_RANGE, "rooms[3].outline_m[4]"},
        {from, "[[20,0],[21,0],[22,0]]", ERROR_RANGE, "rooms[3].outline_m: holds no area"},
        {from, "[[20,0],[22,2],[22,0],[20,3]]", ERROR_RANGE, "rooms[3].outline_m: crosses itself"},
    };
    for (size_t i = 0; i < sizeof faults / sizeof faults[0]; i++) {
        assert_refused(&faults[i]);
    }
}

static void a_number_is_set_by_its_name_within_its_bounds(void **state)
{
    (void)state;
    struct site *site = good();
    struct error error = {0};
    assert_int_equal(site_set(site, "baseline_s", "42.5", &error), 0);
    assert_close(site->baseline_s, 42.5, 0);
    assert_int_equal(site_set(site, "baseline_s", "0", &error), -1);
    assert_error(error, ERROR_RANGE, "baseline_s: 0 is not within");
    assert_int_equal(site_set(site, "baseline_s", "5x", &error), -1);
    assert_error(error, ERROR_FORMAT, "baseline_s");
    assert_int_equal(site_set(site, "title", "5", &error), -1);
    assert_error(error, ERROR_NOT_FOUND, "title");
    assert_close(site->baseline_s, 42.5, 0);
    site_free(site);
}

static void a_way_goes_through_the_doors(void **state)
{
    (void)state;
    struct site *site = good();
    /* hall (1,2) to kitchen (8,2): the door at (6,2) lies on the straight line. */
    assert_close(site_node_distance_m(site, 0, 1), 7, 1e-12);
    assert_close(site_node_walk_m(site, 0, 1), 7, 1e-12);
    /* attic (1,2): 1 m to the stair, a storey down, 1 m back in the hall. */
    assert_close(site_node_distance_m(site, 0, 2), 2.7, 1e-12);
    assert_close(site_node_walk_m(site, 0, 2), 4.7, 1e-12);
    assert_close(site_node_walk_m(site, 2, 0), 4.7, 1e-12);
    /* attic to kitchen: 1 + 2.7 + hypot(5, 1) + 2. */
    assert_close(site_node_walk_m(site, 2, 1), 1 + 2.7 + sqrt(26) + 2, 1e-12);
    assert_close(site_node_walk_m(site, 1, 2), 1 + 2.7 + sqrt(26) + 2, 1e-12);
    assert_true(site_node_walk_m(site, 0, 3) < 0);
    assert_close(site_node_walk_m(site, 3, 3), 0, 0);
    site_free(site);
}

static void a_site_is_loaded_from_a_file_with_its_text(void **state)
{
    (void)state;
    const char *base = getenv("TMPDIR");
    char folder[256];
    (void)snprintf(folder, sizeof folder, "%s/site-XXXXXX", base ? base : "/tmp");
    assert_non_null(mkdtemp(folder));
    char path[300];
    (void)snprintf(path, sizeof path, "%s/site.json", folder);
    struct site *site = NULL;
    char *text = NULL;
    struct error error = {0};
    assert_int_equal(site_load(path, &site, &text, &error), -1);
    assert_error(error, ERROR_NOT_FOUND, path);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    assert_true(fputs(whole, file) >= 0);
    assert_int_equal(fclose(file), 0);
    assert_int_equal(site_load(path, &site, &text, &error), 0);
    assert_string_equal(text, whole);
    assert_string_equal(site->id, "lodge");
    site_free(site);
    free(text);
    assert_int_equal(unlink(path), 0);
    assert_int_equal(site_load(folder, &site, NULL, &error), -1);
    assert_int_equal(rmdir(folder), 0);
}

static void every_cut_of_the_text_is_an_error(void **state)
{
    (void)state;
    for (size_t cut = 0; cut < strlen(whole); cut++) {
        struct site *site = NULL;
        struct error error = {0};
        assert_int_equal(site_parse(whole, cut, "site.json", &site, &error), -1);
        assert_null(site);
        assert_true(error.text[0] != '\0');
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_whole_site_is_read_as_written),
        cmocka_unit_test(numbers_left_out_take_their_defaults),
        cmocka_unit_test(an_unknown_field_is_named_by_its_path),
        cmocka_unit_test(a_missing_or_misshapen_field_is_named_by_its_path),
        cmocka_unit_test(a_node_outside_its_room_and_a_door_between_apart_rooms_are_refused),
        cmocka_unit_test(the_edge_of_a_room_counts_as_inside),
        cmocka_unit_test(double_ids_are_refused),
        cmocka_unit_test(units_and_rates_that_don_t_fit_are_refused),
        cmocka_unit_test(an_outline_that_is_no_room_is_refused),
        cmocka_unit_test(a_number_is_set_by_its_name_within_its_bounds),
        cmocka_unit_test(a_way_goes_through_the_doors),
        cmocka_unit_test(a_site_is_loaded_from_a_file_with_its_text),
        cmocka_unit_test(every_cut_of_the_text_is_an_error),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
