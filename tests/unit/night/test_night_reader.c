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

static void fill_disturbance(struct disturbance *d, int64_t id)
{
    *d = (struct disturbance){.id = id,
                              .node = (uint32_t)id % 2,
                              .quantity_text = "magnetic",
                              .quantity = QUANTITY_MAGNETIC,
                              .band = id % 2 ? BAND_MAINS : BAND_REST,
                              .unit = "T",
                              .onset_ns = FIXTURE_START_NS + id,
                              .pick_sd_ns = 11,
                              .sampling_sd_ns = 12,
                              .clock_sd_ns = 13,
                              .end_ns = FIXTURE_START_NS + 99,
                              .closed_ns = FIXTURE_START_NS + 100,
                              .peak_ns = FIXTURE_START_NS + 50,
                              .peak_value = 1.0 / 3,
                              .peak_score = INFINITY,
                              .baseline_value = 4.9e-324,
                              .baseline_scale = 1.7976931348623157e308,
                              .threshold = 6.25,
                              .settle_peak_score = -0.1,
                              .settle_step = 2e-7,
                              .mains_before = NAN,
                              .mains_after = 0.1,
                              .one_sample = id % 3 == 0,
                              .peak_axes = {1e-7, -2e-7, 1.0 / 3},
                              .repeat_hz = 217.0 / (double)id,
                              .rise_s = 0.1,
                              .half_s = 0.25,
                              .left_value = -3e-8,
                              .left_axes = {1e-8, -2e-8, 0.1},
                              .previous_s = 12.5,
                              .tick_s = 12.25,
                              .ticks = 3 + id,
                              .clipped = id % 3 == 1,
                              .returned = id % 3 == 2};
}

static void assert_same_disturbance(const struct disturbance *a, const struct disturbance *b)
{
    /* NaN is the one value that does not equal itself; its bits may differ. */
    struct disturbance x, y;
    memcpy(&x, a, sizeof x);
    memcpy(&y, b, sizeof y);
    assert_int_equal(isnan(x.mains_before), isnan(y.mains_before));
    x.mains_before = y.mains_before = 0;
    assert_int64_equal(x.id, y.id);
    assert_int_equal(x.node, y.node);
    assert_string_equal(x.quantity_text, y.quantity_text);
    assert_int_equal(x.quantity, y.quantity);
    assert_int_equal(x.band, y.band);
    assert_string_equal(x.unit, y.unit);
    /* Eight-byte fields in a row, without padding between them. */
    assert_memory_equal(&x.onset_ns, &y.onset_ns,
                        offsetof(struct disturbance, one_sample) -
                            offsetof(struct disturbance, onset_ns));
    assert_int_equal(x.one_sample, y.one_sample);
    assert_int_equal(x.clipped, y.clipped);
    assert_int_equal(x.returned, y.returned);
}

static struct coincidence *full_coincidence(int64_t id)
{
    struct coincidence *c = calloc(1, sizeof *c);
    c->id = id;
    c->kind = COINCIDENCE_TRAVELLING;
    c->start_ns = FIXTURE_START_NS + 1;
    c->end_ns = FIXTURE_START_NS + 99;
    c->member_count = COINCIDENCE_MEMBERS_MAX;
    c->dropped_members = 5;
    c->witness_count = 3;
    c->node_count = 2;
    c->control_took_part = true;
    c->order_count = 2;
    c->path_count = 3;
    for (size_t i = 0; i < COINCIDENCE_MEMBERS_MAX; i++) {
        fill_disturbance(&c->members[i], (int64_t)i + 1);
    }
    c->order[0] = (struct order_entry){1, FIXTURE_START_NS + 1, 20, 2.0 / 3};
    c->order[1] = (struct order_entry){0, FIXTURE_START_NS + 2, 21, 1.0 / 3};
    for (size_t i = 0; i < 3; i++) {
        c->path[i] = (struct path_step){(uint32_t)i % 2, FIXTURE_START_NS + (int64_t)i};
    }
    c->first_known = true;
    c->together = true;
    c->speed = (struct speed){true, 1.4, 0.7, INFINITY};
    c->verdict.cause = CAUSE_PERSON_WALKING;
    c->verdict.reason_count = COINCIDENCE_REASONS_MAX;
    for (size_t i = 0; i < COINCIDENCE_REASONS_MAX; i++) {
        (void)snprintf(c->verdict.reasons[i], COINCIDENCE_REASON_SIZE, "reason %zu: \"1,4 m/s\"",
                       i);
    }
    c->chance = (struct chance){1e-12, 1e-12, CHANCE_TIME_SLIDES};
    c->source = (struct source){true, 1.25, -2.5, 0.5, 0.4, 0.3, -89.5};
    c->mark_id = 2;
    c->alert = true;
    return c;
}

