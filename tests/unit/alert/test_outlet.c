/* Outlets: the line printed, the command fed, the topic published; faults are said and no more. */
#include "tests/unit/alert/alert_for_tests.h"

#include <signal.h>
#include <unistd.h>

#include "collector/alert/outlet.h"
#include "common/log.h"

static char folder[256];
static uv_loop_t loop;
static struct coincidence coincidence;
static const char json[] = "{\"site\":\"lodge\"}";
static const struct alert alert = {&coincidence, "a line", json, sizeof json - 1};
static bool closed;
static int warnings;
static char last_warning[256];

static void on_closed(void *context)
{
    (void)context;
    closed = true;
}

static void on_log(void *context, enum log_level level, const char *line)
{
    (void)context;
    warnings += level <= LOG_LEVEL_WARNING;
    (void)snprintf(last_warning, sizeof last_warning, "%s", line);
}

static int setup(void **state)
{
    (void)state;
    const char *where = getenv("TMPDIR");
    (void)snprintf(folder, sizeof folder, "%s/outlet-test-XXXXXX", where ? where : "/tmp");
    closed = false;
    warnings = 0;
    log_set_sink(on_log, NULL);
    (void)signal(SIGPIPE, SIG_IGN); /* as both programs do */
    return mkdtemp(folder) && uv_loop_init(&loop) == 0 ? 0 : -1;
}

static int teardown(void **state)
{
    (void)state;
    char command[300];
    log_set_sink(NULL, NULL);
    (void)snprintf(command, sizeof command, "rm -r '%s'", folder);
    return uv_loop_close(&loop) == 0 && system(command) == 0 ? 0 : -1;
}

/* The file's text once it is there, waiting up to 2 s on the loop. */
static void read_file(const char *name, char *text, size_t size)
{
    char path[300];
    (void)snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *file = fopen(path, "r");
    text[0] = '\0';
    if (file) {
        text[fread(text, 1, size - 1, file)] = '\0';
        (void)fclose(file);
    }
}

static struct outlet *make_command(const char *format)
{
    struct error error;
    struct outlet *outlet = NULL;
    char command[600];
    (void)snprintf(command, sizeof command, "cd '%s'; %s", folder, format);
    assert_int_equal(outlet_command_new(&loop, command, &outlet, &error), 0);
    return outlet;
}

static void finish(struct outlet *outlet)
{
    outlet_close(outlet, on_closed, NULL);
    (void)uv_run(&loop, UV_RUN_DEFAULT);
    assert_true(closed);
    outlet_free(outlet);
}

static void a_command_gets_the_message_on_its_input(void **state)
{
    (void)state;
    char text[256];
    struct outlet *outlet = make_command("cat > got");
    outlet_raise(outlet, &alert);
    (void)uv_run(&loop, UV_RUN_DEFAULT); /* ends when the command has */
    read_file("got", text, sizeof text);
    assert_string_equal(text, json);
    assert_int_equal(warnings, 0);
    finish(outlet);
}

static void a_command_that_fails_or_reads_nothing_is_said(void **state)
{
    (void)state;
    struct outlet *outlet = make_command("exit 3");
    outlet_raise(outlet, &alert);
    (void)uv_run(&loop, UV_RUN_DEFAULT);
    assert_int_equal(warnings, 1);
    assert_non_null(strstr(last_warning, "exit status 3"));
    finish(outlet);
}

static void no_more_than_four_run_at_once(void **state)
{
    (void)state;
    struct outlet *outlet = make_command("exec sleep 60");
    for (int i = 0; i < 4; i++) {
        outlet_raise(outlet, &alert);
    }
    assert_int_equal(warnings, 0);
    outlet_raise(outlet, &alert);
    assert_int_equal(warnings, 1);
    assert_non_null(strstr(last_warning, "4 are still running"));
    finish(outlet); /* closing takes them with it: the test would last a minute otherwise */
}

/* Gone, or a zombie that waits for init. */
static bool is_gone(pid_t pid)
{
    char path[64];
    char line[256] = "";
    (void)snprintf(path, sizeof path, "/proc/%d/stat", (int)pid);
    FILE *stat = fopen(path, "r");
    if (!stat) {
        return true;
    }
    bool read = fgets(line, sizeof line, stat) != NULL;
    (void)fclose(stat);
    return !read || strstr(line, ") Z") != NULL;
}

static void closing_takes_the_commands_children_too(void **state)
{
    (void)state;
    char text[256];
    struct outlet *outlet = make_command("sleep 60 & echo $! > child; wait");
    outlet_raise(outlet, &alert);
    for (int i = 0; i < 200; i++) {
        (void)uv_run(&loop, UV_RUN_NOWAIT);
        read_file("child", text, sizeof text);
        if (strchr(text, '\n')) {
            break;
        }
        (void)usleep(10000);
    }
    pid_t child = (pid_t)atoi(text);
    assert_true(child > 1);
    finish(outlet);
    /* The kill was sent; a busy machine takes its time over it. */
    bool gone = is_gone(child);
    for (int i = 0; i < 500 && !gone; i++) {
        (void)usleep(10000);
        gone = is_gone(child);
    }
    assert_true(gone);
}

static void the_line_is_printed_at_once(void **state)
{
    (void)state;
    struct error error;
    struct outlet *outlet;
    char *text = NULL;
    size_t length = 0;
    FILE *stream = open_memstream(&text, &length);
    assert_int_equal(outlet_print_new(stream, &outlet, &error), 0);
    outlet_raise(outlet, &alert);
    assert_string_equal(text, "ALERT a line\n");
    finish(outlet);
    (void)fclose(stream);
    free(text);
}

struct broker {
    bool away;
    int count;
    char topic[128];
    char payload[128];
};

static int on_publish(void *context, const char *topic, const void *payload, size_t length)
{
    struct broker *broker = context;
    if (broker->away) {
        return -1;
    }
    broker->count++;
    (void)snprintf(broker->topic, sizeof broker->topic, "%s", topic);
    (void)snprintf(broker->payload, sizeof broker->payload, "%.*s", (int)length,
                   (const char *)payload);
    return 0;
}

static void an_alert_is_published_and_waits_for_an_absent_broker(void **state)
{
    (void)state;
    struct error error;
    struct outlet *outlet;
    struct broker broker = {.away = true};
    struct site *site = make_alert_site();
    assert_int_equal(outlet_mqtt_new(site, on_publish, &broker, &outlet, &error), 0);
    outlet_raise(outlet, &alert);
    assert_int_equal(warnings, 1);
    broker.away = false;
    outlet_mqtt_up(outlet);
    outlet_mqtt_up(outlet);
    assert_int_equal(broker.count, 1);
    assert_string_equal(broker.topic, "roomwake/lodge/alert");
    assert_string_equal(broker.payload, json);
    outlet_raise(outlet, &alert);
    assert_int_equal(broker.count, 2);
    finish(outlet);
    site_free(site);
}

#define WITH_LOOP(name) cmocka_unit_test_setup_teardown(name, setup, teardown)

int main(void)
{
    make_coincidence(&coincidence);
    const struct CMUnitTest tests[] = {
        WITH_LOOP(a_command_gets_the_message_on_its_input),
        WITH_LOOP(a_command_that_fails_or_reads_nothing_is_said),
        WITH_LOOP(no_more_than_four_run_at_once),
        WITH_LOOP(closing_takes_the_commands_children_too),
        WITH_LOOP(the_line_is_printed_at_once),
        WITH_LOOP(an_alert_is_published_and_waits_for_an_absent_broker),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
