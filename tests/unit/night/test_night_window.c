/* That a window's pixels hold every extreme: against brute force over odd nights, live and closed.
 */
#include "tests/unit/night/fixture.h"

#include "collector/night/window_fold.h"

#define PIXELS_MOST 3000
#define SECONDS_MOST 1000

struct sample {
    int64_t time_ns;
    double value;
};

struct truth {
    size_t count;
    struct sample samples[200 * SECONDS_MOST];
};

static struct truth *all_samples(struct night_reader *reader)
{
    struct truth *truth = calloc(1, sizeof *truth);
    struct night_blocks *cursor = NULL;
    struct night_block_row row;
    struct error error;
    fixture_check(night_blocks_open(reader, 0, INT64_MIN, INT64_MAX, &cursor, &error), &error);
    int more = 0;
    while ((more = night_blocks_next(cursor, &row, &error)) == 1) {
        for (uint32_t i = 0; i < row.block.count && strcmp(row.channel.name, "magnetic.x") == 0;
             i++) {
            truth->samples[truth->count++] = (struct sample){
                block_time_ns(&row.block, i), block_value(&row.block, &row.channel, i)};
        }
    }
    fixture_check(more, &error);
    night_blocks_close(cursor);
    return truth;
}

/* Every sample is within its pixel; each end of a pixel is some sample's value, in the pixel where
 * `exact`, else no farther away than `spread_ns`. */
static void check_window(struct night_reader *reader, const struct truth *truth, int64_t from_ns,
                         int64_t to_ns, size_t pixels, int64_t spread_ns)
{
    static struct night_pixel made[PIXELS_MOST];
    static uint64_t inside[PIXELS_MOST];
    static bool least[PIXELS_MOST];
    static bool greatest[PIXELS_MOST];
    struct error error;
    memset(inside, 0, sizeof inside);
    memset(least, 0, sizeof least);
    memset(greatest, 0, sizeof greatest);
    fixture_check(night_read_window(reader, 0, "magnetic.x", from_ns, to_ns, pixels, made, &error),
                  &error);
    struct window window = {.from_ns = from_ns, .to_ns = to_ns, .count = pixels, .pixels = made};
    for (size_t i = 0; i < truth->count; i++) {
        const struct sample *sample = &truth->samples[i];
        bool within = sample->time_ns >= from_ns && sample->time_ns < to_ns;
        if (within) {
            size_t place = window_pixel(&window, sample->time_ns);
            assert_true(sample->time_ns >= night_pixel_edge(from_ns, to_ns, pixels, place));
            assert_true(sample->time_ns < night_pixel_edge(from_ns, to_ns, pixels, place + 1));
            assert_true(sample->value >= made[place].min && sample->value <= made[place].max);
            inside[place]++;
        }
        int64_t early_ns = sample->time_ns - spread_ns;
        int64_t late_ns = sample->time_ns + spread_ns;
        if (late_ns < from_ns || early_ns >= to_ns) {
            continue;
        }
        size_t first = early_ns < from_ns ? 0 : window_pixel(&window, early_ns);
        size_t last = late_ns >= to_ns ? pixels - 1 : window_pixel(&window, late_ns);
        for (size_t j = first; j <= last; j++) {
            least[j] = least[j] || sample->value <= made[j].min;
            greatest[j] = greatest[j] || sample->value >= made[j].max;
        }
    }
    for (size_t i = 0; i < pixels; i++) {
        assert_true(made[i].count >= inside[i]);
        assert_true(spread_ns > 0 || made[i].count == inside[i]);
        assert_true(made[i].count > 0 ? least[i] && greatest[i] : isnan(made[i].min));
    }
}

/* Seconds that are missing, come late, or hold a spike. */
static int64_t put_odd_night(struct night_writer *writer, const struct fixture *fixture,
                             uint64_t seed)
{
    struct error error;
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    int64_t seconds = 700 + (int64_t)(fixture_random(&seed) % 100);
    for (int pass = 0; pass < 2; pass++) {
        for (int64_t second = 0; second < seconds; second++) {
            int32_t counts[200];
            bool late = second % 97 == 5;
            if (late != (pass == 1) || second % 131 == 7) {
                continue;
            }
            for (int i = 0; i < 200; i++) {
                counts[i] = fixture_noise(&seed, 4) + (int32_t)(second / 10);
            }
            if (second % 50 == 0) {
                counts[fixture_random(&seed) % 200] = -100000 - (int32_t)second;
                counts[fixture_random(&seed) % 200] = 100000 + (int32_t)second;
            }
            fixture_check(fixture_put_second(writer, 0, second, counts, late, &error), &error);
        }
    }
    return seconds;
}

