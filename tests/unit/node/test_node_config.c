/* Promises of the node's config: every field where it belongs, every fault named by its path.
 * Must never open what the config speaks of. */
#include "tests/unit/test.h"

#include <unistd.h>

#include "node/config.h"

#define GOOD                                                                                       \
    "{\"node\":\"n1\",\"site\":\"lodge\",\"broker\":\"mqtt://u:p@base:2883\","                     \
    "\"time\":\"base:12300\",\"spool\":{\"path\":\"spool\",\"max_bytes\":1048576},"                \
    "\"block_s\":0.25,\"state_every_s\":2,\"time_burst_every_s\":4,\"time_burst_size\":3,"         \
    "\"drivers\":[{\"driver\":\"replay\",\"path\":\"a.csv\"},{\"driver\":\"simulate\"}]}"

static struct node_config config;
static struct error error;

static int parse(const char *text)
{
    return node_config_parse(text, strlen(text), "n.json", "/etc/roomwake", &config, &error);
}

/* GOOD with its first `from` replaced. */
static int parse_changed(const char *from, const char *to)
{
    char text[2048];
    const char *at = strstr(GOOD, from);
    assert_non_null(at);
    snprintf(text, sizeof text, "%.*s%s%s", (int)(at - GOOD), GOOD, to, at + strlen(from));
    return parse(text);
}

static void every_field_is_read(void **state)
{
    (void)state;
    if (parse(GOOD)) {
        fail_msg("%s", error.text);
    }
    assert_string_equal(config.node, "n1");
    assert_string_equal(config.site, "lodge");
    assert_string_equal(config.broker.host, "base");
    assert_int_equal(config.broker.port, 2883);
    assert_string_equal(config.broker.password, "p");
    assert_string_equal(config.time_host, "base");
    assert_int_equal(config.time_port, 12300);
    assert_string_equal(config.spool_path, "/etc/roomwake/spool");
    assert_int_equal(config.spool_max_bytes, 1048576);
    assert_int64_equal(config.block_ns, NS_PER_S / 4);
    assert_int64_equal(config.state_every_ns, 2 * NS_PER_S);
    assert_int64_equal(config.burst_every_ns, 4 * NS_PER_S);
    assert_int_equal(config.burst_size, 3);
    assert_int_equal(config.driver_count, 2);
    assert_string_equal(config.drivers[0].type->name, "replay");
    assert_string_equal(config.drivers[1].path, "drivers[1]");
    assert_null(cJSON_GetObjectItem(config.drivers[0].settings, "driver"));
    assert_non_null(cJSON_GetObjectItem(config.drivers[0].settings, "path"));
    node_config_free(&config);
}

static void what_is_left_out_takes_its_default(void **state)
{
    (void)state;
    const char *text = "{\"node\":\"n1\",\"site\":\"lodge\",\"broker\":\"mqtt://127.0.0.1\","
                       "\"time\":\"[::1]:123\",\"spool\":{\"path\":\"/var/spool/n1\"},"
                       "\"drivers\":[{\"driver\":\"simulate\"}]}";
    if (parse(text)) {
        fail_msg("%s", error.text);
    }
    assert_string_equal(config.time_host, "::1");
    assert_int_equal(config.broker.port, 1883);
    assert_string_equal(config.spool_path, "/var/spool/n1");
    assert_int_equal(config.spool_max_bytes, 268435456);
    assert_int64_equal(config.block_ns, 7 * NS_PER_S / 10);
    assert_int64_equal(config.state_every_ns, 10 * NS_PER_S);
    assert_int64_equal(config.burst_every_ns, 8 * NS_PER_S);
    assert_int_equal(config.burst_size, 8);
    node_config_free(&config);
}

static void a_disciplined_kernel_needs_no_time_server(void **state)
{
    (void)state;
    if (parse_changed("\"time\":\"base:12300\"", "\"clock\":\"system\"")) {
        fail_msg("%s", error.text);
    }
    assert_true(config.clock_system);
    assert_string_equal(config.time_host, "");
    node_config_free(&config);
    assert_int_equal(parse_changed("\"time\":", "\"clock\":\"site\",\"time\":"), 0);
    assert_false(config.clock_system);
    node_config_free(&config);
    assert_int_equal(parse_changed("\"time\":", "\"clock\":\"system\",\"time\":"), -1);
    assert_error(error, ERROR_FORMAT, "config.time");
    assert_int_equal(parse_changed("\"time\":", "\"clock\":\"sundial\",\"time\":"), -1);
    assert_error(error, ERROR_FORMAT, "config.clock");
}

