/* Promises of mqtt_uv, kept against a real broker that is killed and started again.
 * Must never sleep for a fixed time: the loop runs until the awaited thing happened. */
#include "tests/unit/test.h"

#include "common/mqtt_uv.h"
#include "tests/unit/common/broker.h"

#include <time.h>

#define LIMIT_MS 15000

struct seen {
    struct mqtt_uv *client;
    int ups, downs, messages, acknowledged, stops;
    int last_acknowledged;
    char why[256];
    char topic[128];
    char payload[128];
    bool retained;
    bool answer;    /* publish from within on_message */
    bool subscribe; /* in every on_up */
    bool stop_on_message;
};

static uv_loop_t loop;
static uv_timer_t limit;
static bool late;
static struct broker broker;

static void on_stopped(void *context)
{
    ((struct seen *)context)->stops++;
}

static void on_up(void *context)
{
    struct seen *seen = context;
    seen->ups++;
    if (seen->subscribe) {
        assert_int_equal(mqtt_uv_subscribe(seen->client, "roomwake/#", 1, NULL), 0);
    }
}

static void on_down(void *context, const char *why)
{
    struct seen *seen = context;
    seen->downs++;
    snprintf(seen->why, sizeof seen->why, "%s", why);
}

static void on_message(void *context, const char *topic, const uint8_t *payload, size_t length,
                       bool retained)
{
    struct seen *seen = context;
    seen->messages++;
    seen->retained = retained;
    snprintf(seen->topic, sizeof seen->topic, "%s", topic);
    snprintf(seen->payload, sizeof seen->payload, "%.*s", (int)length, (const char *)payload);
    if (seen->answer) {
        seen->answer = false;
        assert_int_equal(
            mqtt_uv_publish(seen->client, "roomwake/answer", "yes", 3, 1, false, NULL, NULL), 0);
    }
    if (seen->stop_on_message) {
        mqtt_uv_stop(seen->client, on_stopped, seen);
    }
}

static void on_acknowledged(void *context, int message_id)
{
    struct seen *seen = context;
    seen->acknowledged++;
    seen->last_acknowledged = message_id;
}

static void on_limit(uv_timer_t *timer)
{
    (void)timer;
    late = true;
}

/* Runs the loop until *count reaches `wanted`. */
static void run_until(const int *count, int wanted)
{
    late = false;
    uv_update_time(&loop);
    uv_timer_start(&limit, on_limit, LIMIT_MS, 0);
    while (*count < wanted && !late) {
        uv_run(&loop, UV_RUN_ONCE);
    }
    uv_timer_stop(&limit);
    if (late) {
        fail_msg("waited %d ms in vain for a count of %d (is %d)", LIMIT_MS, wanted, *count);
    }
}

static struct mqtt_config settings(int port)
{
    return (struct mqtt_config){.client_id = "tester",
                                .host = "127.0.0.1",
                                .port = port,
                                .clean_session = true,
                                .retry_least_ms = 20,
                                .retry_most_ms = 100};
}

static void begin(struct seen *seen, const struct mqtt_config *config)
{
    struct mqtt_handlers handlers = {seen, on_up, on_down, on_message, on_acknowledged};
    struct error error;
    if (mqtt_uv_new(&loop, config, &handlers, &seen->client, &error)) {
        fail_msg("%s", error.text);
    }
    mqtt_uv_start(seen->client);
}

static void end(struct seen *seen)
{
    mqtt_uv_stop(seen->client, on_stopped, seen);
    run_until(&seen->stops, 1);
    mqtt_uv_free(seen->client);
}

static int set_up(void **state)
{
    (void)state;
    memset(&broker, 0, sizeof broker);
    uv_loop_init(&loop);
    uv_timer_init(&loop, &limit);
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    if (broker.port) {
        broker_remove(&broker);
    }
    uv_close((uv_handle_t *)&limit, NULL);
    uv_run(&loop, UV_RUN_DEFAULT);
    return uv_loop_close(&loop); /* UV_EBUSY: a handle was left open */
}

static void a_published_message_is_acknowledged_and_comes_back(void **state)
{
    (void)state;
    broker_start(&broker);
    struct seen seen = {.subscribe = true};
    struct mqtt_config config = settings(broker.port);
    begin(&seen, &config);
    run_until(&seen.ups, 1);
    int id = 0;
    assert_true(mqtt_uv_is_up(seen.client));
    assert_int_equal(mqtt_uv_publish(seen.client, "roomwake/a", "hello", 5, 1, false, &id, NULL),
                     0);
    run_until(&seen.acknowledged, 1);
    run_until(&seen.messages, 1);
    assert_int_equal(seen.last_acknowledged, id);
    assert_string_equal(seen.topic, "roomwake/a");
    assert_string_equal(seen.payload, "hello");
    assert_false(seen.retained);
    end(&seen);
}

