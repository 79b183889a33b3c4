/* Blocks of three nodes through detect and correlate: what comes out, and that cutting, order of
 * nodes and order of channels do not show. Must never seed from a clock. */
#include "tests/unit/correlate/house.h"

#include "collector/pipeline/pipeline.h"

#define RATE_HZ 50
#define PERIOD_NS (1000000000 / RATE_HZ)
#define SECONDS 60
#define SAMPLES (RATE_HZ * SECONDS)
#define NODES 3
#define AXES 3
#define MOTION 3 /* channel index */
#define ELECTRIC 4
#define CHANNELS 5
#define FINE 4 /* electric samples for each magnetic one: 200 Hz, so that mains shows */
#define LINES_MAX 256

static struct house house;
static struct channel channels[CHANNELS];
static int32_t field[NODES][AXES][SAMPLES];
static int32_t voltage[NODES][SAMPLES * FINE];

static uint64_t next_random(uint64_t *state)
{
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    return *state;
}

/* About normal, sd 1: twelve uniform numbers. */
static double noise(uint64_t *state)
{
    double sum = -6.0;
    for (int i = 0; i < 12; i++) {
        sum += (double)(next_random(state) >> 11) / 9007199254740992.0;
    }
    return sum;
}

/* Counts of 1 nT: a still field with 10 nT of noise; at 48 s a pulse of 400 nT in all rooms. */
static void make_field(void)
{
    uint64_t random = 20240301;
    for (size_t node = 0; node < NODES; node++) {
        for (size_t axis = 0; axis < AXES; axis++) {
            for (size_t i = 0; i < SAMPLES; i++) {
                double t = (double)i / RATE_HZ;
                double pulse = t >= 48.0 && t < 48.6 ? 400.0 : 0.0;
                field[node][axis][i] =
                    (int32_t)lround(20000.0 + 10.0 * noise(&random) + (axis == 2 ? pulse : 0.0));
            }
        }
    }
}

/* Counts of 1 mV: mains of 100 mV that becomes 180 mV at 24 s in all rooms (switching), 5 mV of
 * noise, and 300 mV of the pulse. */
static void make_voltage(void)
{
    uint64_t random = 77;
    for (size_t node = 0; node < NODES; node++) {
        for (size_t i = 0; i < SAMPLES * FINE; i++) {
            double t = (double)i / (RATE_HZ * FINE);
            double pulse = t >= 48.0 && t < 48.6 ? 300.0 : 0.0;
            double mains = (t < 24.0 ? 100.0 : 180.0) *
                           sin(2.0 * 3.14159265358979 * 50.0 * t + 0.7 * (double)node);
            voltage[node][i] = (int32_t)lround(mains + pulse + 5.0 * noise(&random));
        }
    }
}

static int build(void **state)
{
    (void)state;
    static const char *const names[CHANNELS] = {"magnetic.x", "magnetic.y", "magnetic.z", "motion",
                                                "electric"};
    static const double rates_hz[CHANNELS] = {RATE_HZ, RATE_HZ, RATE_HZ, 0.0, RATE_HZ * FINE};
    static const int16_t exponents[CHANNELS] = {-9, -9, -9, 0, -3};
    struct error error;
    house_build(&house, NODES);
    house.site.baseline_s = 20.0;
    for (size_t i = 0; i < NODES; i++) {
        house.nodes[i].clock_error_s = 0.001;
    }
    for (size_t i = 0; i < CHANNELS; i++) {
        if (channel_init(&channels[i], names[i], NULL, rates_hz[i], &error)) {
            return -1;
        }
        channels[i].step = (struct decimal){1, exponents[i]};
    }
    make_voltage();
    make_field();
    return 0;
}

struct told {
    size_t count;
    char lines[LINES_MAX][192];
    struct heard heard;
    size_t notices;
};

static void add_line(struct told *told, const char *line)
{
    assert_true(told->count < LINES_MAX);
    snprintf(told->lines[told->count++], sizeof told->lines[0], "%s", line);
}

static void on_disturbance(void *context, const struct disturbance *d)
{
    char line[192];
    snprintf(line, sizeof line, "open %lld %u %s %d %lld %lld", (long long)d->id, (unsigned)d->node,
             d->quantity_text, (int)d->band, (long long)d->onset_ns, (long long)d->clock_sd_ns);
    add_line(context, line);
}

