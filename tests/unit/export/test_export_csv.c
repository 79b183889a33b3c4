/* That the CSV holds every sample once, in time order over all nodes, exact to the last count. */
#include "tests/unit/night/fixture.h"

#include "collector/export/exporter.h"
#include "common/timefmt.h"

static char *export_with(const struct fixture *fixture, struct export_options options)
{
    static char bytes[4 << 20];
    struct night_reader *reader = fixture_read(fixture);
    struct error error;
    options.out = tmpfile();
    assert_non_null(options.out);
    fixture_check(export_run("csv", reader, &options, &error), &error);
    rewind(options.out);
    size_t length = fread(bytes, 1, sizeof bytes - 1, options.out);
    assert_true(length < sizeof bytes - 1);
    bytes[length] = '\0';
    assert_int_equal(fclose(options.out), 0);
    night_reader_close(reader);
    return bytes;
}

static char *export_text(const struct fixture *fixture, int64_t from_ns, int64_t to_ns)
{
    return export_with(fixture, (struct export_options){.from_ns = from_ns, .to_ns = to_ns});
}

static void put(struct night_writer *writer, uint32_t node, uint64_t seq, const struct block *block)
{
    struct night_frame_id id = {node, FIXTURE_BOOT, seq};
    struct clock_fit fit = {0};
    int64_t node_t0_ns = 0;
    struct error error;
    fixture_check(night_put_frame(writer, &id, &fit, block, &node_t0_ns, 1, false, &error), &error);
}

static void put_small_night(const struct fixture *fixture)
{
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    struct error error;
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_channels(writer, fixture, 1, FIXTURE_BOOT);
    const int32_t field[] = {48700, -48701, 2147483647};
    put(writer, 0, 1,
        &(struct block){
            .count = 3, .t0_ns = FIXTURE_START_NS, .period_ps = PS_PER_S / 200, .counts = field});
    put(writer, 1, 1,
        &(struct block){
            .count = 2, .t0_ns = FIXTURE_START_NS, .period_ps = PS_PER_S / 100, .counts = field});
    const int64_t times[] = {FIXTURE_START_NS + 5000000, FIXTURE_START_NS + 5000001};
    const struct decimal exact[] = {{123456789012345678, -16}, {21, 0}};
    put(writer, 0, 2,
        &(struct block){.channel = 1,
                        .encoding = BLOCK_DECIMAL,
                        .count = 2,
                        .t0_ns = times[0],
                        .times_ns = times,
                        .decimals = exact});
    const int32_t again[] = {7};
    put(writer, 0, 3, /* the same channel and time once more */
        &(struct block){.count = 1,
                        .t0_ns = FIXTURE_START_NS + 10000000,
                        .period_ps = PS_PER_S / 200,
                        .counts = again});
    fixture_check(night_put_clock(writer, 1, FIXTURE_START_NS + 10000000, 1200000, &error), &error);
    fixture_check(night_put_clock(writer, 0, FIXTURE_START_NS - 1, 300, &error), &error);
    fixture_check(night_put_clock(writer, 0, FIXTURE_START_NS + NS_PER_S, 310, &error), &error);
    fixture_close(writer, 2);
}

static void rows_go_by_time_then_node_with_one_column_for_each_channel(void **state)
{
    struct fixture *fixture = *state;
    put_small_night(fixture);
    assert_string_equal(export_text(fixture, INT64_MIN, INT64_MAX),
                        "time,node,clock-uncertainty,magnetic.x,temperature\n"
                        "1699999999.999999999,n1,0.0000003,,\n"
                        "1700000000,n1,,0.0000487,\n"
                        "1700000000,n2,,0.0000487,\n"
                        "1700000000.005,n1,,-0.000048701,12.3456789012345678\n"
                        "1700000000.005000001,n1,,,21\n"
                        "1700000000.01,n1,,2.147483647,\n"
                        "1700000000.01,n1,,0.000000007,\n"
                        "1700000000.01,n2,0.0012,-0.000048701,\n"
                        "1700000001,n1,0.00000031,,\n");
}

static void a_window_keeps_its_samples_and_the_clock_that_holds_in_it(void **state)
{
    struct fixture *fixture = *state;
    put_small_night(fixture);
    assert_string_equal(
        export_text(fixture, FIXTURE_START_NS + 5000001, FIXTURE_START_NS + 10000000),
        "time,node,clock-uncertainty,magnetic.x,temperature\n"
        "1700000000.005000001,n1,0.0000003,,21\n");
    assert_string_equal(
        export_text(fixture, FIXTURE_START_NS + 3 * NS_PER_S, FIXTURE_START_NS + 4 * NS_PER_S),
        "time,node,clock-uncertainty,magnetic.x,temperature\n"
        "1700000003,n1,0.00000031,,\n"
        "1700000003,n2,0.0012,,\n");
}

static void an_empty_night_is_a_header(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    fixture_close(fixture_open(&settings, NULL, NULL), 1);
    assert_string_equal(export_text(fixture, INT64_MIN, INT64_MAX), "time,node\n");
}

/* A long step: 18 digits don't hold count times step, a double does. */
static void a_value_of_too_many_digits_is_the_double_that_detection_sees(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    struct error error;
    struct channel channel = fixture->site->nodes[1].channels[0];
    channel.step = (struct decimal){123456789012345679, -20};
    fixture_check(night_put_channels(writer, 1, FIXTURE_BOOT, &channel, 1, &error), &error);
    const int32_t count = 12345;
    put(writer, 1, 1,
        &(struct block){.count = 1, .t0_ns = FIXTURE_START_NS, .period_ps = 1, .counts = &count});
    fixture_close(writer, 1);
    const char *text = export_text(fixture, INT64_MIN, INT64_MAX);
    const char *value = strrchr(text, ',') + 1;
    assert_true(strtod(value, NULL) == channel_value(&channel, count));
}