static void a_handler_may_publish_while_it_is_called(void **state)
{
    (void)state;
    broker_start(&broker);
    struct seen seen = {.subscribe = true, .answer = true};
    struct mqtt_config config = settings(broker.port);
    begin(&seen, &config);
    run_until(&seen.ups, 1);
    mqtt_uv_publish(seen.client, "roomwake/a", "ask", 3, 1, false, NULL, NULL);
    run_until(&seen.messages, 2);
    assert_string_equal(seen.topic, "roomwake/answer");
    end(&seen);
}

static void a_handler_may_stop_the_client(void **state)
{
    (void)state;
    broker_start(&broker);
    struct seen seen = {.subscribe = true, .stop_on_message = true};
    struct mqtt_config config = settings(broker.port);
    begin(&seen, &config);
    run_until(&seen.ups, 1);
    mqtt_uv_publish(seen.client, "roomwake/a", "x", 1, 1, false, NULL, NULL);
    run_until(&seen.stops, 1);
    mqtt_uv_free(seen.client);
}

static void the_client_comes_back_after_the_broker_was_killed(void **state)
{
    (void)state;
    broker_start(&broker);
    struct seen seen = {.subscribe = true};
    struct mqtt_config config = settings(broker.port);
    begin(&seen, &config);
    run_until(&seen.ups, 1);
    for (int round = 2; round < 4; round++) {
        int downs = seen.downs;
        broker_kill(&broker);
        run_until(&seen.downs, downs + 2); /* the loss, and a failed attempt */
        assert_false(mqtt_uv_is_up(seen.client));
        assert_int_equal(mqtt_uv_publish(seen.client, "roomwake/a", "x", 1, 1, false, NULL, NULL),
                         -1);
        broker_start(&broker);
        run_until(&seen.ups, round);
        int messages = seen.messages;
        mqtt_uv_publish(seen.client, "roomwake/a", "again", 5, 1, false, NULL, NULL);
        run_until(&seen.messages, messages + 1);
        assert_string_equal(seen.payload, "again");
    }
    end(&seen);
}

static void a_refused_port_is_told_and_tried_again(void **state)
{
    (void)state;
    struct seen seen = {0};
    struct mqtt_config config = settings(broker_free_port());
    begin(&seen, &config);
    run_until(&seen.downs, 3);
    assert_int_equal(seen.ups, 0);
    assert_true(strlen(seen.why) > 0);
    end(&seen);
}

static void a_name_that_nobody_knows_is_told_and_tried_again(void **state)
{
    (void)state;
    struct seen seen = {0};
    struct mqtt_config config = settings(1883);
    config.host = "no such host";
    begin(&seen, &config);
    run_until(&seen.downs, 2);
    assert_non_null(strstr(seen.why, "name"));
    end(&seen);
}

/* Listens but never accepts nor answers, as a broker that hangs. */
static int open_silent_port(int *port)
{
    int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t length = sizeof address;
    assert_int_equal(bind(fd, (struct sockaddr *)&address, length), 0);
    assert_int_equal(listen(fd, 1), 0);
    getsockname(fd, (struct sockaddr *)&address, &length);
    *port = ntohs(address.sin_port);
    return fd;
}

static void a_silent_broker_is_given_up_in_time_and_costs_no_time(void **state)
{
    (void)state;
    int port;
    int fd = open_silent_port(&port);
    struct seen seen = {0};
    struct mqtt_config config = settings(port);
    config.connect_limit_ms = 400;
    begin(&seen, &config);
    uint64_t start = uv_hrtime();
    clock_t used = clock();
    run_until(&seen.downs, 1);
    double waited_s = (double)(uv_hrtime() - start) / 1e9;
    assert_close(waited_s, 0.4, 0.3);
    assert_true((double)(clock() - used) / CLOCKS_PER_SEC < 0.1); /* no busy loop meanwhile */
    assert_non_null(strstr(seen.why, "no answer"));
    end(&seen);
    close(fd);
}

static void stopping_while_connecting_leaves_nothing_open(void **state)
{
    (void)state;
    int port;
    int fd = open_silent_port(&port);
    struct seen seen = {0};
    struct mqtt_config config = settings(port);
    begin(&seen, &config);
    end(&seen);
    close(fd);
}

static void what_is_queued_leaves_before_the_stop(void **state)
{
    (void)state;
    broker_start(&broker);
    struct seen ear = {.subscribe = true};
    struct seen mouth = {0};
    struct mqtt_config config = settings(broker.port);
    begin(&ear, &config);
    config.client_id = "mouth";
    begin(&mouth, &config);
    run_until(&ear.ups, 1);
    run_until(&mouth.ups, 1);
    mqtt_uv_publish(ear.client, "roomwake/ready", "", 0, 1, false, NULL, NULL);
    run_until(&ear.messages, 1); /* the subscription stands */
    for (int i = 0; i < 60; i++) {
        assert_int_equal(
            mqtt_uv_publish(mouth.client, "roomwake/last", "word", 4, 1, false, NULL, NULL), 0);
    }
    end(&mouth);
    run_until(&ear.messages, 61);
    end(&ear);
}

