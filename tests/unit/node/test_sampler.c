/* Promises of the sampler, with drivers of the test's own and a clock of the test's own rate.
 * Must never sleep: the loop runs until enough frames came. */
#include "tests/unit/test.h"

#include "node/sampler.h"

#define PERIOD_PS (PS_PER_S / 200)
#define FRAMES_MAX 400

/* What the test's drivers do; one state for all of them. */
struct driver {
    int64_t start_ns;
    int64_t told; /* samples */
};

static struct {
    int opens, polls, closes;
    int fail_open_at; /* the n-th opening fails */
    int fail_poll_at; /* the n-th poll fails */
    bool other_channels;
    bool slow; /* wants to be asked every 10 s only */
    bool fast; /* has 100 s to tell at once */
    bool hurry;
    int64_t clock_sd_ns;
} script;

static struct clock_source the_clock;

static int fake_open(const struct driver_setup *setup, struct driver **driver,
                     struct channel *channels, size_t size, size_t *count, struct error *error)
{
    if (++script.opens == script.fail_open_at) {
        return error_set(error, ERROR_IO, "%s: not there", setup->path);
    }
    assert_true(size >= 2);
    *driver = calloc(1, sizeof **driver);
    (*driver)->start_ns = setup->clock.mono_ns(setup->clock.context);
    (*driver)->start_ns -= script.fast ? 100 * NS_PER_S : 0;
    assert_int_equal(channel_init(&channels[0], "magnetic.x", NULL, 200, NULL), 0);
    assert_int_equal(channel_init(&channels[1], "battery", NULL, 0, NULL), 0);
    channels[1].step.exponent = script.other_channels && script.opens > 1 ? -3 : -2;
    *count = 2;
    return 0;
}

static int fake_poll(struct driver *driver, int64_t now_ns, const struct driver_sink *sink,
                     int64_t *next_ns, struct error *error)
{
    if (++script.polls == script.fail_poll_at) {
        return error_set(error, ERROR_IO, "the wire broke");
    }
    int64_t until_ns = now_ns;
    struct block line = {.t0_ns = driver->start_ns, .period_ps = PERIOD_PS};
    if (script.fast) {
        until_ns = block_time_ns(&line, (uint32_t)driver->told) + NS_PER_S - 1;
        until_ns = until_ns < now_ns ? until_ns : now_ns;
    }
    int64_t time_ns;
    while ((time_ns = block_time_ns(&line, (uint32_t)driver->told)) <= until_ns) {
        int32_t count = (int32_t)driver->told++;
        sink->samples(sink->context, 0, time_ns, PERIOD_PS, &count, 1);
        if (count % 200 == 0) {
            sink->change(sink->context, 1, time_ns, 370 + count / 200);
        }
    }
    *next_ns = script.fast ? time_ns : now_ns + (script.slow ? 10 * NS_PER_S : NS_PER_S / 50);
    return 0;
}

static void fake_close(struct driver *driver)
{
    script.closes++;
    free(driver);
}

/* What a board with a clock of its own says. */
static int64_t fake_clock_sd_ns(const struct driver *driver)
{
    (void)driver;
    return script.clock_sd_ns;
}

static const struct driver_type fake = {.name = "fake",
                                        .open = fake_open,
                                        .poll = fake_poll,
                                        .close = fake_close,
                                        .clock_sd_ns = fake_clock_sd_ns};

static uv_loop_t loop;
static int frames;
static int64_t until_ns[FRAMES_MAX];
static uint64_t samples;
static int64_t next_count;
static struct hole hole; /* the last one told */
static int holes;

static void on_frame(void *context, struct frame *frame)
{
    (void)context;
    assert_true(frames < FRAMES_MAX);
    assert_int_equal(frame->boot, 7);
    assert_int_equal(frame->seq, frames + 1);
    for (int i = 0; i < frame->block_count; i++) {
        const struct block *block = &frame->blocks[i];
        assert_true(block_time_ns(block, block->count - 1) <= frame->until_node_ns);
        assert_true(frames == 0 || block_time_ns(block, 0) >= until_ns[frames - 1]);
        if (block->channel == 0) {
            samples += block->count;
            for (uint32_t k = 0; k < block->count && script.fail_poll_at == 0; k++) {
                assert_int_equal(block->counts[k], next_count++);
            }
            if (script.fail_poll_at == 0) {
                assert_int64_equal(block->period_ps, PERIOD_PS);
            }
        }
    }
    for (int i = 0; i < frame->hole_count; i++) {
        hole = frame->holes[i];
        holes++;
    }
    until_ns[frames++] = frame->until_node_ns;
}