/* Against what was put: every sample once, none else, times never falling. */
static void every_sample_of_a_random_night_is_there_once_and_exact(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    uint64_t seed = 5;
    enum { SECONDS = 20 };
    static int32_t put_counts[2][SECONDS][200];
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_channels(writer, fixture, 1, FIXTURE_BOOT);
    for (int i = 0; i < 2 * SECONDS; i++) {
        uint32_t node = (uint32_t)i % 2;
        int64_t second = node ? i / 2 : SECONDS - 1 - i / 2; /* one of them backwards */
        struct error error;
        for (int j = 0; j < 200; j++) {
            put_counts[node][second][j] = (int32_t)fixture_random(&seed);
        }
        fixture_check(
            fixture_put_second(writer, node, second, put_counts[node][second], false, &error),
            &error);
    }
    fixture_close(writer, SECONDS);
    char *line = strtok(export_text(fixture, INT64_MIN, INT64_MAX), "\n");
    assert_string_equal(line, "time,node,magnetic.x,temperature");
    int64_t last_ns = INT64_MIN;
    size_t rows = 0;
    while ((line = strtok(NULL, "\n"))) {
        struct error error;
        int64_t time_ns = 0;
        int node = 0;
        size_t length = strcspn(line, ",");
        fixture_check(timefmt_parse_seconds(line, length, &time_ns, &error), &error);
        assert_true(time_ns >= last_ns);
        last_ns = time_ns;
        char value[64];
        assert_int_equal(sscanf(line + length, ",n%d,%63[^,],", &node, value), 2);
        struct decimal decimal;
        int64_t count = 0;
        fixture_check(decimal_parse(value, strlen(value), &decimal, &error), &error);
        assert_int_equal(decimal_rescale(decimal, -9, &count), 0);
        int64_t index = (time_ns - FIXTURE_START_NS) / (NS_PER_S / 200);
        assert_int64_equal(count, put_counts[node - 1][index / 200][index % 200]);
        rows++;
    }
    assert_int_equal(rows, 2 * SECONDS * 200);
}

static void nodes_and_channels_that_were_asked_for_are_given_alone(void **state)
{
    struct fixture *fixture = *state;
    put_small_night(fixture);
    const char *nodes[] = {"n2"};
    const char *channels[] = {"temperature"};
    struct export_options options = EXPORT_ALL;
    options.nodes = nodes;
    options.node_count = 1;
    assert_string_equal(export_with(fixture, options), "time,node,clock-uncertainty,magnetic.x\n"
                                                       "1700000000,n2,,0.0000487\n"
                                                       "1700000000.01,n2,0.0012,-0.000048701\n");
    options.node_count = 0;
    options.channels = channels;
    options.channel_count = 1;
    assert_string_equal(export_with(fixture, options), "time,node,temperature\n"
                                                       "1700000000.005,n1,12.3456789012345678\n"
                                                       "1700000000.005000001,n1,21\n");
}

static void a_node_or_channel_that_is_not_there_is_named(void **state)
{
    struct fixture *fixture = *state;
    put_small_night(fixture);
    struct night_reader *reader = fixture_read(fixture);
    struct error error;
    const char *names[] = {"nobody"};
    struct export_options options = EXPORT_ALL;
    options.out = stderr;
    options.nodes = names;
    options.node_count = 1;
    assert_int_equal(export_run("csv", reader, &options, &error), -1);
    assert_error(error, ERROR_USAGE, "no node \"nobody\"");
    options.node_count = 0;
    options.channels = names;
    options.channel_count = 1;
    assert_int_equal(export_run("csv", reader, &options, &error), -1);
    assert_error(error, ERROR_USAGE, "nobody");
    night_reader_close(reader);
}

static void seconds_keep_the_least_and_the_most_of_their_samples(void **state)
{
    struct fixture *fixture = *state;
    put_small_night(fixture);
    struct export_options options = EXPORT_ALL;
    options.per_second = true;
    assert_string_equal(
        export_with(fixture, options),
        "time,node,clock-uncertainty.min,clock-uncertainty.mean,clock-uncertainty.max,"
        "magnetic.x.min,magnetic.x.mean,magnetic.x.max,"
        "temperature.min,temperature.mean,temperature.max\n"
        "1699999999,n1,0.0000003,0.0000003,0.0000003,,,,,,\n"
        "1700000000,n1,,,,-0.000048701,0.536870913,2.147483647,"
        "12.3456789012345678,16.6728395,21\n"
        "1700000000,n2,0.0012,0.0012,0.0012,-0.000048701,-5e-10,0.0000487,,,\n"
        "1700000001,n1,0.00000031,0.00000031,0.00000031,,,,,,\n");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_FIXTURE(rows_go_by_time_then_node_with_one_column_for_each_channel),
        WITH_FIXTURE(a_window_keeps_its_samples_and_the_clock_that_holds_in_it),
        WITH_FIXTURE(an_empty_night_is_a_header),
        WITH_FIXTURE(a_value_of_too_many_digits_is_the_double_that_detection_sees),
        WITH_FIXTURE(every_sample_of_a_random_night_is_there_once_and_exact),
        WITH_FIXTURE(nodes_and_channels_that_were_asked_for_are_given_alone),
        WITH_FIXTURE(a_node_or_channel_that_is_not_there_is_named),
        WITH_FIXTURE(seconds_keep_the_least_and_the_most_of_their_samples),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
