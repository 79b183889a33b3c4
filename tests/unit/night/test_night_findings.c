/* That findings, and what else a night has beside its samples, read back as they were put, in
 * order. Must never depend on an earlier night. */
#include "tests/unit/night/fixture.h"

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
                              .along_score = 12.5,
                              .across_score = 1.0 / 7,
                              .across_least = 0.6,
                              .alike = -0.9,
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

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_FIXTURE(everything_of_a_finding_comes_back_and_a_later_word_replaces_it),
        WITH_FIXTURE(a_bare_coincidence_comes_back_bare),
        WITH_FIXTURE(a_later_chance_replaces_the_chance_alone),
        WITH_FIXTURE(clocks_gaps_marks_and_words_come_back_in_order),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
