/* Import: exact values and times, faults by their line, blocks in the order of data time. */
#include "tests/unit/ingest/site_for_tests.h"

#include <unistd.h>

#include "collector/ingest/csv.h"
#include "common/clock.h"

#define T0_S INT64_C(1709330400)
#define T0_NS (T0_S * NS_PER_S)

/* What came out, flattened. */
struct sample {
    uint32_t node;
    uint16_t channel;
    int64_t time_ns;
    struct decimal value;
    enum block_encoding encoding;
    bool even;
};

struct collected {
    struct sample samples[4000];
    size_t count;
    int64_t until_ns[3];
    int64_t clock_times[8];
    int64_t clock_values[8];
    size_t clock_count;
    bool out_of_order;
    struct recording *csv;
    int fail_with;
};

static char path[256];
static struct site *site;

static int on_clock(void *context, uint32_t node, int64_t time_ns, int64_t clock_sd_ns,
                    struct error *error)
{
    struct collected *out = context;
    (void)node;
    (void)error;
    out->clock_times[out->clock_count] = time_ns;
    out->clock_values[out->clock_count++] = clock_sd_ns;
    return 0;
}

static int on_blocks(void *context, uint32_t node, const struct block *blocks, size_t count,
                     struct error *error)
{
    struct collected *out = context;
    if (out->fail_with) {
        (void)error_set(error, ERROR_FULL, "no room");
        return out->fail_with;
    }
    for (size_t b = 0; b < count; b++) {
        const struct channel *channel =
            &recording_get_node(out->csv, node)->channels[blocks[b].channel];
        for (uint32_t i = 0; i < blocks[b].count; i++) {
            struct sample *sample = &out->samples[out->count++];
            *sample = (struct sample){.node = node,
                                      .channel = blocks[b].channel,
                                      .time_ns = block_time_ns(&blocks[b], i),
                                      .encoding = blocks[b].encoding,
                                      .even = blocks[b].period_ps > 0};
            out->out_of_order = out->out_of_order ||
                                block_decimal(&blocks[b], channel, i, &sample->value) != 0 ||
                                sample->time_ns < out->until_ns[node];
        }
    }
    return 0;
}

static int on_advance(void *context, uint32_t node, int64_t until_ns, struct error *error)
{
    struct collected *out = context;
    (void)error;
    out->out_of_order = out->out_of_order || until_ns <= out->until_ns[node];
    out->until_ns[node] = until_ns;
    return 0;
}

static void write_file(const char *text)
{
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(text, 1, strlen(text), file), strlen(text));
    assert_int_equal(fclose(file), 0);
}

static int import(const char *text, struct collected *out, struct error *error)
{
    write_file(text);
    struct recording_sink sink = {out, on_clock, on_blocks, on_advance};
    *out = (struct collected){.fail_with = out->fail_with};
    for (size_t i = 0; i < 3; i++) {
        out->until_ns[i] = INT64_MIN;
    }
    if (csv_open(path, site, &out->csv, error)) {
        return -1;
    }
    int result = recording_run(out->csv, &sink, error);
    recording_close(out->csv);
    return result;
}

static void assert_sample(const struct sample *sample, uint32_t node, uint16_t channel,
                          int64_t time_ns, int64_t mantissa, int exponent)
{
    assert_int_equal(sample->node, node);
    assert_int_equal(sample->channel, channel);
    assert_int64_equal(sample->time_ns, time_ns);
    assert_int64_equal(sample->value.mantissa, mantissa);
    assert_int_equal(sample->value.exponent, exponent);
}

static struct collected out;

static void values_and_times_come_out_exactly(void **state)
{
    (void)state;
    struct error error;
    assert_int_equal(import("time,node,temperature,magnetic.x\n"
                            "1709330400.000000001,n1,21.5,\n"
                            "2024-03-01T22:00:01Z,n2,1.95e1,-48.7e-6\n"
                            "2024-03-01T23:00:02.5+01:00,n1,21.55,\n",
                            &out, &error),
                     0);
    assert_int_equal(out.count, 4);
    assert_sample(&out.samples[0], 0, 0, T0_NS + 1, 215, -1);
    assert_sample(&out.samples[1], 0, 0, T0_NS + 2500000000, 2155, -2);
    assert_sample(&out.samples[2], 1, 0, T0_NS + NS_PER_S, -487, -7);
    assert_sample(&out.samples[3], 1, 1, T0_NS + NS_PER_S, 195, -1);
    assert_false(out.out_of_order);
    assert_int64_equal(out.until_ns[0], T0_NS + 2500000001);
    assert_int64_equal(out.until_ns[2], INT64_MIN); /* n3 is not in the file */
}

