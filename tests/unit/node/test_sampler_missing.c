/* Promises of the sampler about sensors that are not there at the start.
 * Must never sleep: the clock is the test's own, and goes on by a second a turn of the loop. */
#include "tests/unit/test.h"

#include "node/sampler.h"

struct driver {
    bool compass;
};

static struct {
    bool compass_there;
    enum error_code why;
    int compass_opens;
    int told; /* the other's samples */
    int open; /* drivers that are */
} script;

static int64_t now_ns;
static uv_loop_t loop;
static struct node_config config;
static int found;
static char which[64];
static int frames;
static uint64_t samples;

static int64_t read_now(void *context)
{
    (void)context;
    now_ns += NS_PER_S / 5; /* later than anything is due: nothing waits */
    return now_ns;
}

static int make_driver(bool compass, const char *name, struct driver **driver,
                       struct channel *channels, size_t *count)
{
    *driver = calloc(1, sizeof **driver);
    (*driver)->compass = compass;
    script.open++;
    *count = 1;
    return channel_init(&channels[0], name, NULL, 10, NULL);
}

static int open_compass(const struct driver_setup *setup, struct driver **driver,
                        struct channel *channels, size_t size, size_t *count, struct error *error)
{
    (void)size;
    script.compass_opens++;
    return script.compass_there ? make_driver(true, "magnetic.x", driver, channels, count)
                                : error_set(error, script.why, "%s: nothing there", setup->path);
}

static int open_other(const struct driver_setup *setup, struct driver **driver,
                      struct channel *channels, size_t size, size_t *count, struct error *error)
{
    (void)setup;
    (void)size;
    (void)error;
    return make_driver(false, "temperature", driver, channels, count);
}

static int poll_one(struct driver *driver, int64_t at_ns, const struct driver_sink *sink,
                    int64_t *next_ns, struct error *error)
{
    int32_t count = driver->compass ? 1 : ++script.told;
    (void)error;
    sink->samples(sink->context, 0, at_ns, PS_PER_S / 10, &count, 1);
    *next_ns = at_ns + NS_PER_S / 10;
    return 0;
}

static void close_one(struct driver *driver)
{
    script.open--;
    free(driver);
}

static const struct driver_type compass = {.name = "compass",
                                           .open = open_compass,
                                           .poll = poll_one,
                                           .close = close_one,
                                           .may_be_missing = true};
static const struct driver_type other = {
    .name = "other", .open = open_other, .poll = poll_one, .close = close_one};
static const struct driver_type file_player = {
    .name = "file", .open = open_compass, .poll = poll_one, .close = close_one};

static void on_frame(void *context, struct frame *frame)
{
    (void)context;
    frames++;
    for (int i = 0; i < frame->block_count; i++) {
        samples += frame->blocks[i].count;
    }
}

static bool may_hurry(void *context)
{
    (void)context;
    return true;
}

static void on_found(void *context, const char *what)
{
    (void)context;
    found++;
    snprintf(which, sizeof which, "%s", what);
}

static int set_up(void **state)
{
    (void)state;
    memset(&script, 0, sizeof script);
    script.why = ERROR_NOT_FOUND;
    memset(&config, 0, sizeof config);
    config.block_ns = NS_PER_S / 10;
    config.driver_count = 2;
    config.drivers[0] = (struct node_driver_config){.type = &compass, .path = "drivers[0]"};
    config.drivers[1] = (struct node_driver_config){.type = &other, .path = "drivers[1]"};
    now_ns = NS_PER_S;
    found = 0;
    frames = 0;
    samples = 0;
    return uv_loop_init(&loop);
}

static int tear_down(void **state)
{
    (void)state;
    return uv_loop_close(&loop);
}

static int make(struct sampler **sampler, struct error *error)
{
    struct sampler_setup setup = {.loop = &loop,
                                  .clock = {.mono_ns = read_now},
                                  .config = &config,
                                  .boot = 7,
                                  .on_frame = on_frame,
                                  .may_hurry = may_hurry,
                                  .on_found = on_found};
    return sampler_new(&setup, sampler, error);
}

