/* That no zoom level loses an extreme: against brute force over random nights, live and closed. */
#include "tests/unit/night/fixture.h"

#include "collector/night/zoom.h"

#define BUCKETS 4096

struct sample {
    int64_t time_ns;
    double value;
};

/* All samples of magnetic.x of n1 in the window by brute force. */
static size_t all_samples(struct night_reader *reader, int64_t from_ns, int64_t to_ns,
                          struct sample *samples)
{
    struct night_blocks *cursor = NULL;
    struct night_block_row row;
    struct error error;
    size_t count = 0;
    fixture_check(night_blocks_open(reader, 0, from_ns, to_ns, &cursor, &error), &error);
    int more = 0;
    while ((more = night_blocks_next(cursor, &row, &error)) == 1) {
        for (uint32_t i = 0; i < row.block.count && strcmp(row.channel.name, "magnetic.x") == 0;
             i++) {
            int64_t time_ns = block_time_ns(&row.block, i);
            if (time_ns >= from_ns && time_ns < to_ns) {
                samples[count++] =
                    (struct sample){time_ns, block_value(&row.block, &row.channel, i)};
            }
        }
    }
    fixture_check(more, &error);
    night_blocks_close(cursor);
    return count;
}

static bool covered(const struct night_bucket *buckets, size_t count, const struct sample *sample)
{
    for (size_t i = 0; i < count; i++) {
        if (sample->time_ns >= buckets[i].t0_ns && sample->time_ns <= buckets[i].t1_ns &&
            sample->value >= buckets[i].min && sample->value <= buckets[i].max) {
            return true;
        }
    }
    return false;
}

/* Every sample is within a bucket; each bucket's ends are samples' values; at most 4 a pixel. */
static size_t check_window(struct night_reader *reader, const struct sample *samples, size_t count,
                           int64_t from_ns, int64_t to_ns, size_t pixels)
{
    struct night_bucket *buckets = malloc(BUCKETS * sizeof *buckets);
    struct error error;
    size_t made = 0;
    fixture_check(night_read_zoom(reader, 0, "magnetic.x", from_ns, to_ns, pixels, buckets, BUCKETS,
                                  &made, &error),
                  &error);
    assert_true(made <= 4 * pixels);
    size_t inside = 0;
    size_t stride = count / 500 + 1;
    double min = INFINITY;
    double max = -INFINITY;
    for (size_t i = 0; i < count; i++) {
        if (samples[i].time_ns >= from_ns && samples[i].time_ns < to_ns) {
            inside++;
            bool extreme = samples[i].value < min || samples[i].value > max;
            min = fmin(min, samples[i].value);
            max = fmax(max, samples[i].value);
            if ((extreme || i % stride == 0) && !covered(buckets, made, &samples[i])) {
                fail_msg("sample %zu is in no bucket of %zu", i, made);
            }
        }
    }
    assert_true(made >= (inside < pixels ? inside : pixels) || made == inside);
    for (size_t i = 0; i < made; i++) {
        assert_true(buckets[i].min <= buckets[i].mean + 1e-12);
        assert_true(buckets[i].mean <= buckets[i].max + 1e-12);
        assert_true(i == 0 || buckets[i].t0_ns >= buckets[i - 1].t0_ns);
    }
    free(buckets);
    return made;
}

/* Blocks of odd lengths, some late and out of order, one of decimals, two boots, a spike. */
static int64_t put_odd_night(struct night_writer *writer, const struct fixture *fixture,
                             uint64_t seed, int64_t spike_second)
{
    struct error error;
    int64_t late[8];
    size_t late_count = 0;
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    int64_t seconds = 700 + (int64_t)(fixture_random(&seed) % 100);
    for (int64_t second = 0; second < seconds; second++) {
        int32_t counts[200];
        for (int i = 0; i < 200; i++) {
            counts[i] = fixture_noise(&seed, 4) + (int32_t)(second / 10);
        }
        if (second == spike_second) {
            counts[seed % 200] = -1000000;
            counts[seed / 200 % 200] = 1000000;
        }
        if (second % 97 == 5 && second != spike_second) {
            late[late_count++] = second;
            continue;
        }
        fixture_check(fixture_put_second(writer, 0, second, counts, false, &error), &error);
    }
    for (size_t i = 0; i < late_count; i++) {
        int32_t counts[200];
        for (int j = 0; j < 200; j++) {
            counts[j] = fixture_noise(&seed, 400);
        }
        fixture_check(fixture_put_second(writer, 0, late[i], counts, true, &error), &error);
    }
    return seconds;
}