static void on_ended(void *context, const struct disturbance *d)
{
    char line[192];
    snprintf(line, sizeof line, "end %lld %lld %.17g", (long long)d->id, (long long)d->end_ns,
             d->peak_score);
    add_line(context, line);
}

static void on_coincidence(void *context, const struct coincidence *c)
{
    struct told *told = context;
    char line[192];
    snprintf(line, sizeof line, "found %lld %s %s %zu %d %.17g %.17g", (long long)c->id,
             coincidence_kind_text(c->kind), cause_text(c->verdict.cause), c->member_count,
             c->final, c->chance.per_night, c->speed.value_m_s);
    add_line(told, line);
    heard_coincidence(&told->heard, c);
}

static void on_noticed(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                       const char *text)
{
    (void)node;
    (void)time_ns;
    assert_true(quantity[0] != '\0' && text[0] != '\0');
    ((struct told *)context)->notices++;
}

static struct pipeline *start_so(struct told *told, bool ahead)
{
    struct finding_sink sink = {told, on_disturbance, on_ended, on_coincidence, on_noticed, NULL};
    struct pipeline *pipeline = NULL;
    struct error error;
    memset(told, 0, sizeof *told);
    assert_int_equal(pipeline_new(&house.site, &sink, &pipeline, &error), 0);
    if (ahead) {
        assert_int_equal(pipeline_work_ahead(pipeline, &error), 0);
    }
    for (uint32_t node = 0; node < NODES; node++) {
        assert_int_equal(pipeline_set_channels(pipeline, node, channels, CHANNELS, &error), 0);
        assert_int_equal(pipeline_set_channels(pipeline, node, channels, CHANNELS, &error), 0);
    }
    return pipeline;
}

static struct pipeline *start(struct told *told)
{
    return start_so(told, false);
}

static int64_t sample_ns(size_t i)
{
    return HOUSE_T0 + (int64_t)i * PERIOD_NS;
}

static void push_axis(struct pipeline *pipeline, uint32_t node, uint16_t axis, size_t from,
                      size_t to)
{
    struct error error;
    struct block block = {.channel = axis,
                          .encoding = BLOCK_INT32,
                          .count = (uint32_t)(to - from),
                          .t0_ns = sample_ns(from),
                          .period_ps = INT64_C(1000) * PERIOD_NS,
                          .counts = &field[node][axis][from]};
    assert_int_equal(pipeline_push(pipeline, node, &block, &error), 0);
}

static void push_voltage(struct pipeline *pipeline, uint32_t node, size_t from, size_t to)
{
    struct error error;
    struct block block = {.channel = ELECTRIC,
                          .encoding = BLOCK_INT32,
                          .count = (uint32_t)((to - from) * FINE),
                          .t0_ns = sample_ns(from),
                          .period_ps = INT64_C(1000) * PERIOD_NS / FINE,
                          .counts = &voltage[node][from * FINE]};
    assert_int_equal(pipeline_push(pipeline, node, &block, &error), 0);
}

/* A walk: hall at 33 s, passage at 37 s, kitchen at 41 s, each seen for 2 s; all still before. */
static void push_motion(struct pipeline *pipeline, uint32_t node, size_t from, size_t to)
{
    static const int32_t values[3] = {0, 1, 0};
    const int64_t times[3] = {HOUSE_T0, at_s(33.0 + 4.0 * node), at_s(35.0 + 4.0 * node)};
    struct error error;
    for (size_t i = 0; i < 3; i++) {
        if (times[i] >= sample_ns(from) && times[i] < sample_ns(to)) {
            struct block block = {.channel = MOTION,
                                  .encoding = BLOCK_INT32,
                                  .count = 1,
                                  .t0_ns = times[i],
                                  .times_ns = &times[i],
                                  .counts = &values[i]};
            assert_int_equal(pipeline_push(pipeline, node, &block, &error), 0);
        }
    }
}

static void push_node(struct pipeline *pipeline, uint32_t node, size_t from, size_t to,
                      bool motion_first)
{
    struct error error;
    if (motion_first) {
        push_motion(pipeline, node, from, to);
    }
    for (uint16_t axis = 0; axis < AXES; axis++) {
        push_axis(pipeline, node, motion_first ? (uint16_t)(AXES - 1 - axis) : axis, from, to);
    }
    push_voltage(pipeline, node, from, to);
    if (!motion_first) {
        push_motion(pipeline, node, from, to);
    }
    assert_int_equal(pipeline_advance(pipeline, node, sample_ns(to), &error), 0);
}