static bool may_hurry(void *context)
{
    (void)context;
    return script.hurry;
}

static struct node_config config;

static int set_up(void **state)
{
    (void)state;
    memset(&script, 0, sizeof script);
    memset(&config, 0, sizeof config);
    config.block_ns = NS_PER_S / 20;
    config.driver_count = 1;
    config.drivers[0] = (struct node_driver_config){.type = &fake, .path = "drivers[0]"};
    the_clock = clock_system();
    frames = 0;
    samples = 0;
    next_count = 0;
    holes = 0;
    return uv_loop_init(&loop);
}

static int tear_down(void **state)
{
    (void)state;
    return uv_loop_close(&loop);
}

static struct sampler *make(void)
{
    struct sampler_setup setup = {.loop = &loop,
                                  .clock = the_clock,
                                  .config = &config,
                                  .boot = 7,
                                  .on_frame = on_frame,
                                  .may_hurry = may_hurry};
    struct sampler *sampler;
    struct error error;
    if (sampler_new(&setup, &sampler, &error)) {
        fail_msg("%s", error.text);
    }
    return sampler;
}

static void run_until_frames(int wanted)
{
    while (frames < wanted) {
        uv_run(&loop, UV_RUN_ONCE);
    }
}

static void end(struct sampler *sampler)
{
    sampler_stop(sampler);
    uv_run(&loop, UV_RUN_DEFAULT);
    sampler_free(sampler);
    assert_int_equal(script.closes, script.opens - (script.fail_open_at > 0));
}

static void every_sample_comes_in_a_frame_at_its_cadence(void **state)
{
    (void)state;
    struct sampler *sampler = make();
    size_t count;
    assert_string_equal(sampler_get_channels(sampler, &count)[1].name, "battery");
    assert_int_equal(count, 2);
    assert_true(isnan(sampler_battery_v(sampler)));
    sampler_start(sampler);
    run_until_frames(10);
    assert_close((double)(until_ns[9] - until_ns[0]) / 1e9, 9 * 0.05, 0.03);
    assert_close(sampler_battery_v(sampler), 3.70, 1e-12);
    end(sampler);
    assert_int_equal(samples, next_count); /* the last frame had the rest */
}

static void a_driver_that_seldom_asks_is_asked_before_each_frame(void **state)
{
    (void)state;
    script.slow = true;
    struct sampler *sampler = make();
    sampler_start(sampler);
    run_until_frames(6);
    assert_true(samples >= 40);
    end(sampler);
}

static void a_driver_that_fails_is_told_and_opened_again(void **state)
{
    (void)state;
    script.fail_poll_at = 3;
    struct sampler *sampler = make();
    char note[256];
    sampler_start(sampler);
    while (script.polls < 3) {
        uv_run(&loop, UV_RUN_ONCE);
    }
    sampler_note(sampler, note, sizeof note);
    assert_string_equal(note, "drivers[0] fake: the wire broke");
    int before = frames;
    run_until_frames(before + 3); /* frames go on telling that nothing comes */
    while (script.opens < 2) {
        uv_run(&loop, UV_RUN_ONCE);
    }
    while (script.polls < 5) {
        uv_run(&loop, UV_RUN_ONCE);
    }
    sampler_note(sampler, note, sizeof note);
    assert_string_equal(note, "");
    run_until_frames(frames + 2);
    /* Each channel's time without samples bears the cause, from its last sample to its next. */
    assert_in_range(holes, 1, 2);
    assert_string_equal(hole.reason, "the wire broke");
    assert_true(hole.end_ns - hole.start_ns > NS_PER_S / 2);
    struct message_sensor sensors[NODE_CHANNELS_MAX];
    assert_int_equal(sampler_tell_sensors(sampler, sensors), 2);
    assert_true(sensors[0].missing_s > 0.5);
    end(sampler);
}

static void a_driver_that_comes_back_with_other_channels_is_refused(void **state)
{
    (void)state;
    script.fail_poll_at = 2;
    script.other_channels = true;
    struct sampler *sampler = make();
    char note[256];
    sampler_start(sampler);
    while (script.closes < 2) {
        uv_run(&loop, UV_RUN_ONCE);
    }
    sampler_note(sampler, note, sizeof note);
    assert_non_null(strstr(note, "other channels"));
    end(sampler);
}