struct found {
    size_t disturbances;
    size_t coincidences;
    struct disturbance disturbance[COINCIDENCE_MEMBERS_MAX + 1];
    struct coincidence *coincidence;
};

static int keep_disturbance(void *context, const struct disturbance *disturbance)
{
    struct found *found = context;
    found->disturbance[found->disturbances++] = *disturbance;
    return 0;
}

static int keep_coincidence(void *context, const struct coincidence *coincidence)
{
    struct found *found = context;
    found->coincidences++;
    memcpy(found->coincidence, coincidence, sizeof *coincidence);
    return 0;
}

static void assert_same_coincidence(const struct coincidence *a, const struct coincidence *b)
{
    assert_int64_equal(a->id, b->id);
    assert_int_equal(a->kind, b->kind);
    assert_int64_equal(a->start_ns, b->start_ns);
    assert_int64_equal(a->end_ns, b->end_ns);
    assert_int_equal(a->member_count, b->member_count);
    for (size_t i = 0; i < a->member_count; i++) {
        assert_same_disturbance(&a->members[i], &b->members[i]);
    }
    assert_int_equal(a->dropped_members, b->dropped_members);
    assert_int_equal(a->witness_count, b->witness_count);
    assert_int_equal(a->node_count, b->node_count);
    assert_int_equal(a->control_took_part, b->control_took_part);
    assert_int_equal(a->order_count, b->order_count);
    for (size_t i = 0; i < a->order_count; i++) {
        assert_int_equal(a->order[i].node, b->order[i].node);
        assert_int64_equal(a->order[i].onset_ns, b->order[i].onset_ns);
        assert_int64_equal(a->order[i].onset_sd_ns, b->order[i].onset_sd_ns);
        assert_close(a->order[i].first_probability, b->order[i].first_probability, 0);
    }
    assert_int_equal(a->first_known, b->first_known);
    assert_int_equal(a->together, b->together);
    assert_int_equal(a->path_count, b->path_count);
    for (size_t i = 0; i < a->path_count; i++) {
        assert_int_equal(a->path[i].room, b->path[i].room);
        assert_int64_equal(a->path[i].time_ns, b->path[i].time_ns);
    }
    assert_int_equal(a->speed.known, b->speed.known);
    assert_close(a->speed.value_m_s, b->speed.value_m_s, 0);
    assert_close(a->speed.low_m_s, b->speed.low_m_s, 0);
    assert_true(a->speed.high_m_s == b->speed.high_m_s);
    assert_int_equal(a->verdict.cause, b->verdict.cause);
    assert_int_equal(a->verdict.reason_count, b->verdict.reason_count);
    assert_memory_equal(a->verdict.reasons, b->verdict.reasons, sizeof a->verdict.reasons);
    assert_close(a->chance.per_night, b->chance.per_night, 0);
    assert_close(a->chance.p_value, b->chance.p_value, 0);
    assert_int_equal(a->chance.method, b->chance.method);
    assert_int_equal(a->source.known, b->source.known);
    assert_memory_equal(&a->source.x_m, &b->source.x_m,
                        sizeof a->source - offsetof(struct source, x_m));
    assert_int64_equal(a->mark_id, b->mark_id);
    assert_int_equal(a->final, b->final);
    assert_int_equal(a->alert, b->alert);
}