static void finish(struct pipeline *pipeline)
{
    struct error error;
    assert_int_equal(pipeline_finish(pipeline, &error), 0);
    pipeline_free(pipeline);
}

static void run_by_seconds(struct told *told)
{
    struct pipeline *pipeline = start(told);
    for (size_t from = 0; from < SAMPLES; from += RATE_HZ) {
        for (uint32_t node = 0; node < NODES; node++) {
            push_node(pipeline, node, from, from + RATE_HZ, false);
        }
    }
    finish(pipeline);
}

static const struct coincidence *find(const struct told *told, enum cause_kind cause)
{
    const struct coincidence *found = NULL;
    for (size_t i = 0; i < told->heard.count; i++) {
        if (told->heard.finals[i].verdict.cause == cause) {
            assert_null(found);
            found = &told->heard.finals[i];
        }
    }
    assert_non_null(found);
    return found;
}

static void a_switching_a_walk_and_a_pulse_come_out_as_three(void **state)
{
    (void)state;
    static struct told told;
    run_by_seconds(&told);
    assert_int_equal(told.heard.count, 3);
    const struct coincidence *mains = find(&told, CAUSE_MAINS_SWITCHING);
    const struct coincidence *walk = find(&told, CAUSE_PERSON_WALKING);
    const struct coincidence *pulse = find(&told, CAUSE_UNEXPLAINED);
    assert_int_equal(mains->kind, COINCIDENCE_PROMPT);
    assert_int_equal(mains->node_count, 3);
    assert_close((double)(mains->start_ns - at_s(24.0)) * 1e-9, 0.0, 0.03);
    assert_int_equal(walk->verdict.cause, CAUSE_PERSON_WALKING);
    assert_int_equal(walk->node_count, 3);
    assert_close(walk->speed.value_m_s, 1.25, 0.01);
    assert_int_equal(pulse->kind, COINCIDENCE_PROMPT);
    assert_int_equal(pulse->node_count, 3);
    assert_close((double)(pulse->start_ns - at_s(48.0)) * 1e-9, 0.0, 0.03);
    assert_false(pulse->first_known);
    assert_true(pulse->chance.per_night < 0.1);
    assert_int64_equal(pulse->members[0].clock_sd_ns, 1000000);
    assert_true(told.notices >= 3 * NODES);
}

static void same_lines(const struct told *a, const struct told *b)
{
    assert_int_equal(a->count, b->count);
    for (size_t i = 0; i < a->count; i++) {
        assert_string_equal(a->lines[i], b->lines[i]);
    }
}

static void cutting_and_order_of_nodes_do_not_show(void **state)
{
    (void)state;
    static struct told reference;
    static struct told other;
    run_by_seconds(&reference);
    /* All of one node, then of the next, in pieces of their own. */
    struct pipeline *pipeline = start(&other);
    struct error error;
    for (uint32_t node = 0; node < NODES; node++) {
        /* The others have begun, so that they are waited for. */
        push_node(pipeline, node, 0, 1, node % 2 == 0);
    }
    for (uint32_t node = NODES; node-- > 0;) {
        size_t step = 37 + 400 * node;
        for (size_t from = 1; from < SAMPLES; from += step) {
            size_t to = from + step < SAMPLES ? from + step : SAMPLES;
            push_node(pipeline, node, from, to, node % 2 == 0);
        }
    }
    assert_int_equal(pipeline_set_waited_for(pipeline, 0, true, &error), 0);
    finish(pipeline);
    same_lines(&reference, &other);
}

static const struct quiet_order hand_begins = {.from_ns = HOUSE_T0 + 5213000000};
static const struct quiet_order hand_ends = {.from_ns = HOUSE_T0 + 22771000000, .end = true};

