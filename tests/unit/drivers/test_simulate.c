/* The simulate driver: even samples on the node's clock, the building on true time. */
#include "tests/unit/world/house.h"

#include <unistd.h>

#include "common/json.h"
#include "common/timefmt.h"
#include "node/drivers/driver.h"

#define TAKEN_MAX 8192
#define WIRE                                                                                       \
    ",\"wires\":[{\"id\":\"ring\",\"through_m\":[3,0,1],\"along\":[1,0,0],"                        \
    "\"standing_amps\":100}]"
#define START_NS (INT64_C(1709330400) * NS_PER_S) /* 2024-03-01T22:00:00Z */

extern const struct driver_type driver_simulate;

/* A clock that stands still until it is told. */
struct still {
    int64_t mono_ns;
    int64_t real_ns;
};

static int64_t still_mono(void *context)
{
    return ((struct still *)context)->mono_ns;
}

static int64_t still_real(void *context)
{
    return ((struct still *)context)->real_ns;
}

static struct clock_source still_clock(struct still *still)
{
    return (struct clock_source){.mono_ns = still_mono, .real_ns = still_real, .context = still};
}

/* What a driver handed over for one channel. */
struct taken {
    size_t channel;
    size_t count;
    size_t runs;
    size_t gaps;
    int64_t next_ns;
    int64_t period_ps;
    int64_t times_ns[TAKEN_MAX];
    int32_t counts[TAKEN_MAX];
};

static void on_samples(void *context, size_t channel, int64_t t0_ns, int64_t period_ps,
                       const int32_t *counts, size_t count)
{
    struct taken *taken = context;
    if (channel != taken->channel) {
        return;
    }
    taken->gaps += taken->runs > 0 && llabs(t0_ns - taken->next_ns) > 2;
    taken->runs++;
    taken->period_ps = period_ps;
    for (size_t i = 0; i < count && taken->count < TAKEN_MAX; i++) {
        taken->times_ns[taken->count] = t0_ns + ((int64_t)i * period_ps + 500) / 1000;
        taken->counts[taken->count++] = counts[i];
    }
    taken->next_ns = t0_ns + ((int64_t)count * period_ps + 500) / 1000;
}

static void on_change(void *context, size_t channel, int64_t time_ns, int32_t count)
{
    on_samples(context, channel, time_ns, 0, &count, 1);
}

/* A folder with the site and a script in it. */
struct bench {
    char dir[128];
    struct taken *taken;
    struct driver_sink sink;
    struct channel channels[NODE_CHANNELS_MAX];
    size_t channel_count;
    struct driver *driver;
    struct error error;
};

static void write_file(const struct bench *bench, const char *name, const char *text)
{
    char path[256];
    (void)snprintf(path, sizeof path, "%s/%s", bench->dir, name);
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    assert_true(fputs(text, file) >= 0);
    assert_int_equal(fclose(file), 0);
}

static char *read_file(const struct bench *bench, const char *name, char *text, size_t size)
{
    char path[256];
    (void)snprintf(path, sizeof path, "%s/%s", bench->dir, name);
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    text[fread(text, 1, size - 1, file)] = '\0';
    assert_int_equal(fclose(file), 0);
    return text;
}

static void bench_make(struct bench *bench, const char *script, size_t channel)
{
    const char *tmp = getenv("TMPDIR");
    *bench = (struct bench){0};
    (void)snprintf(bench->dir, sizeof bench->dir, "%s/simulate-XXXXXX", tmp ? tmp : "/tmp");
    assert_non_null(mkdtemp(bench->dir));
    bench->taken = calloc(1, sizeof *bench->taken);
    assert_non_null(bench->taken);
    bench->taken->channel = channel;
    bench->sink = (struct driver_sink){bench->taken, on_samples, on_change, NULL};
    write_file(bench, "site.json", house_site_text);
    write_file(bench, "house.json", script);
}

/* `more` goes on in the driver's settings and begins with a comma, or is "". */
static int bench_open(struct bench *bench, const char *more, struct clock_source clock)
{
    char text[512];
    cJSON *settings;
    (void)snprintf(text, sizeof text,
                   "{\"driver\":\"simulate\",\"site\":\"site.json\",\"script\":\"house.json\"%s}",
                   more);
    assert_int_equal(json_parse(text, strlen(text), "settings", &settings, &bench->error), 0);
    const struct driver_setup setup = {
        .settings = settings, .path = "drivers[0]", .config_dir = bench->dir, .clock = clock};
    int status = driver_simulate.open(&setup, &bench->driver, bench->channels, NODE_CHANNELS_MAX,
                                      &bench->channel_count, &bench->error);
    cJSON_Delete(settings);
    return status;
}

