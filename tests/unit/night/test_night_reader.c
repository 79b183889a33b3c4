/* That all which was put reads back as it was, in order, and that what is no night is refused. */
#include "tests/unit/night/fixture.h"

struct expected_block {
    int64_t t0_ns;
    uint32_t node;
};

static size_t read_all(struct night_reader *reader, size_t node, int64_t from_ns, int64_t to_ns,
                       struct expected_block *rows, size_t size)
{
    struct night_blocks *cursor = NULL;
    struct night_block_row row;
    struct error error;
    size_t count = 0;
    fixture_check(night_blocks_open(reader, node, from_ns, to_ns, &cursor, &error), &error);
    int more = 0;
    while ((more = night_blocks_next(cursor, &row, &error)) == 1) {
        assert_true(count < size);
        rows[count++] = (struct expected_block){row.block.t0_ns, row.node};
        assert_true(count < 2 || rows[count - 2].t0_ns <= row.block.t0_ns);
    }
    fixture_check(more, &error);
    night_blocks_close(cursor);
    return count;
}

static void put_one_sample(struct night_writer *writer, uint64_t seq, int64_t t0_ns)
{
    const int32_t counts[] = {1};
    const struct block block = {
        .count = 1, .t0_ns = t0_ns, .period_ps = PS_PER_S / 200, .counts = counts};
    const struct clock_fit unknown = {0};
    const struct night_frame_id id = {0, FIXTURE_BOOT, seq};
    struct error error;
    fixture_check(night_put_frame(writer, &id, &unknown, &block, &t0_ns, 1, true, &error), &error);
}

/* A node that never had the time counts from its own start. */
static void all_blocks_are_those_whose_time_can_be_of_this_night(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    const int64_t oldest_ns = FIXTURE_START_NS - NIGHT_BEFORE_START_NS;
    struct expected_block rows[8];
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    put_one_sample(writer, 1, 5 * NS_PER_S);
    put_one_sample(writer, 2, oldest_ns - 1);
    put_one_sample(writer, 3, oldest_ns);
    put_one_sample(writer, 4, FIXTURE_START_NS);
    fixture_close(writer, 1);
    struct night_reader *reader = fixture_read(fixture);
    assert_int_equal(read_all(reader, SIZE_MAX, INT64_MIN, INT64_MAX, rows, 8), 2);
    assert_int64_equal(rows[0].t0_ns, oldest_ns);
    assert_int_equal(read_all(reader, SIZE_MAX, INT64_MIN + 1, INT64_MAX, rows, 8), 4);
    struct night_node_summary summary;
    struct error error;
    fixture_check(night_read_node_summary(reader, 0, &summary, &error), &error);
    assert_int_equal(summary.samples, 4);
    night_reader_close(reader);
}

static int32_t put_counts[3] = {INT32_MIN, 0, INT32_MAX};
static int64_t put_times[3] = {FIXTURE_START_NS + 7, FIXTURE_START_NS + 8, FIXTURE_START_NS + 100};
static struct decimal put_decimals[3] = {{123456789012345678, -17}, {-1, 300}, {0, 0}};

/* One late frame with a block of counts, an empty one and one of decimals at odd times. */
static void put_every_kind_of_block(const struct fixture *fixture)
{
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    struct error error;
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    const struct block blocks[] = {
        {.channel = 0,
         .count = 3,
         .t0_ns = FIXTURE_START_NS + 9,
         .period_ps = 4999999,
         .counts = put_counts},
        {.channel = 1, .count = 0},
        {.channel = 1,
         .encoding = BLOCK_DECIMAL,
         .count = 3,
         .t0_ns = put_times[0],
         .times_ns = put_times,
         .decimals = put_decimals},
    };
    const int64_t node_t0_ns[] = {-5, 0, 12};
    struct clock_fit fit = {0};
    struct night_frame_id id = {0, FIXTURE_BOOT, INT64_MAX};
    fixture_check(night_put_frame(writer, &id, &fit, blocks, node_t0_ns, 3, true, &error), &error);
    fixture_close(writer, 1);
}