static void the_will_is_told_for_one_that_vanished_but_not_for_one_that_left(void **state)
{
    (void)state;
    broker_start(&broker);
    struct seen ear = {.subscribe = true};
    struct seen mouth = {0};
    struct mqtt_config config = settings(broker.port);
    begin(&ear, &config);
    config.client_id = "mouth";
    config.will_topic = "roomwake/will";
    config.will_payload = "gone";
    begin(&mouth, &config);
    run_until(&ear.ups, 1);
    run_until(&mouth.ups, 1);
    end(&mouth);
    memset(&mouth, 0, sizeof mouth);
    begin(&mouth, &config);
    run_until(&mouth.ups, 1);
    mqtt_uv_publish(ear.client, "roomwake/ready", "", 0, 1, false, NULL, NULL);
    run_until(&ear.messages, 1);
    assert_string_equal(ear.topic, "roomwake/ready");
    struct seen thief = {0}; /* the same client id: the broker throws the first one out */
    config.will_topic = NULL;
    begin(&thief, &config);
    run_until(&ear.messages, 2);
    assert_string_equal(ear.payload, "gone");
    end(&thief);
    end(&mouth);
    end(&ear);
}

static void an_url_is_taken_apart(void **state)
{
    (void)state;
    struct mqtt_config config = {0};
    char *storage;
    assert_int_equal(mqtt_url_parse("mqtt://n1:a%40b%3A@[::1]:2883/", &config, &storage, NULL), 0);
    assert_string_equal(config.host, "::1");
    assert_string_equal(config.username, "n1");
    assert_string_equal(config.password, "a@b:");
    assert_int_equal(config.port, 2883);
    free(storage);
    assert_int_equal(mqtt_url_parse("mqtt://base", &config, &storage, NULL), 0);
    assert_string_equal(config.host, "base");
    assert_null(config.username);
    assert_int_equal(config.port, 1883);
    assert_false(config.tls);
    free(storage);
}

static void a_tls_url_names_whom_to_believe(void **state)
{
    (void)state;
    struct mqtt_config config = {0};
    struct text path = {0};
    char *storage;
    char shown[64];
    assert_int_equal(mqtt_url_encode("/home/a b/50%?#@.pem", &path), 0);
    assert_string_equal(path.bytes, "/home/a%20b/50%25%3F%23%40.pem");
    text_free(&path);
    assert_int_equal(mqtt_url_parse("mqtts://n1:secret@[fd00::1]/?authority=/a%20b%40/c.pem",
                                    &config, &storage, NULL),
                     0);
    assert_true(config.tls);
    assert_string_equal(config.host, "fd00::1");
    assert_string_equal(config.username, "n1");
    assert_string_equal(config.authority_path, "/a b@/c.pem");
    assert_int_equal(config.port, 8883);
    mqtt_url_plain(&config, shown, sizeof shown);
    assert_string_equal(shown, "mqtts://[fd00::1]:8883");
    free(storage);
}

static void a_malformed_url_is_refused_without_showing_the_password(void **state)
{
    (void)state;
    const char *bad[] = {"http://h",
                         "mqtt://",
                         "mqtt://h:0",
                         "mqtt://h:65536",
                         "mqtt://h:1883x",
                         "mqtt://a:%4@h",
                         "mqtt://@h",
                         "mqtt://u:secret@",
                         "mqtt://[::1",
                         "mqtt://[::1]x",
                         "mqtt://h:",
                         "mqtt://a b",
                         "mqtt://u:%00p@h",
                         "mqtt://host/path",
                         "mqtts://h?authority=",
                         "mqtts://h?x=1",
                         "mqtt://h?authority=f",
                         "mqtts://h?authority=%"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct mqtt_config config = {0};
        struct error error;
        char *storage;
        if (mqtt_url_parse(bad[i], &config, &storage, &error) != -1) {
            fail_msg("%s was taken", bad[i]);
        }
        assert_null(storage);
        assert_int_equal(error.code, ERROR_FORMAT);
        assert_null(strstr(error.text, "secret"));
    }
}

int main(void)
{
#define PROMISE(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        PROMISE(a_published_message_is_acknowledged_and_comes_back),
        PROMISE(a_handler_may_publish_while_it_is_called),
        PROMISE(a_handler_may_stop_the_client),
        PROMISE(the_client_comes_back_after_the_broker_was_killed),
        PROMISE(a_refused_port_is_told_and_tried_again),
        PROMISE(a_name_that_nobody_knows_is_told_and_tried_again),
        PROMISE(a_silent_broker_is_given_up_in_time_and_costs_no_time),
        PROMISE(stopping_while_connecting_leaves_nothing_open),
        PROMISE(what_is_queued_leaves_before_the_stop),
        PROMISE(the_will_is_told_for_one_that_vanished_but_not_for_one_that_left),
        PROMISE(an_url_is_taken_apart),
        PROMISE(a_tls_url_names_whom_to_believe),
        PROMISE(a_malformed_url_is_refused_without_showing_the_password),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