static void bench_poll(struct bench *bench, int64_t now_ns)
{
    int64_t next_ns = 0;
    if (driver_simulate.poll(bench->driver, now_ns, &bench->sink, &next_ns, &bench->error)) {
        fail_msg("%s", bench->error.text);
    }
    assert_true(next_ns > now_ns);
}

static void bench_end(struct bench *bench)
{
    static const char *const names[] = {"site.json", "house.json", "start", "truth.jsonl"};
    driver_simulate.close(bench->driver);
    free(bench->taken);
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        char path[256];
        (void)snprintf(path, sizeof path, "%s/%s", bench->dir, names[i]);
        (void)unlink(path);
    }
    assert_int_equal(rmdir(bench->dir), 0);
}

/* Polls a still clock forward to `seconds` after its start, in uneven steps. */
static void run_still(struct bench *bench, struct still *still, double seconds)
{
    int64_t first_ns = still->mono_ns;
    for (int i = 0; still->mono_ns - first_ns < llround(seconds * 1e9); i++) {
        bench_poll(bench, still->mono_ns);
        int64_t step = INT64_C(37000001) + (int64_t)(i % 5) * 41000003;
        still->mono_ns += step;
        still->real_ns += step;
    }
}

static void every_sample_comes_once_and_evenly_however_polls_fall(void **state)
{
    (void)state;
    struct bench bench;
    struct still still = {5 * NS_PER_S, START_NS};
    bench_make(&bench, HOUSE_QUIET(""), HOUSE_X);
    assert_int_equal(bench_open(&bench, ",\"node\":\"n1\",\"time\":\"node\"", still_clock(&still)),
                     0);
    assert_int_equal(bench.channel_count, 7);
    assert_string_equal(bench.channels[HOUSE_X].name, "magnetic.x");
    assert_close(decimal_to_double(bench.channels[HOUSE_X].step), 1.5e-8, 1e-20);
    run_still(&bench, &still, 10.0);
    assert_int_equal(bench.taken->gaps, 0);
    assert_int64_equal(bench.taken->times_ns[0], 5 * NS_PER_S);
    for (size_t i = 0; i < bench.taken->count; i++) {
        assert_int64_equal(bench.taken->times_ns[i], 5 * NS_PER_S + (int64_t)i * 4000000);
    }
    assert_true(bench.taken->count >= 2440);
    bench_end(&bench);
}

static void the_samples_are_those_of_the_world_at_the_scenarios_time(void **state)
{
    (void)state;
    struct bench bench;
    struct house house;
    struct still still = {5 * NS_PER_S, START_NS + 3 * NS_PER_S};
    int32_t counts[1000];
    bench_make(&bench, "{\"version\":1,\"seed\":3" WIRE "}", HOUSE_Z);
    house_build(&house, "{\"version\":1,\"seed\":3" WIRE "}");
    assert_int_equal(bench_open(&bench,
                                ",\"node\":\"n2\",\"time\":\"node\","
                                "\"start\":\"2024-03-01T22:00:00Z\"",
                                still_clock(&still)),
                     0);
    run_still(&bench, &still, 5.0);
    world_sampler_read(house.samplers[1], HOUSE_Z, 3 * NS_PER_S, INT64_C(4000000000), counts, 1000);
    for (size_t i = 0; i < 1000; i++) {
        assert_true(abs(counts[i] - bench.taken->counts[i]) <= 1);
    }
    house_free(&house);
    bench_end(&bench);
}

/* Polls for `seconds` of a running clock; seldom, so that what passes within one poll matters. */
static void run_live(struct bench *bench, struct clock_source clock, double seconds)
{
    const int64_t every_ns = 110 * NS_PER_S / 1000;
    int64_t first_ns = clock.mono_ns(clock.context);
    int64_t due_ns = first_ns;
    while (due_ns - first_ns <= llround(seconds * 1e9) + every_ns) {
        int64_t now_ns = clock.mono_ns(clock.context);
        if (now_ns >= due_ns) {
            bench_poll(bench, now_ns);
            due_ns = now_ns + every_ns;
        }
        (void)usleep(1000);
    }
}

/* The node's clock runs 10 % fast: by its stamps the mains is at 50 / 1.1 Hz. */
static void a_fast_node_clock_sees_the_mains_slow(void **state)
{
    (void)state;
    struct bench bench;
    struct clock_skew skew = {.offset_ns = 3600 * NS_PER_S, .rate_ppb = 100000000};
    struct clock_source clock = clock_skewed(&skew);
    bench_make(&bench, HOUSE_QUIET(WIRE), HOUSE_Z);
    assert_int_equal(bench_open(&bench, ",\"node\":\"n1\"", clock), 0);
    run_live(&bench, clock, 0.55);
    assert_true(bench.taken->count >= 125);
    double true_hz = house_amplitude(bench.taken->counts, 125, 50.0, 250.0);
    double slow_hz = house_amplitude(bench.taken->counts, 125, 50.0 / 1.1, 250.0);
    assert_true(slow_hz > 5.0 * true_hz);
    bench_end(&bench);
}