static void samples_times_and_scales_come_back_as_they_were_put(void **state)
{
    struct fixture *fixture = *state;
    struct error error;
    put_every_kind_of_block(fixture);
    struct night_reader *reader = fixture_read(fixture);
    struct night_blocks *cursor = NULL;
    struct night_block_row row;
    fixture_check(night_blocks_open(reader, SIZE_MAX, INT64_MIN, INT64_MAX, &cursor, &error),
                  &error);
    assert_int_equal(night_blocks_next(cursor, &row, &error), 1);
    assert_int_equal(row.seq, INT64_MAX);
    assert_true(row.boot == FIXTURE_BOOT);
    assert_int64_equal(row.node_t0_ns, 12);
    assert_int_equal(row.block.encoding, BLOCK_DECIMAL);
    assert_int_equal(row.block.channel, 1);
    assert_memory_equal(row.block.times_ns, put_times, sizeof put_times);
    for (int i = 0; i < 3; i++) {
        assert_int64_equal(row.block.decimals[i].mantissa, put_decimals[i].mantissa);
        assert_int_equal(row.block.decimals[i].exponent, put_decimals[i].exponent);
    }
    assert_string_equal(row.channel.name, "temperature");
    assert_int64_equal(row.channel.step.mantissa, 625);
    assert_int_equal(night_blocks_next(cursor, &row, &error), 1);
    assert_memory_equal(row.block.counts, put_counts, sizeof put_counts);
    assert_int64_equal(row.block.period_ps, 4999999);
    assert_int64_equal(row.block.t0_ns, FIXTURE_START_NS + 9);
    assert_int64_equal(row.node_t0_ns, -5);
    assert_string_equal(row.channel.unit, "T");
    assert_int_equal(row.channel.quantity, QUANTITY_MAGNETIC);
    assert_close(row.channel.rate_hz, 200, 0);
    assert_int_equal(night_blocks_next(cursor, &row, &error), 0);
    assert_int_equal(night_blocks_next(cursor, &row, &error), 0);
    night_blocks_close(cursor);

    struct night_node_summary summary;
    fixture_check(night_read_node_summary(reader, 0, &summary, &error), &error);
    assert_int_equal(summary.samples, 6);
    assert_int_equal(summary.late_frames, 1);
    assert_int64_equal(summary.first_ns, FIXTURE_START_NS + 7);
    assert_int64_equal(summary.last_ns, FIXTURE_START_NS + 9 + 10000);
    assert_int64_equal(summary.clock_sd_ns, -1);
    night_reader_close(reader);
}

static void blocks_come_by_their_first_sample_however_they_arrived(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    fixture_put_channels(writer, fixture, 1, FIXTURE_BOOT);
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_noise(writer, 1, 0, 300, 1);
    fixture_put_noise(writer, 0, 200, 400, 1);
    fixture_put_noise(writer, 0, 0, 200, 1);
    fixture_close(writer, 600);
    struct night_reader *reader = fixture_read(fixture);
    static struct expected_block rows[1000];
    assert_int_equal(read_all(reader, SIZE_MAX, INT64_MIN, INT64_MAX, rows, 1000), 900);
    for (size_t i = 0; i < 600; i++) { /* at equal times by node */
        assert_int_equal(rows[i].node, i % 2);
        assert_int64_equal(rows[i].t0_ns, FIXTURE_START_NS + (int64_t)(i / 2) * NS_PER_S);
    }
    assert_int_equal(read_all(reader, 0, INT64_MIN, INT64_MAX, rows, 1000), 600);
    int64_t last_ns = FIXTURE_START_NS + 995 * NS_PER_S / 1000; /* of the first second */
    assert_int_equal(read_all(reader, 1, last_ns, FIXTURE_START_NS + 2 * NS_PER_S, rows, 1000), 2);
    assert_int_equal(read_all(reader, 1, last_ns + 1, FIXTURE_START_NS + 2 * NS_PER_S, rows, 1000),
                     1);
    assert_int_equal(read_all(reader, 1, last_ns, FIXTURE_START_NS + NS_PER_S, rows, 1000), 1);
    assert_int_equal(read_all(reader, 1, FIXTURE_START_NS + 1000 * NS_PER_S, INT64_MAX, rows, 1000),
                     0);
    night_reader_close(reader);
}