static void a_quiet_spell_by_hand_is_the_same_live_and_again(void **state)
{
    (void)state;
    static struct told live;
    static struct told again;
    struct error error;
    struct pipeline *pipeline = start(&live);
    for (size_t from = 0; from < SAMPLES; from += RATE_HZ) {
        if (from == 5 * RATE_HZ) {
            assert_int_equal(pipeline_quiet(pipeline, &hand_begins, &error), 0);
        }
        if (from == 22 * RATE_HZ) {
            assert_int_equal(pipeline_count_learning(pipeline), NODES * 3);
            assert_int_equal(pipeline_quiet(pipeline, &hand_ends, &error), 0);
        }
        for (uint32_t node = 0; node < NODES; node++) {
            push_node(pipeline, node, from, from + RATE_HZ, false);
        }
    }
    assert_int_equal(pipeline_count_learning(pipeline), 0);
    finish(pipeline);
    pipeline = start(&again);
    assert_int_equal(pipeline_quiet(pipeline, &hand_begins, &error), 0);
    assert_int_equal(pipeline_quiet(pipeline, &hand_ends, &error), 0);
    for (uint32_t node = 0; node < NODES; node++) {
        push_node(pipeline, node, 0, 1, true); /* so that it is waited for */
    }
    for (size_t from = 1; from < SAMPLES; from += 1777) {
        size_t to = from + 1777 < SAMPLES ? from + 1777 : SAMPLES;
        for (uint32_t node = 0; node < NODES; node++) {
            push_node(pipeline, node, from, to, true);
        }
    }
    assert_int_equal(pipeline_quiet(pipeline, &hand_ends, &error), -1);
    assert_int_equal(error.code, ERROR_STATE);
    finish(pipeline);
    same_lines(&live, &again);
    assert_int_equal(live.heard.count, 3);
    assert_int_equal(live.notices, again.notices);
}

static void a_spell_by_hand_goes_on_until_it_is_ended(void **state)
{
    (void)state;
    static struct told told;
    struct error error;
    struct pipeline *pipeline = start(&told);
    assert_int_equal(pipeline_quiet(pipeline, &hand_begins, &error), 0);
    for (size_t from = 0; from < SAMPLES; from += RATE_HZ) {
        for (uint32_t node = 0; node < NODES; node++) {
            push_node(pipeline, node, from, from + RATE_HZ, false);
        }
    }
    assert_int_equal(pipeline_count_learning(pipeline), NODES * 3);
    finish(pipeline);
    assert_int_equal(told.heard.count, 0);
}

static void a_block_behind_the_others_is_refused(void **state)
{
    (void)state;
    static struct told told;
    struct pipeline *pipeline = start(&told);
    struct error error;
    for (uint32_t node = 0; node < NODES; node++) {
        push_node(pipeline, node, 0, RATE_HZ, false);
    }
    assert_int_equal(pipeline_set_waited_for(pipeline, 2, false, &error), 0);
    push_node(pipeline, 0, RATE_HZ, 20 * RATE_HZ, false);
    push_node(pipeline, 1, RATE_HZ, 20 * RATE_HZ, false);
    struct block late = {.channel = 0,
                         .encoding = BLOCK_INT32,
                         .count = RATE_HZ,
                         .t0_ns = sample_ns(RATE_HZ),
                         .period_ps = INT64_C(1000) * PERIOD_NS,
                         .counts = &field[2][0][RATE_HZ]};
    assert_int_equal(pipeline_push(pipeline, 2, &late, &error), -1);
    assert_error(error, ERROR_RANGE, "n3");
    /* The same samples again, on a node in time. */
    late.t0_ns = sample_ns(19 * RATE_HZ + 40);
    assert_int_equal(pipeline_push(pipeline, 0, &late, &error), -1);
    assert_error(error, ERROR_RANGE, "magnetic.x");
    pipeline_free(pipeline);
}

static void all_processors_at_once_do_not_show(void **state)
{
    (void)state;
    static struct told live;
    static struct told ahead;
    struct error error;
    struct pipeline *pipeline = NULL;
    for (size_t with = 0; with < 2; with++) {
        pipeline = start_so(with ? &ahead : &live, with == 1);
        for (size_t from = 0; from < SAMPLES; from += RATE_HZ) {
            for (uint32_t node = 0; node < NODES; node++) {
                push_node(pipeline, node, from, from + RATE_HZ, node == 1);
                pipeline_set_clock(pipeline, node, sample_ns(from), 900000 + (int64_t)from);
            }
            /* Asked for in between: all that waits is done first. */
            if (from == 30 * RATE_HZ) {
                assert_int_equal(pipeline_set_waited_for(pipeline, 0, true, &error), 0);
            }
        }
        finish(pipeline);
    }
    same_lines(&live, &ahead);
    assert_int_equal(live.heard.count, 3);
    assert_int_equal(live.notices, ahead.notices);
}