/* What happens 0.3 s of true time after the first poll happens 0.33 s after it by the fast clock.
 */
static void an_event_is_stamped_where_the_nodes_clock_stood_at_its_true_moment(void **state)
{
    (void)state;
    struct bench bench;
    struct clock_skew skew = {.offset_ns = -NS_PER_S, .rate_ppb = 100000000};
    struct clock_source clock = clock_skewed(&skew);
    bench_make(&bench,
               HOUSE_QUIET(",\"events\":[{\"at_s\":0.3,\"kind\":\"pulse\",\"at_m\":[0,0,0],"
                           "\"field_t\":[5e-6,0,0],\"rise_s\":0,\"for_s\":9}]"),
               HOUSE_X);
    assert_int_equal(bench_open(&bench, ",\"node\":\"n1\"", clock), 0);
    run_live(&bench, clock, 0.4);
    size_t i = 0;
    while (i < bench.taken->count && abs(bench.taken->counts[i] - bench.taken->counts[0]) < 100) {
        i++;
    }
    assert_true(i < bench.taken->count);
    double since_s = (double)(bench.taken->times_ns[i] - bench.taken->times_ns[0]) / 1e9;
    assert_close(since_s, 0.332, 0.004);
    bench_end(&bench);
}

static void nodes_agree_on_the_start_by_the_shared_file(void **state)
{
    (void)state;
    struct bench bench;
    struct still still = {NS_PER_S, START_NS};
    struct clock_source clock = still_clock(&still);
    const char *settings = ",\"node\":\"n1\",\"time\":\"node\",\"start_file\":\"start\"";
    char text[128];
    bench_make(&bench, HOUSE_QUIET(""), HOUSE_X);
    assert_int_equal(bench_open(&bench, settings, clock), 0);
    assert_string_equal(read_file(&bench, "start", text, sizeof text),
                        "2024-03-01T22:00:00.000000000Z\n");
    driver_simulate.close(bench.driver);
    bench.driver = NULL;
    still.real_ns += 60 * NS_PER_S;
    assert_int_equal(bench_open(&bench, settings, clock), 0);
    assert_string_equal(read_file(&bench, "start", text, sizeof text),
                        "2024-03-01T22:00:00.000000000Z\n");
    driver_simulate.close(bench.driver);
    bench.driver = NULL;
    write_file(&bench, "start", "yesterday\n");
    assert_int_equal(bench_open(&bench, settings, clock), -1);
    assert_error(bench.error, ERROR_FORMAT, "start");
    bench.driver = NULL;
    bench_end(&bench);
}

static void the_truth_list_is_written_as_things_happen(void **state)
{
    (void)state;
    struct bench bench;
    struct still still = {NS_PER_S, START_NS};
    char text[2048];
    bench_make(&bench,
               HOUSE_QUIET(",\"events\":[{\"at_s\":2,\"kind\":\"pulse\",\"at_m\":[0,3,1],"
                           "\"field_t\":[2e-6,0,0],\"speed_m_s\":3},"
                           "{\"at_s\":9,\"kind\":\"phone\",\"room\":\"hall\"}]"),
               HOUSE_X);
    assert_int_equal(bench_open(&bench,
                                ",\"node\":\"n1\",\"time\":\"node\",\"truth\":\"truth.jsonl\"",
                                still_clock(&still)),
                     0);
    run_still(&bench, &still, 5.0);
    read_file(&bench, "truth.jsonl", text, sizeof text);
    assert_non_null(strstr(text, "{\"time\":\"2024-03-01T22:00:03.000000000Z\","
                                 "\"scenario_s\":3.000000000,\"node\":\"n1\",\"event\":0,"
                                 "\"kind\":\"pulse\""));
    assert_non_null(strstr(text, "\"quantity\":\"magnetic\",\"amplitude\":2e-06"));
    assert_null(strstr(text, "phone"));
    run_still(&bench, &still, 6.0);
    assert_non_null(strstr(read_file(&bench, "truth.jsonl", text, sizeof text), "phone"));
    bench_end(&bench);
}