static void every_extreme_is_in_its_pixel_on_a_live_and_on_a_closed_night(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    int64_t seconds = put_odd_night(writer, fixture, 11);
    fixture_flush(writer);
    static const size_t pixels[] = {1, 2, 10, 57, 300, 2000};
    uint64_t seed = 12;
    for (int closed = 0; closed < 2; closed++) {
        if (closed) {
            fixture_close(writer, seconds);
        }
        struct night_reader *reader = fixture_read(fixture);
        struct truth *truth = all_samples(reader);
        for (size_t i = 0; i < 18; i++) {
            int64_t length_ns = (seconds * NS_PER_S >> i) + 1;
            int64_t from_ns = FIXTURE_START_NS - 5 * NS_PER_S +
                              (int64_t)(fixture_random(&seed) % (uint64_t)(seconds * NS_PER_S));
            check_window(reader, truth, from_ns, from_ns + length_ns, pixels[i % 6], 0);
        }
        check_window(reader, truth, FIXTURE_START_NS, FIXTURE_START_NS + seconds * NS_PER_S, 2000,
                     0);
        free(truth);
        night_reader_close(reader);
    }
}

static void a_named_gap_is_told_in_the_pixels_that_it_touches(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    struct error error;
    struct gap gap = {.node = 0,
                      .start_ns = FIXTURE_START_NS + 2 * NS_PER_S,
                      .end_ns = FIXTURE_START_NS + 4 * NS_PER_S,
                      .reason = "the node was away"};
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_noise(writer, 0, 0, 2, 5);
    fixture_check(night_put_gap(writer, &gap, &error), &error);
    fixture_close(writer, 6);
    struct night_reader *reader = fixture_read(fixture);
    struct night_pixel pixels[6];
    fixture_check(night_read_window(reader, 0, "magnetic.x", FIXTURE_START_NS,
                                    FIXTURE_START_NS + 6 * NS_PER_S, 6, pixels, &error),
                  &error);
    static const bool gaps[] = {false, false, true, true, false, false};
    for (size_t i = 0; i < 6; i++) {
        assert_int_equal(pixels[i].gap, gaps[i]);
        assert_int_equal(pixels[i].count, i < 2 ? 200 : 0);
    }
    fixture_check(night_read_window(reader, 1, "magnetic.x", FIXTURE_START_NS,
                                    FIXTURE_START_NS + 6 * NS_PER_S, 6, pixels, &error),
                  &error);
    assert_false(pixels[2].gap);
    night_reader_close(reader);
}

static void a_window_without_length_or_with_too_many_pixels_is_refused(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    fixture_close(fixture_open(&settings, NULL, NULL), 1);
    struct night_reader *reader = fixture_read(fixture);
    struct night_pixel pixel;
    struct error error;
    assert_int_equal(night_read_window(reader, 0, "magnetic.x", 5, 5, 1, &pixel, &error), -1);
    assert_error(error, ERROR_RANGE, "window");
    assert_int_equal(night_read_window(reader, 0, "magnetic.x", 0, 5, 0, &pixel, &error), -1);
    assert_error(error, ERROR_RANGE, "0 pixels");
    fixture_check(night_read_window(reader, 0, "no.such", INT64_MIN, INT64_MAX, 1, &pixel, &error),
                  &error);
    assert_int_equal(pixel.count, 0);
    night_reader_close(reader);
}

static void the_edges_of_pixels_cover_the_window_without_a_hole(void **state)
{
    (void)state;
    uint64_t seed = 3;
    for (int i = 0; i < 2000; i++) {
        int64_t from_ns = (int64_t)(fixture_random(&seed) % 1000) - 500;
        int64_t to_ns = from_ns + 1 + (int64_t)(fixture_random(&seed) % 100);
        size_t count = 1 + fixture_random(&seed) % 60;
        struct window window = {.from_ns = from_ns, .to_ns = to_ns, .count = count};
        assert_int64_equal(night_pixel_edge(from_ns, to_ns, count, 0), from_ns);
        assert_int64_equal(night_pixel_edge(from_ns, to_ns, count, count), to_ns);
        for (int64_t time_ns = from_ns; time_ns < to_ns; time_ns++) {
            size_t place = window_pixel(&window, time_ns);
            assert_true(time_ns >= night_pixel_edge(from_ns, to_ns, count, place));
            assert_true(time_ns < night_pixel_edge(from_ns, to_ns, count, place + 1));
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_FIXTURE(every_extreme_is_in_its_pixel_on_a_live_and_on_a_closed_night),
        WITH_FIXTURE(a_named_gap_is_told_in_the_pixels_that_it_touches),
        WITH_FIXTURE(a_window_without_length_or_with_too_many_pixels_is_refused),
        cmocka_unit_test(the_edges_of_pixels_cover_the_window_without_a_hole),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