static void the_step_is_the_finest_power_of_ten_that_the_values_need(void **state)
{
    (void)state;
    struct error error;
    write_file("time,node,temperature\n1,n1,21.5\n2,n1,21.25\n3,n1,20\n3,n2,700\n");
    struct recording *csv;
    assert_int_equal(csv_open(path, site, &csv, &error), 0);
    assert_int_equal(recording_get_node(csv, 0)->channels[0].step.exponent, -2);
    assert_int64_equal(recording_get_node(csv, 0)->channels[0].step.mantissa, 1);
    assert_int_equal(recording_get_node(csv, 1)->channels[1].step.exponent, 2);
    assert_int_equal(recording_samples(csv), 4);
    assert_int64_equal(recording_first_ns(csv), NS_PER_S);
    assert_int64_equal(recording_last_ns(csv), 3 * NS_PER_S);
    recording_close(csv);
}

static void what_does_not_fit_int32_steps_is_kept_wider(void **state)
{
    (void)state;
    struct error error;
    assert_int_equal(import("time,node,temperature\n"
                            "100,n1,0.000000000001\n101,n1,123456789012345678\n102,n1,5\n",
                            &out, &error),
                     0);
    assert_sample(&out.samples[0], 0, 0, 100 * NS_PER_S, 1, -12);
    assert_sample(&out.samples[1], 0, 0, 101 * NS_PER_S, 123456789012345678, 0);
    assert_sample(&out.samples[2], 0, 0, 102 * NS_PER_S, 5, 0);
    assert_int_equal(out.samples[0].encoding, BLOCK_DECIMAL);
}

static void rows_out_of_order_by_up_to_ten_seconds_are_sorted(void **state)
{
    (void)state;
    struct error error;
    assert_int_equal(import("time,node,temperature\n"
                            "110,n1,1\n100,n1,2\n105.5,n1,3\n140,n1,4\n130,n1,5\n",
                            &out, &error),
                     0);
    assert_int_equal(out.count, 5);
    assert_sample(&out.samples[0], 0, 0, 100 * NS_PER_S, 2, 0);
    assert_sample(&out.samples[1], 0, 0, INT64_C(105500000000), 3, 0);
    assert_sample(&out.samples[2], 0, 0, 110 * NS_PER_S, 1, 0);
    assert_sample(&out.samples[3], 0, 0, 130 * NS_PER_S, 5, 0);
    assert_false(out.out_of_order);
}

static void even_times_of_a_channel_with_a_rate_give_even_blocks(void **state)
{
    (void)state;
    struct error error;
    static char text[200000];
    size_t length = (size_t)snprintf(text, sizeof text, "time,node,magnetic.x,motion\n");
    for (int i = 0; i < 2000; i++) {
        length += (size_t)snprintf(text + length, sizeof text - length, "%d.%03d,n2,%de-9,\n",
                                   100 + i / 50, i % 50 * 20, i - 1000);
    }
    assert_int_equal(import(text, &out, &error), 0);
    assert_int_equal(out.count, 2000);
    for (int i = 0; i < 2000; i++) {
        assert_int64_equal(out.samples[i].time_ns, 100 * NS_PER_S + i * INT64_C(20000000));
        assert_true(out.samples[i].even);
        assert_int_equal(out.samples[i].encoding, BLOCK_INT32);
    }
    assert_false(out.out_of_order);
    assert_int_equal(import("time,node,motion\n1,n1,0\n2,n1,1\n3,n1,0\n", &out, &error), 0);
    assert_false(out.samples[0].even); /* tells changes only */
}

static void quotes_crlf_bom_and_blank_lines_at_the_end_are_taken(void **state)
{
    (void)state;
    struct error error;
    assert_int_equal(import("\xEF\xBB\xBF\"time\",\"node\",temperature\r\n"
                            "\"100\", \"n1\" ,\"21.5\"\r\n101,n1,\"\"\r\n102,n1,22\r\n\r\n \n",
                            &out, &error),
                     0);
    assert_int_equal(out.count, 2);
    assert_sample(&out.samples[0], 0, 0, 100 * NS_PER_S, 215, -1);
    assert_int_equal(import("time,node,temperature\n100,n1,7", &out, &error), 0); /* no newline */
    assert_int_equal(out.count, 1);
}

static void the_clock_column_is_handed_on_and_is_no_channel(void **state)
{
    (void)state;
    struct error error;
    assert_int_equal(import("time,node,temperature,clock-uncertainty\n"
                            "100,n1,21,0.00012\n101,n1,21,\n102,n1,21,0.0013\n",
                            &out, &error),
                     0);
    assert_int_equal(out.count, 3);
    assert_int_equal(out.clock_count, 2);
    assert_int64_equal(out.clock_values[0], 120000);
    assert_int64_equal(out.clock_times[1], 102 * NS_PER_S);
    assert_int64_equal(out.clock_values[1], 1300000);
}

static void a_clock_told_on_after_the_samples_never_turns_time_back(void **state)
{
    (void)state;
    struct error error;
    assert_int_equal(import("time,node,temperature,clock-uncertainty\n"
                            "50,n1,21,0.001\n95,n1,21,\n120,n1,,0.005\n",
                            &out, &error),
                     0);
    assert_int_equal(out.count, 2);
    assert_false(out.out_of_order);
    assert_true(out.until_ns[0] > 95 * NS_PER_S);
}