static void the_night_tells_its_name_its_channels_and_the_site_of_each_analysis(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    struct error error;
    fixture_put_channels(writer, fixture, 0, 1);
    fixture_put_channels(writer, fixture, 0, 2);
    fixture_close(writer, 9);
    int analysis = 0;
    fixture_check(night_writer_open_for_analysis(fixture->night, &analysis, &writer, &error),
                  &error);
    double before = fixture->site->false_onsets_per_hour;
    fixture->site->false_onsets_per_hour = 0.1;
    fixture_check(night_put_analysis(writer, analysis, fixture->site, "set", &error), &error);
    fixture_close(writer, 0);

    struct night_reader *reader = fixture_read(fixture);
    struct night_info info;
    fixture_check(night_read_info(reader, &info, &error), &error);
    assert_string_equal(info.id, "lodge-20231114T221320Z");
    assert_string_equal(info.origin, "recorded");
    assert_int64_equal(info.start_ns, FIXTURE_START_NS);
    assert_int64_equal(info.end_ns, FIXTURE_START_NS + 9 * NS_PER_S);
    assert_int_equal(info.analysis, 2);
    struct channel channels[4];
    size_t count = 0;
    fixture_check(night_read_channels(reader, 0, channels, 4, &count, &error), &error);
    assert_int_equal(count, 2);
    assert_string_equal(channels[1].name, "temperature");
    fixture_check(night_read_channels(reader, 1, channels, 4, &count, &error), &error);
    assert_int_equal(count, 0);
    for (int i = 0; i <= 2; i++) {
        struct site *site = NULL;
        fixture_check(night_read_site(reader, i, &site, &error), &error);
        assert_close(site->false_onsets_per_hour, i == 1 ? before : 0.1, 0);
        assert_close(site->baseline_s, 60, 0);
        assert_string_equal(site->nodes[1].id, "n2");
        site_free(site);
    }
    struct site *none = NULL;
    assert_int_equal(night_read_site(reader, 3, &none, &error), -1);
    assert_error(error, ERROR_NOT_FOUND, "no analysis 3");
    night_reader_close(reader);
}

/* An earlier boot whose frames come last (they were late) is still the earlier one. */
static void the_end_of_a_night_that_was_left_is_told_of_each_node(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    struct error error;
    const struct clock_fit none = {0};
    const struct gap gap = {0, FIXTURE_START_NS, FIXTURE_START_NS + 5, "node restarted"};
    const int32_t counts[200] = {0};
    const struct block early = {.count = 3,
                                .t0_ns = 7 * NS_PER_S,
                                .period_ps = PS_PER_S / 200,
                                .encoding = BLOCK_INT32,
                                .counts = counts};
    const struct night_frame_id early_id = {0, FIXTURE_BOOT + 1, 1};
    const struct night_frame_id stray_id = {0, FIXTURE_BOOT, 40};
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT + 1);
    fixture_put_noise(writer, 0, 0, 30, 1);
    fixture_check(night_put_gap(writer, &gap, &error), &error);
    fixture_check(night_put_frame(writer, &early_id, &none, &early, &early.t0_ns, 1, true, &error),
                  &error);
    fixture_check(night_put_frame(writer, &stray_id, &none, &early, &early.t0_ns, 1, true, &error),
                  &error);
    fixture_check(night_writer_close(writer, 0, &error), &error);

    struct night_reader *reader = fixture_read(fixture);
    struct night_left left;
    fixture_check(night_read_left(reader, 0, &left, &error), &error);
    assert_int_equal(left.boot_count, 2);
    assert_true(left.boots[0].boot == FIXTURE_BOOT + 1 && left.boots[0].seq == 1);
    assert_true(left.boots[1].boot == FIXTURE_BOOT && left.boots[1].seq == 40);
    assert_true(left.clocked && left.unclocked);
    assert_int64_equal(left.last_ns, FIXTURE_START_NS + 30 * NS_PER_S - NS_PER_S / 200);
    assert_int64_equal(left.channel_last_ns[0], left.last_ns);
    assert_int64_equal(left.channel_last_ns[1], INT64_MIN);
    assert_int64_equal(left.gap_start_ns, FIXTURE_START_NS);
    assert_int64_equal(left.gap_end_ns, FIXTURE_START_NS + 5);
    fixture_check(night_read_left(reader, 1, &left, &error), &error);
    assert_int_equal(left.boot_count, 0);
    assert_int64_equal(left.gap_start_ns, INT64_MIN);
    night_reader_close(reader);
}