static void every_extreme_is_in_every_resolution_of_a_live_and_of_a_closed_night(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    int64_t seconds = put_odd_night(writer, fixture, 11, 333);
    fixture_flush(writer);
    struct sample *samples = malloc(200 * 900 * sizeof *samples);
    static const size_t pixels[] = {1, 2, 10, 50, 300, 1000};
    uint64_t seed = 12;
    for (int closed = 0; closed < 2; closed++) {
        if (closed) {
            fixture_close(writer, seconds);
        }
        struct night_reader *reader = fixture_read(fixture);
        size_t count = all_samples(reader, INT64_MIN, INT64_MAX, samples);
        assert_int_equal(count, seconds * 200);
        for (size_t i = 0; i < 12; i++) {
            int64_t length_ns = seconds * NS_PER_S >> (i / 2);
            int64_t from_ns = FIXTURE_START_NS +
                              (int64_t)(fixture_random(&seed) % (uint64_t)(seconds * NS_PER_S));
            (void)check_window(reader, samples, count, from_ns, from_ns + length_ns, pixels[i % 6]);
        }
        for (size_t i = 0; i < 6; i++) {
            size_t made = check_window(reader, samples, count, INT64_MIN, INT64_MAX, pixels[i]);
            assert_true(made >= pixels[i] || pixels[i] > (size_t)seconds);
        }
        night_reader_close(reader);
    }
    free(samples);
}

static void a_spike_of_one_sample_is_in_the_greatest_value_of_every_level(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    int64_t seconds = put_odd_night(writer, fixture, 21, 431);
    fixture_close(writer, seconds);
    for (int level = 1; level <= 3; level++) {
        char sql[128];
        (void)snprintf(sql, sizeof sql,
                       "SELECT round(1e9*max(max)) FROM zoom WHERE level=%d AND channel=32", level);
        assert_int_equal(fixture_query(fixture, sql), 1000000);
        (void)snprintf(sql, sizeof sql, "SELECT sum(n) FROM zoom WHERE level=%d", level);
        assert_int_equal(fixture_query(fixture, sql), seconds * 200);
    }
    assert_int_equal(fixture_query(fixture, "SELECT max(max) FROM block"), 1000000);
    struct night_reader *reader = fixture_read(fixture);
    for (size_t pixels = 1; pixels <= 1024; pixels *= 2) {
        static struct night_bucket buckets[BUCKETS];
        struct error error;
        size_t count = 0;
        double max = 0;
        fixture_check(night_read_zoom(reader, 0, "magnetic.x", INT64_MIN, INT64_MAX, pixels,
                                      buckets, BUCKETS, &count, &error),
                      &error);
        for (size_t i = 0; i < count; i++) {
            max = fmax(max, buckets[i].max);
        }
        assert_close(max, 1e-3, 0);
    }
    night_reader_close(reader);
}

static void a_channel_without_samples_gives_no_buckets_and_too_little_room_is_refused(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    fixture_close(fixture_open(&settings, NULL, NULL), 1);
    struct night_reader *reader = fixture_read(fixture);
    struct night_bucket buckets[8];
    struct error error;
    size_t count = 9;
    fixture_check(night_read_zoom(reader, 0, "magnetic.x", INT64_MIN, INT64_MAX, 2, buckets, 8,
                                  &count, &error),
                  &error);
    assert_int_equal(count, 0);
    assert_int_equal(night_read_zoom(reader, 0, "magnetic.x", 0, 1, 3, buckets, 8, &count, &error),
                     -1);
    assert_error(error, ERROR_RANGE, "8 buckets for 3 pixels");
    night_reader_close(reader);
}

static void slots_before_1970_are_whole_too(void **state)
{
    (void)state;
    assert_int64_equal(zoom_slot(1, 0), 0);
    assert_int64_equal(zoom_slot(1, -1), -1);
    assert_int64_equal(zoom_slot(1, -16 * NS_PER_S), -1);
    assert_int64_equal(zoom_slot(1, -16 * NS_PER_S - 1), -2);
    assert_int64_equal(zoom_slot(3, 4096 * NS_PER_S), 1);
}

static void a_falling_scale_keeps_least_below_greatest(void **state)
{
    (void)state;
    struct channel channel = {.step = {-1, 0}, .offset = {5, 0}};
    const int32_t counts[] = {-3, 10, 2};
    struct block block = {.count = 3, .period_ps = 1000, .counts = counts};
    struct zoom_summary summary;
    zoom_summarise(&block, &channel, &summary);
    assert_close(summary.values.min, -5, 0);
    assert_close(summary.values.max, 8, 0);
    assert_close(summary.values.sum, 6, 0);
}

#define WITH_FIXTURE(test) cmocka_unit_test_setup_teardown(test, fixture_setup, fixture_teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_FIXTURE(every_extreme_is_in_every_resolution_of_a_live_and_of_a_closed_night),
        WITH_FIXTURE(a_spike_of_one_sample_is_in_the_greatest_value_of_every_level),
        WITH_FIXTURE(a_channel_without_samples_gives_no_buckets_and_too_little_room_is_refused),
        cmocka_unit_test(slots_before_1970_are_whole_too),
        cmocka_unit_test(a_falling_scale_keeps_least_below_greatest),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