static void each_fault_is_named_by_its_line(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        const char *part;
    } cases[] = {
        {"", "1: empty file"},
        {"time,node\n", ":1: the header is not"},
        {"node,time,temperature\n", ":1: the header is not"},
        {"time,node,temperature\n", "no samples"},
        {"time,node,nose\n1,n1,2\n", ":1: column \"nose\": no channel of any node"},
        {"time,node,temperature,temperature\n", ":1: column \"temperature\": there twice"},
        {"time,node,Bad Name\n", "not a channel name"},
        {"time,node,temperature\n1,n1,2\n2,n9,3\n", ":3: node \"n9\": not in the site file"},
        {"time,node,temperature\n1,n3,2\n", ":2: node n3 has no channel temperature"},
        {"time,node,temperature\n1,n1,2\nx,n1,3\n", ":3: time \"x\""},
        {"time,node,temperature\n1,n1,2\n,n1,3\n", ":3: time \"\""},
        {"time,node,temperature\n2024-13-01T00:00:00Z,n1,3\n", ":2: time"},
        {"time,node,temperature\n1,n1,two\n", ":2: n1 temperature: \"two\": not a number"},
        {"time,node,temperature\n1,n1,nan\n", ":2: n1 temperature"},
        {"time,node,temperature\n1,n1,inf\n", ":2: n1 temperature"},
        {"time,node,temperature\n1,n1,1234567890123456789012\n", "more than 18 digits"},
        {"time,node,temperature\n1,n1,1,2\n", ":2: 4 cells where the header has 3"},
        {"time,node,temperature\n1,n1\n", ":2: 2 cells"},
        {"time,node,temperature\n1,n1,1\n\n2,n1,1\n", ":3: a blank line between rows"},
        {"time,node,temperature\n20,n1,1\n9.999999999,n1,1\n", ":3: more than 10 s behind"},
        {"time,node,temperature\n1,n1,1\n1,n1,1\n", ":3: two values of one channel at one time"},
        {"time,node,temperature\n1,n1,\"1\n", ":2: a quote that does not close"},
        {"time,node,temperature\n1,n1,\"1\"2\n", "behind the closing quote"},
        {"time,node,temperature,clock-uncertainty\n1,n1,1,-1\n", ":2: clock-uncertainty"},
        {"time,node,temperature\n99999999999999,n1,1\n", ":2: time"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct error error = {0};
        if (import(cases[i].text, &out, &error) == 0) {
            fail_msg("taken: %s", cases[i].text);
        }
        if (!strstr(error.text, cases[i].part) || !strstr(error.text, path)) {
            fail_msg("\"%s\" lacks \"%s\" for %s", error.text, cases[i].part, cases[i].text);
        }
    }
}

static void a_missing_file_is_named(void **state)
{
    (void)state;
    struct error error;
    struct recording *csv;
    assert_int_equal(csv_open("/nonexistent/night.csv", site, &csv, &error), -1);
    assert_error(error, ERROR_NOT_FOUND, "/nonexistent/night.csv");
}

static void a_sink_that_fails_stops_the_run(void **state)
{
    (void)state;
    struct error error;
    out.fail_with = 7;
    assert_int_equal(import("time,node,temperature\n1,n1,2\n", &out, &error), 7);
    assert_error(error, ERROR_FULL, "no room");
    out.fail_with = 0;
}

static void a_hole_of_an_hour_is_passed_at_once(void **state)
{
    (void)state;
    struct error error;
    assert_int_equal(import("time,node,temperature\n1,n1,2\n3601,n1,3\n7201,n2,4\n", &out, &error),
                     0);
    assert_int_equal(out.count, 3);
    assert_false(out.out_of_order);
    assert_int64_equal(out.until_ns[0], 7201 * NS_PER_S + 1);
}

static int setup(void **state)
{
    (void)state;
    const char *folder = getenv("TMPDIR");
    (void)snprintf(path, sizeof path, "%s/csv-test-XXXXXX", folder ? folder : "/tmp");
    int fd = mkstemp(path);
    if (fd < 0) {
        return -1;
    }
    (void)close(fd);
    site = make_site();
    return 0;
}

static int teardown(void **state)
{
    (void)state;
    site_free(site);
    return unlink(path);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(values_and_times_come_out_exactly),
        cmocka_unit_test(the_step_is_the_finest_power_of_ten_that_the_values_need),
        cmocka_unit_test(what_does_not_fit_int32_steps_is_kept_wider),
        cmocka_unit_test(rows_out_of_order_by_up_to_ten_seconds_are_sorted),
        cmocka_unit_test(even_times_of_a_channel_with_a_rate_give_even_blocks),
        cmocka_unit_test(quotes_crlf_bom_and_blank_lines_at_the_end_are_taken),
        cmocka_unit_test(the_clock_column_is_handed_on_and_is_no_channel),
        cmocka_unit_test(a_clock_told_on_after_the_samples_never_turns_time_back),
        cmocka_unit_test(each_fault_is_named_by_its_line),
        cmocka_unit_test(a_missing_file_is_named),
        cmocka_unit_test(a_sink_that_fails_stops_the_run),
        cmocka_unit_test(a_hole_of_an_hour_is_passed_at_once),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}