static struct sampler *start(void)
{
    struct sampler *sampler = NULL;
    struct error error;
    if (make(&sampler, &error)) {
        fail_msg("%s", error.text);
    }
    sampler_start(sampler);
    return sampler;
}

static void end(struct sampler *sampler)
{
    sampler_stop(sampler);
    uv_run(&loop, UV_RUN_DEFAULT);
    sampler_free(sampler);
    assert_int_equal(script.open, 0);
}

static void a_sensor_that_is_missing_at_the_start_is_noted_and_the_others_go_on(void **state)
{
    (void)state;
    struct sampler *sampler = start();
    char note[256];
    size_t count;
    assert_string_equal(sampler_get_channels(sampler, &count)->name, "temperature");
    assert_int_equal(count, 1);
    while (frames < 5) {
        uv_run(&loop, UV_RUN_ONCE);
    }
    assert_true(samples > 0);
    sampler_note(sampler, note, sizeof note);
    assert_string_equal(note, "drivers[0] compass: drivers[0]: nothing there");
    assert_int_equal(found, 0);
    end(sampler);
}

static void it_is_looked_for_again_with_pauses_and_told_once_when_it_came(void **state)
{
    (void)state;
    struct sampler *sampler = start();
    int64_t began_ns = now_ns;
    while (script.compass_opens < 3) { /* after 10 s, after 20 more */
        uv_run(&loop, UV_RUN_ONCE);
    }
    assert_in_range((now_ns - began_ns) / NS_PER_S, 29, 35);
    script.compass_there = true;
    while (!found) {
        uv_run(&loop, UV_RUN_ONCE);
    }
    assert_string_equal(which, "drivers[0] compass");
    assert_int_equal(script.compass_opens, 4);
    assert_int_equal(script.open, 1); /* not held: the next boot opens it */
    size_t count;
    (void)sampler_get_channels(sampler, &count);
    assert_int_equal(count, 1); /* this boot's hello stands */
    now_ns += 100 * NS_PER_S;
    for (int i = 0; i < 10; i++) {
        uv_run(&loop, UV_RUN_ONCE);
    }
    assert_int_equal(found, 1);
    assert_int_equal(script.compass_opens, 4);
    end(sampler);
}

static void wrong_settings_and_missing_files_are_no_missing_sensor(void **state)
{
    (void)state;
    struct sampler *sampler;
    struct error error;
    static const enum error_code settings[] = {ERROR_FORMAT, ERROR_RANGE};
    for (int i = 0; i < 2; i++) {
        script.why = settings[i];
        assert_int_equal(make(&sampler, &error), -1);
        assert_error(error, settings[i], "drivers[0]: nothing there");
    }
    script.why = ERROR_NOT_FOUND;
    config.drivers[0].type = &file_player;
    assert_int_equal(make(&sampler, &error), -1);
    assert_error(error, ERROR_NOT_FOUND, "drivers[0]: nothing there");
    assert_int_equal(script.open, 0);
}

static void a_calibration_of_what_is_missing_is_no_error_but_one_in_another_unit_is(void **state)
{
    (void)state;
    struct sampler *sampler;
    struct error error;
    struct calibration calibration = calibration_begin(NS_PER_S);
    assert_int_equal(
        channel_calibrations_put(&config.calibration, "magnetic.x", "T", &calibration, &error), 0);
    assert_int_equal(make(&sampler, &error), 0);
    sampler_free(sampler);
    script.compass_there = true;
    assert_int_equal(
        channel_calibrations_put(&config.calibration, "magnetic.x", "V", &calibration, &error), 0);
    assert_int_equal(make(&sampler, &error), -1);
    assert_error(error, ERROR_FORMAT, "it was done in V, the driver tells T");
    assert_int_equal(script.open, 0);
}

int main(void)
{
#define PROMISE(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        PROMISE(a_sensor_that_is_missing_at_the_start_is_noted_and_the_others_go_on),
        PROMISE(it_is_looked_for_again_with_pauses_and_told_once_when_it_came),
        PROMISE(wrong_settings_and_missing_files_are_no_missing_sensor),
        PROMISE(a_calibration_of_what_is_missing_is_no_error_but_one_in_another_unit_is),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