static void refuse(const struct fixture *fixture, enum error_code code, const char *part)
{
    struct night_reader *reader = NULL;
    struct error error;
    assert_int_equal(night_reader_open(fixture->night, &reader, &error), -1);
    assert_error(error, code, part);
    assert_non_null(strstr(error.text, fixture->night));
}

static void write_file(const struct fixture *fixture, const char *bytes, size_t length)
{
    FILE *file = fopen(fixture->night, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(bytes, 1, length, file), length);
    assert_int_equal(fclose(file), 0);
}

static void change(const struct fixture *fixture, const char *sql)
{
    sqlite3 *db = NULL;
    assert_int_equal(sqlite3_open(fixture->night, &db), SQLITE_OK);
    assert_int_equal(sqlite3_exec(db, sql, NULL, NULL, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_close(db), SQLITE_OK);
}

static void what_is_no_night_or_a_newer_one_is_refused_by_name(void **state)
{
    struct fixture *fixture = *state;
    refuse(fixture, ERROR_NOT_FOUND, "No such file");
    write_file(fixture, "", 0);
    refuse(fixture, ERROR_FORMAT, "not a night");
    char text[4000];
    memset(text, 'x', sizeof text);
    write_file(fixture, text, sizeof text);
    refuse(fixture, ERROR_FORMAT, "not a night: file is not a database");
    struct night_writer *none = NULL;
    struct error error;
    int analysis = 0;
    assert_int_equal(night_writer_open_for_analysis(fixture->night, &analysis, &none, &error), -1);
    assert_error(error, ERROR_FORMAT, "not a night");
    assert_int_equal(unlink(fixture->night), 0);
    struct night_settings settings = fixture_settings(fixture);
    fixture_close(fixture_open(&settings, NULL, NULL), 1);
    change(fixture, "PRAGMA user_version=7");
    refuse(fixture, ERROR_VERSION, "made by a newer Roomwake (night version 7");
    change(fixture, "PRAGMA user_version=2");
    refuse(fixture, ERROR_FORMAT, "night version 2: export it");
    change(fixture, "PRAGMA user_version=0");
    refuse(fixture, ERROR_FORMAT, "version 0");
    change(fixture, "PRAGMA application_id=7");
    refuse(fixture, ERROR_FORMAT, "not a night");
}

static void a_cut_or_damaged_night_is_an_error_and_never_wrong_samples(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    struct error error;
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_noise(writer, 0, 0, 100, 1);
    fixture_close(writer, 100);

    change(fixture, "UPDATE block SET samples=substr(samples, 1, 50) WHERE id=2");
    struct night_reader *reader = fixture_read(fixture);
    struct night_blocks *cursor = NULL;
    struct night_block_row row;
    fixture_check(night_blocks_open(reader, 0, INT64_MIN, INT64_MAX, &cursor, &error), &error);
    int more = 0;
    while ((more = night_blocks_next(cursor, &row, &error)) == 1) {
        assert_true(row.seq <= 33);
    }
    assert_int_equal(more, -1);
    assert_error(error, ERROR_FORMAT, "block 2: damaged block");
    night_blocks_close(cursor);
    night_reader_close(reader);

    change(fixture, "UPDATE block SET n=2000000000 WHERE id=2");
    reader = fixture_read(fixture);
    fixture_check(night_blocks_open(reader, 0, INT64_MIN, INT64_MAX, &cursor, &error), &error);
    while ((more = night_blocks_next(cursor, &row, &error)) == 1) {
    }
    assert_error(error, ERROR_FORMAT, "block 2: damaged block");
    night_blocks_close(cursor);
    night_reader_close(reader);

    assert_int_equal(truncate(fixture->night, 20000), 0);
    refuse(fixture, ERROR_FORMAT, "malformed");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_FIXTURE(samples_times_and_scales_come_back_as_they_were_put),
        WITH_FIXTURE(blocks_come_by_their_first_sample_however_they_arrived),
        WITH_FIXTURE(all_blocks_are_those_whose_time_can_be_of_this_night),
        WITH_FIXTURE(the_night_tells_its_name_its_channels_and_the_site_of_each_analysis),
        WITH_FIXTURE(the_end_of_a_night_that_was_left_is_told_of_each_node),
        WITH_FIXTURE(what_is_no_night_or_a_newer_one_is_refused_by_name),
        WITH_FIXTURE(a_cut_or_damaged_night_is_an_error_and_never_wrong_samples),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