static void each_fault_is_named_by_its_path(void **state)
{
    (void)state;
    const struct {
        const char *from, *to, *part;
    } bad[] = {
        {"\"node\":\"n1\"", "\"node\":\"N 1\"", "config.node"},
        {"\"node\":\"n1\",", "", "node"},
        {"lodge", "", "config.site"},
        {"mqtt://", "http://", "broker"},
        {"base:12300", "base", "config.time"},
        {"base:12300", "base:0", "config.time"},
        {"base:12300", "base:99999", "config.time"},
        {"base:12300", "::1:123", "config.time"},
        {"base:12300", "base:12x", "config.time"},
        {"\"spool\"", "\"spol\"", "spol"},
        {"{\"path\":\"spool\",\"max_bytes\":1048576}", "\"spool\"", "config.spool"},
        {"\"path\":\"spool\"", "\"path\":\"\"", "config.spool.path"},
        {"1048576", "100", "max_bytes"},
        {"\"block_s\":0.25", "\"block_s\":0", "block_s"},
        {"\"block_s\":0.25", "\"block_s\":\"1\"", "block_s"},
        {"\"time_burst_size\":3", "\"time_burst_size\":99", "time_burst_size"},
        {"\"driver\":\"replay\"", "\"driver\":\"repaly\"", "drivers[0].driver"},
        {"{\"driver\":\"simulate\"}", "7", "drivers[1]"},
        {"{\"driver\":\"simulate\"}", "{}", "drivers[1]"},
        {"[{\"driver\":\"replay\",\"path\":\"a.csv\"},{\"driver\":\"simulate\"}]", "[]", "drivers"},
        {"}]}", "}]", "n.json"},
        {"\"site\"", "\"node\":\"n2\",\"site\"", "node"},
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        if (parse_changed(bad[i].from, bad[i].to) == 0) {
            fail_msg("case %zu was taken", i);
        }
        if (!strstr(error.text, bad[i].part)) {
            fail_msg("case %zu: \"%s\" lacks \"%s\"", i, error.text, bad[i].part);
        }
    }
}

static void relative_paths_start_at_the_files_folder(void **state)
{
    (void)state;
    char path[256];
    const char *root = getenv("TMPDIR");
    snprintf(path, sizeof path, "%s/node-config-XXXXXX", root ? root : "/tmp");
    int fd = mkstemp(path);
    assert_int_equal(write(fd, GOOD, strlen(GOOD)), strlen(GOOD));
    close(fd);
    if (node_config_load(path, &config, &error)) {
        fail_msg("%s", error.text);
    }
    char expected[300];
    snprintf(expected, sizeof expected, "%.*s/spool", (int)(strrchr(path, '/') - path), path);
    assert_string_equal(config.spool_path, expected);
    node_config_free(&config);
    unlink(path);
    assert_int_equal(node_config_load(path, &config, &error), -1);
    assert_error(error, ERROR_NOT_FOUND, path);
}

static void an_authority_is_a_certificate_or_a_path_and_needs_tls(void **state)
{
    (void)state;
    assert_int_equal(
        parse_changed("\"mqtt://u:p@base:2883\"", "\"mqtts://u:p@base\",\"authority\":\"ca.pem\""),
        0);
    assert_true(config.broker.tls);
    assert_int_equal(config.broker.port, 8883);
    assert_null(config.broker.authority);
    assert_string_equal(config.broker.authority_path, "/etc/roomwake/ca.pem");
    node_config_free(&config);
    assert_int_equal(
        parse_changed("\"mqtt://u:p@base:2883\"",
                      "\"mqtts://u:p@base\",\"authority\":\"-----BEGIN CERTIFICATE-----\\nAA\""),
        0);
    assert_string_equal(config.broker.authority, "-----BEGIN CERTIFICATE-----\nAA");
    assert_null(config.broker.authority_path);
    node_config_free(&config);
    assert_int_equal(parse_changed("\"time\"", "\"authority\":\"ca.pem\",\"time\""), -1);
    assert_error(error, ERROR_FORMAT, "config.authority");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_field_is_read),
        cmocka_unit_test(what_is_left_out_takes_its_default),
        cmocka_unit_test(a_disciplined_kernel_needs_no_time_server),
        cmocka_unit_test(each_fault_is_named_by_its_path),
        cmocka_unit_test(an_authority_is_a_certificate_or_a_path_and_needs_tls),
        cmocka_unit_test(relative_paths_start_at_the_files_folder),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