static void what_fails_on_another_processor_is_told_by_the_end(void **state)
{
    (void)state;
    static struct told told;
    struct error error;
    struct pipeline *pipeline = start_so(&told, true);
    push_node(pipeline, 0, 0, RATE_HZ, false);
    push_node(pipeline, 1, 0, RATE_HZ, false);
    push_node(pipeline, 2, 0, RATE_HZ, false);
    push_axis(pipeline, 1, 0, RATE_HZ, 2 * RATE_HZ);
    push_axis(pipeline, 1, 0, RATE_HZ, 2 * RATE_HZ); /* the same samples again */
    assert_int_equal(pipeline_finish(pipeline, &error), -1);
    assert_error(error, ERROR_RANGE, "n2: magnetic.x");
    pipeline_free(pipeline);
}

static void what_is_not_known_yet_is_an_error(void **state)
{
    (void)state;
    struct finding_sink sink = {0};
    struct pipeline *pipeline = NULL;
    struct error error;
    int32_t count = 0;
    struct block block = {.count = 1, .period_ps = 1000000, .t0_ns = HOUSE_T0, .counts = &count};
    assert_int_equal(pipeline_new(&house.site, &sink, &pipeline, &error), 0);
    assert_int_equal(pipeline_push(pipeline, 0, &block, &error), -1);
    assert_error(error, ERROR_STATE, "n1");
    assert_int_equal(pipeline_push(pipeline, NODES, &block, &error), -1);
    assert_error(error, ERROR_RANGE, "node 3");
    assert_int_equal(pipeline_set_channels(pipeline, 0, channels, CHANNELS, &error), 0);
    block.channel = CHANNELS;
    assert_int_equal(pipeline_push(pipeline, 0, &block, &error), -1);
    assert_error(error, ERROR_RANGE, "channel 5");
    assert_int_equal(pipeline_finish(pipeline, &error), 0);
    pipeline_free(pipeline);
}

static void a_node_that_returns_with_other_channels_starts_over(void **state)
{
    (void)state;
    static struct told told;
    struct pipeline *pipeline = start(&told);
    struct error error;
    for (size_t from = 0; from < 30 * RATE_HZ; from += RATE_HZ) {
        for (uint32_t node = 0; node < NODES; node++) {
            push_node(pipeline, node, from, from + RATE_HZ, false);
        }
    }
    size_t before = told.notices;
    assert_int_equal(pipeline_set_channels(pipeline, 1, channels, 3, &error), 0);
    for (size_t from = 30 * RATE_HZ; from < SAMPLES; from += RATE_HZ) {
        push_axis(pipeline, 1, 0, from, from + RATE_HZ);
        push_axis(pipeline, 1, 1, from, from + RATE_HZ);
        push_axis(pipeline, 1, 2, from, from + RATE_HZ);
        assert_int_equal(pipeline_advance(pipeline, 1, sample_ns(from + RATE_HZ), &error), 0);
        push_node(pipeline, 0, from, from + RATE_HZ, false);
        push_node(pipeline, 2, from, from + RATE_HZ, false);
    }
    finish(pipeline);
    assert_int_equal(told.notices, before + 1);
    /* Its second quiet spell ends at 50 s, so that the pulse at 48 s is seen by two. */
    for (size_t i = 0; i < told.heard.count; i++) {
        if (told.heard.finals[i].start_ns > at_s(45.0)) {
            assert_int_equal(told.heard.finals[i].node_count, 2);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_switching_a_walk_and_a_pulse_come_out_as_three),
        cmocka_unit_test(cutting_and_order_of_nodes_do_not_show),
        cmocka_unit_test(all_processors_at_once_do_not_show),
        cmocka_unit_test(what_fails_on_another_processor_is_told_by_the_end),
        cmocka_unit_test(a_quiet_spell_by_hand_is_the_same_live_and_again),
        cmocka_unit_test(a_spell_by_hand_goes_on_until_it_is_ended),
        cmocka_unit_test(a_block_behind_the_others_is_refused),
        cmocka_unit_test(what_is_not_known_yet_is_an_error),
        cmocka_unit_test(a_node_that_returns_with_other_channels_starts_over),
    };
    return cmocka_run_group_tests(tests, build, NULL);
}