static void an_outage_leaves_a_gap_and_samples_stay_on_their_grid(void **state)
{
    (void)state;
    struct bench bench;
    struct still still = {0, START_NS};
    bench_make(&bench,
               HOUSE_QUIET(",\"events\":[{\"at_s\":2,\"kind\":\"outage\","
                           "\"node\":\"n1\",\"for_s\":3}]"),
               HOUSE_X);
    assert_int_equal(bench_open(&bench, ",\"node\":\"n1\",\"time\":\"node\"", still_clock(&still)),
                     0);
    run_still(&bench, &still, 8.0);
    assert_int_equal(bench.taken->gaps, 1);
    for (size_t i = 0; i < bench.taken->count; i++) {
        int64_t at = bench.taken->times_ns[i];
        assert_true(at % 4000000 == 0);
        assert_true(at < 2 * NS_PER_S || at >= 5 * NS_PER_S);
    }
    assert_int64_equal(bench.taken->times_ns[500], 5 * NS_PER_S);
    bench_end(&bench);
}

static void motion_is_told_at_first_and_then_on_change(void **state)
{
    (void)state;
    struct bench bench;
    struct still still = {0, START_NS};
    bench_make(&bench,
               HOUSE_QUIET(",\"events\":[{\"at_s\":2,\"kind\":\"walk\",\"from\":\"hall\","
                           "\"via\":[\"passage\"],\"speed_m_s\":1}]"),
               HOUSE_MOTION);
    assert_int_equal(bench_open(&bench, ",\"node\":\"n1\",\"time\":\"node\"", still_clock(&still)),
                     0);
    run_still(&bench, &still, 10.0);
    assert_int_equal(bench.taken->count, 3);
    static const int32_t levels[] = {0, 1, 0};
    for (size_t i = 0; i < 3; i++) {
        assert_int_equal(bench.taken->counts[i], levels[i]);
    }
    assert_int64_equal(bench.taken->times_ns[0], 0);
    assert_true(bench.taken->times_ns[1] > 2 * NS_PER_S);
    /* In view until the door at 4 s, held for 2.5 s. */
    assert_int64_equal(bench.taken->times_ns[2], 6500000000);
    bench_end(&bench);
}

static void a_sampling_crystal_that_is_off_shows_in_the_period(void **state)
{
    (void)state;
    struct bench bench;
    struct still still = {0, START_NS};
    bench_make(&bench, HOUSE_QUIET(""), HOUSE_X);
    assert_int_equal(bench_open(&bench, ",\"node\":\"n1\",\"time\":\"node\",\"crystal_ppm\":35",
                                still_clock(&still)),
                     0);
    run_still(&bench, &still, 10.0);
    assert_int64_equal(bench.taken->period_ps, 3999860000);
    assert_int_equal(bench.taken->gaps, 0);
    bench_end(&bench);
}

static void wrong_settings_are_named(void **state)
{
    (void)state;
    static const struct {
        const char *settings;
        enum error_code code;
        const char *part;
    } rows[] = {
        {"", ERROR_FORMAT, "drivers[0].node"},
        {",\"node\":\"n9\"", ERROR_NOT_FOUND, "drivers[0].node"},
        {",\"node\":\"n1\",\"speed\":2", ERROR_FORMAT, "speed"},
        {",\"node\":\"n1\",\"time\":\"late\"", ERROR_FORMAT, "drivers[0].time"},
        {",\"node\":\"n1\",\"start\":\"noon\"", ERROR_FORMAT, "drivers[0].start"},
        {",\"node\":\"n1\",\"start\":\"2024-03-01T22:00:00Z\",\"start_file\":\"start\"",
         ERROR_FORMAT, "drivers[0].start_file"},
        {",\"node\":\"n1\",\"start_file\":\"no/such/folder\"", ERROR_NOT_FOUND, "no/such"},
    };
    struct bench bench;
    bench_make(&bench, HOUSE_QUIET(""), HOUSE_X);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        assert_int_equal(bench_open(&bench, rows[i].settings, clock_system()), -1);
        assert_error(bench.error, rows[i].code, rows[i].part);
    }
    write_file(&bench, "house.json", "{\"version\":1}");
    assert_int_equal(bench_open(&bench, ",\"node\":\"n1\"", clock_system()), -1);
    assert_error(bench.error, ERROR_FORMAT, "house.json");
    bench_end(&bench);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_sample_comes_once_and_evenly_however_polls_fall),
        cmocka_unit_test(the_samples_are_those_of_the_world_at_the_scenarios_time),
        cmocka_unit_test(a_fast_node_clock_sees_the_mains_slow),
        cmocka_unit_test(an_event_is_stamped_where_the_nodes_clock_stood_at_its_true_moment),
        cmocka_unit_test(nodes_agree_on_the_start_by_the_shared_file),
        cmocka_unit_test(the_truth_list_is_written_as_things_happen),
        cmocka_unit_test(an_outage_leaves_a_gap_and_samples_stay_on_their_grid),
        cmocka_unit_test(motion_is_told_at_first_and_then_on_change),
        cmocka_unit_test(a_sampling_crystal_that_is_off_shows_in_the_period),
        cmocka_unit_test(wrong_settings_are_named),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