static void a_driver_ahead_of_real_time_is_held_back_until_frames_find_a_way_out(void **state)
{
    (void)state;
    script.fast = true;
    config.block_ns = NS_PER_S;
    struct sampler *sampler = make();
    sampler_start(sampler);
    for (int i = 0; i < 10; i++) {
        uv_run(&loop, UV_RUN_ONCE);
    }
    assert_true(frames <= 2);
    script.hurry = true;
    int64_t start_ns = the_clock.mono_ns(NULL);
    run_until_frames(95);
    assert_true(the_clock.mono_ns(NULL) - start_ns < NS_PER_S);
    assert_true(samples >= 94 * 200);
    end(sampler);
}

static void a_file_missing_at_the_start_or_a_double_channel_is_an_error(void **state)
{
    (void)state;
    struct sampler_setup setup = {.loop = &loop,
                                  .clock = the_clock,
                                  .config = &config,
                                  .boot = 7,
                                  .on_frame = on_frame,
                                  .may_hurry = may_hurry};
    struct sampler *sampler;
    struct error error;
    script.fail_open_at = 1;
    assert_int_equal(sampler_new(&setup, &sampler, &error), -1);
    assert_error(error, ERROR_IO, "drivers[0]: not there");
    config.driver_count = 2;
    config.drivers[1] = (struct node_driver_config){.type = &fake, .path = "drivers[1]"};
    assert_int_equal(sampler_new(&setup, &sampler, &error), -1);
    assert_error(error, ERROR_FORMAT, "drivers[1]: another driver has a channel magnetic.x too");
    assert_int_equal(script.closes, 2);
}

static void a_board_s_own_clock_counts_as_long_as_it_is_there(void **state)
{
    (void)state;
    config.driver_count = 1;
    struct sampler *sampler = make();
    assert_int64_equal(sampler_clock_sd_ns(sampler), 0);
    script.clock_sd_ns = 250000;
    assert_int64_equal(sampler_clock_sd_ns(sampler), 250000);
    sampler_start(sampler);
    end(sampler);
}

static void close_handle(uv_handle_t *handle, void *context)
{
    (void)context;
    uv_close(handle, NULL);
}

static void before_a_sleep_s_end_is_told_nobody_is_asked_and_nothing_is_lost(void **state)
{
    (void)state;
    struct sampler *sampler = make();
    sampler_start(sampler);
    run_until_frames(3);
    int polls = script.polls;
    int before = frames;
    sampler_keep(sampler);
    assert_int_equal(frames, before + 1);
    assert_int_equal(samples, next_count);
    uv_run(&loop, UV_RUN_NOWAIT);
    assert_int_equal(script.polls, polls);
    uv_walk(&loop, close_handle, NULL);
    end(sampler);
}

static void a_stretch_that_nobody_sampled_is_told_with_the_first_frame(void **state)
{
    (void)state;
    struct sampler_setup setup = {.loop = &loop,
                                  .clock = the_clock,
                                  .config = &config,
                                  .boot = 7,
                                  .away_ns = 5 * NS_PER_S,
                                  .away_why = "the machine was suspended for 5 s",
                                  .on_frame = on_frame,
                                  .may_hurry = may_hurry};
    struct sampler *sampler;
    assert_int_equal(sampler_new(&setup, &sampler, NULL), 0);
    sampler_start(sampler);
    run_until_frames(2);
    assert_int_equal(holes, 1);
    assert_string_equal(hole.reason, "the machine was suspended for 5 s");
    assert_int64_equal(hole.end_ns - hole.start_ns, 5 * NS_PER_S);
    end(sampler);
}

int main(void)
{
#define PROMISE(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        PROMISE(every_sample_comes_in_a_frame_at_its_cadence),
        PROMISE(a_driver_that_seldom_asks_is_asked_before_each_frame),
        PROMISE(a_driver_that_fails_is_told_and_opened_again),
        PROMISE(a_driver_that_comes_back_with_other_channels_is_refused),
        PROMISE(a_driver_ahead_of_real_time_is_held_back_until_frames_find_a_way_out),
        PROMISE(a_file_missing_at_the_start_or_a_double_channel_is_an_error),
        PROMISE(a_board_s_own_clock_counts_as_long_as_it_is_there),
        PROMISE(before_a_sleep_s_end_is_told_nobody_is_asked_and_nothing_is_lost),
        PROMISE(a_stretch_that_nobody_sampled_is_told_with_the_first_frame),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