static void everything_of_a_finding_comes_back_and_a_later_word_replaces_it(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    struct error error;
    struct coincidence *put = full_coincidence(1);
    struct mark mark = {.id = 2};
    fixture_check(night_put_mark(writer, &mark, &error), &error);
    fixture_check(night_put_disturbance(writer, 1, &put->members[3], &error), &error);
    struct coincidence *early = full_coincidence(1);
    early->order_count = 5; /* a later, shorter list leaves nothing of the longer one */
    fixture_check(night_put_coincidence(writer, 1, early, &error), &error);
    put->final = true;
    put->members[2].end_ns += 1000;
    fixture_check(night_put_disturbance(writer, 1, &put->members[2], &error), &error);
    fixture_check(night_put_coincidence(writer, 1, put, &error), &error);
    fixture_close(writer, 1);

    struct found found = {.coincidence = malloc(sizeof *put)};
    struct night_reader *reader = fixture_read(fixture);
    fixture_check(night_each_coincidence(reader, 0, keep_coincidence, &found, &error), &error);
    assert_int_equal(found.coincidences, 1);
    assert_same_coincidence(found.coincidence, put);
    fixture_check(night_each_disturbance(reader, 1, keep_disturbance, &found, &error), &error);
    assert_int_equal(found.disturbances, COINCIDENCE_MEMBERS_MAX);
    for (size_t i = 0; i < found.disturbances; i++) {
        assert_same_disturbance(&found.disturbance[i], &put->members[i]);
    }
    night_reader_close(reader);
    free(found.coincidence);
    free(early);
    free(put);
}

static void a_bare_coincidence_comes_back_bare(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    struct error error;
    struct coincidence *put = calloc(1, sizeof *put);
    put->id = 7;
    fixture_check(night_put_coincidence(writer, 1, put, &error), &error);
    put->member_count = COINCIDENCE_MEMBERS_MAX + 1;
    assert_int_equal(night_put_coincidence(writer, 1, put, &error), -1);
    assert_error(error, ERROR_RANGE, "coincidence 7");
    put->member_count = 0;
    fixture_close(writer, 1);
    struct found found = {.coincidence = malloc(sizeof *put)};
    struct night_reader *reader = fixture_read(fixture);
    fixture_check(night_each_coincidence(reader, 0, keep_coincidence, &found, &error), &error);
    assert_same_coincidence(found.coincidence, put);
    night_reader_close(reader);
    free(found.coincidence);
    free(put);
}

static void a_later_chance_replaces_the_chance_alone(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    struct error error;
    struct coincidence *put = full_coincidence(1);
    struct mark mark = {.id = 2};
    put->chance.method = CHANCE_ANALYTIC;
    fixture_check(night_put_mark(writer, &mark, &error), &error);
    fixture_check(night_put_coincidence(writer, 1, put, &error), &error);
    put->chance = (struct chance){0.25, 0.125, CHANCE_TIME_SLIDES};
    fixture_check(night_put_chance(writer, 1, 1, &put->chance, &error), &error);
    fixture_close(writer, 1);
    struct found found = {.coincidence = malloc(sizeof *put)};
    struct night_reader *reader = fixture_read(fixture);
    fixture_check(night_each_coincidence(reader, 0, keep_coincidence, &found, &error), &error);
    assert_same_coincidence(found.coincidence, put);
    night_reader_close(reader);
    free(found.coincidence);
    free(put);
}

struct words {
    char text[1024];
};

static int keep_clock(void *context, uint32_t node, int64_t time_ns, int64_t clock_sd_ns)
{
    struct words *words = context;
    size_t used = strlen(words->text);
    (void)snprintf(words->text + used, sizeof words->text - used, "clock %u %lld %lld;", node,
                   (long long)(time_ns - FIXTURE_START_NS), (long long)clock_sd_ns);
    return 0;
}

static int keep_gap(void *context, const struct gap *gap)
{
    struct words *words = context;
    size_t used = strlen(words->text);
    (void)snprintf(words->text + used, sizeof words->text - used, "gap %u %lld %lld %s;", gap->node,
                   (long long)gap->start_ns, (long long)gap->end_ns, gap->reason);
    return 0;
}

static int keep_mark(void *context, const struct mark *mark)
{
    struct words *words = context;
    size_t used = strlen(words->text);
    (void)snprintf(words->text + used, sizeof words->text - used,
                   "mark %lld %lld %lld %lld %s %s %s;", (long long)mark->id,
                   (long long)mark->start_ns, (long long)mark->end_ns, (long long)mark->noted_ns,
                   mark->room, mark->who, mark->text);
    return 0;
}

static int keep_notice(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                       const char *text)
{
    struct words *words = context;
    size_t used = strlen(words->text);
    (void)snprintf(words->text + used, sizeof words->text - used, "notice %u %s %lld %s;", node,
                   quantity, (long long)time_ns, text);
    return 0;
}

static int keep_log(void *context, int64_t time_ns, const char *level, const char *text)
{
    struct words *words = context;
    size_t used = strlen(words->text);
    (void)snprintf(words->text + used, sizeof words->text - used, "log %lld %s %s;",
                   (long long)time_ns, level, text);
    return 0;
}

static int stop_at_once(void *context, uint32_t node, int64_t time_ns, int64_t clock_sd_ns)
{
    (void)node;
    (void)time_ns;
    (void)clock_sd_ns;
    ++*(int *)context;
    return 42;
}

static void clocks_gaps_marks_and_words_come_back_in_order(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    struct error error;
    struct gap gap = {1, 30, 40, "node was off"};
    struct mark mark = {.id = 1,
                        .start_ns = 5,
                        .end_ns = 6,
                        .noted_ns = 7,
                        .room = "hall",
                        .who = "ann",
                        .text = "steps; \"loud\""};
    static const int64_t sds[] = {500, 100, 300};
    for (int i = 0; i < 3; i++) {
        fixture_check(night_put_clock(writer, 0, FIXTURE_START_NS + 9 - 3 * i, sds[i], &error),
                      &error);
    }
    fixture_check(night_put_clock(writer, 1, FIXTURE_START_NS + 6, 1, &error), &error);
    fixture_check(night_put_gap(writer, &gap, &error), &error);
    gap = (struct gap){0, 20, 25, "cause not known"};
    fixture_check(night_put_gap(writer, &gap, &error), &error);
    fixture_check(night_put_mark(writer, &mark, &error), &error);
    fixture_check(night_put_notice(writer, 1, 1, "sound", 8, "baseline learnt", &error), &error);
    fixture_check(night_put_log(writer, 3, "info", "began", &error), &error);
    fixture_check(night_put_state(writer, 1, 4, "{}", &error), &error);
    fixture_check(night_put_alert(writer, 1, 9, 10, "two rooms", &error), &error);
    fixture_close(writer, 1);

    struct night_reader *reader = fixture_read(fixture);
    struct words words = {""};
    fixture_check(night_each_clock(reader, keep_clock, &words, &error), &error);
    fixture_check(night_each_gap(reader, keep_gap, &words, &error), &error);
    fixture_check(night_each_mark(reader, keep_mark, &words, &error), &error);
    fixture_check(night_each_notice(reader, 0, keep_notice, &words, &error), &error);
    fixture_check(night_each_log(reader, keep_log, &words, &error), &error);
    assert_string_equal(words.text, "clock 0 3 300;clock 0 6 100;clock 1 6 1;clock 0 9 500;"
                                    "gap 0 20 25 cause not known;gap 1 30 40 node was off;"
                                    "mark 1 5 6 7 hall ann steps; \"loud\";"
                                    "notice 1 sound 8 baseline learnt;log 3 info began;");
    int calls = 0;
    assert_int_equal(night_each_clock(reader, stop_at_once, &calls, &error), 42);
    assert_int_equal(calls, 1);
    struct night_node_summary summary;
    fixture_check(night_read_node_summary(reader, 0, &summary, &error), &error);
    assert_int64_equal(summary.clock_sd_ns, 300);
    night_reader_close(reader);
    assert_int_equal(fixture_query(fixture, "SELECT coincidence FROM alert"), 9);
    assert_int_equal(fixture_query(fixture, "SELECT time_ns FROM state WHERE json='{}'"), 4);
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
    change(fixture, "PRAGMA user_version=6");
    refuse(fixture, ERROR_VERSION, "made by a newer Roomwake (night version 6");
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

#define WITH_FIXTURE(test) cmocka_unit_test_setup_teardown(test, fixture_setup, fixture_teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_FIXTURE(samples_times_and_scales_come_back_as_they_were_put),
        WITH_FIXTURE(blocks_come_by_their_first_sample_however_they_arrived),
        WITH_FIXTURE(all_blocks_are_those_whose_time_can_be_of_this_night),
        WITH_FIXTURE(everything_of_a_finding_comes_back_and_a_later_word_replaces_it),
        WITH_FIXTURE(a_bare_coincidence_comes_back_bare),
        WITH_FIXTURE(a_later_chance_replaces_the_chance_alone),
        WITH_FIXTURE(clocks_gaps_marks_and_words_come_back_in_order),
        WITH_FIXTURE(the_night_tells_its_name_its_channels_and_the_site_of_each_analysis),
        WITH_FIXTURE(the_end_of_a_night_that_was_left_is_told_of_each_node),
        WITH_FIXTURE(what_is_no_night_or_a_newer_one_is_refused_by_name),
        WITH_FIXTURE(a_cut_or_damaged_night_is_an_error_and_never_wrong_samples),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
