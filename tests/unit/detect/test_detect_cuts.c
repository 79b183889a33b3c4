/* The outcome hangs on samples and times alone: not on blocks, order of axes, form of times or
 * gaps. Must never use a real recording or an unseeded number. Run by ctest.
 */
#include "tests/unit/test.h"

#include "tests/unit/detect/rig.h"

#define RATE 200.0
#define QUIET_S 20.0
#define SIGMA 15.0
#define HUM 600.0

/* 60 s of three axes with mains: a spike, a step, a mains step, and a ramp, all after the quiet
 * spell. */
static void make_eventful(struct rig *rig)
{
    rig_init(rig, "magnetic", 3, RATE, 60.0, 11);
    rig_noise(rig, SIGMA, 20000.0);
    rig_hum(rig, 50.03, HUM, 0, rig->capacity);
    rig_add(rig, 1, 5000, 5001, 300.0);
    rig_add(rig, 0, 6000, 6200, 200.0);
    rig_hum(rig, 50.03, 0.4 * HUM, 8000, 9000);
    for (size_t i = 10000; i < 11000; i++) {
        rig_add(rig, 2, i, i + 1, 0.5 * (double)(i - 10000));
    }
}

static void assert_same(const struct rig *a, const struct rig *b)
{
    assert_int_equal(a->opened_count, b->opened_count);
    assert_int_equal(a->closed_count, b->closed_count);
    for (size_t k = 0; k < a->opened_count; k++) {
        /* All numbers, to the bit. */
        assert_memory_equal(&a->opened[k].onset_ns, &b->opened[k].onset_ns,
                            offsetof(struct disturbance, one_sample) -
                                offsetof(struct disturbance, onset_ns));
        assert_int_equal(a->opened[k].band, b->opened[k].band);
        assert_close(a->opened[k].settle_step, b->opened[k].settle_step, 0.0);
        assert_close(a->opened[k].settle_peak_score, b->opened[k].settle_peak_score, 0.0);
    }
    for (size_t k = 0; k < a->closed_count; k++) {
        const struct disturbance *x = &a->closed[k];
        const struct disturbance *y = &b->closed[k];
        assert_memory_equal(&x->onset_ns, &y->onset_ns,
                            offsetof(struct disturbance, one_sample) -
                                offsetof(struct disturbance, onset_ns));
        assert_int64_equal(x->onset_ns, y->onset_ns);
        assert_int64_equal(x->end_ns, y->end_ns);
        assert_int64_equal(x->closed_ns, y->closed_ns);
        assert_int64_equal(x->peak_ns, y->peak_ns);
        assert_close(x->peak_value, y->peak_value, 0.0);
        assert_close(x->threshold, y->threshold, 0.0);
        assert_close(x->baseline_value, y->baseline_value, 0.0);
    }
}

/* Every axis in pieces of its own random lengths. */
static void run_cut_at_random(struct rig *rig, uint64_t seed, size_t longest)
{
    size_t at[3] = {0};
    rig->random = seed;
    while (at[0] < rig->capacity || at[1] < rig->capacity || at[2] < rig->capacity) {
        size_t a = (size_t)(3.0 * rig_uniform(rig));
        size_t length = 1 + (size_t)((double)longest * rig_uniform(rig));
        size_t to = at[a] + length < rig->capacity ? at[a] + length : rig->capacity;
        if (to > at[a]) {
            rig_push(rig, a, at[a], to);
            at[a] = to;
        }
    }
    detector_finish(rig->detector);
}

static void test_blocks_may_be_cut_anywhere_and_axes_come_in_any_order(void **state)
{
    (void)state;
    struct rig rig;
    struct rig other;
    make_eventful(&rig);
    make_eventful(&other);
    rig_detector(&rig, QUIET_S, 0.5);
    rig_run_all(&rig);
    assert_true(rig.closed_count >= 4);
    for (uint64_t seed = 1; seed <= 6; seed++) {
        rig_detector(&other, QUIET_S, 0.5);
        run_cut_at_random(&other, seed, seed % 2 ? 50 : 3000);
        assert_same(&rig, &other);
    }
    rig_free(&rig);
    rig_free(&other);
}

static void test_explicit_times_and_decimals_give_the_same(void **state)
{
    (void)state;
    struct rig rig;
    make_eventful(&rig);
    rig_detector(&rig, QUIET_S, 0.5);
    rig_run_all(&rig);
    struct rig other;
    make_eventful(&other);
    rig_detector(&other, QUIET_S, 0.5);
    int64_t *times = malloc(1000 * sizeof *times);
    struct decimal *decimals = malloc(1000 * sizeof *decimals);
    assert_non_null(times);
    assert_non_null(decimals);
    for (size_t from = 0; from < other.capacity; from += 1000) {
        for (size_t a = 0; a < 3; a++) {
            for (size_t i = 0; i < 1000; i++) {
                times[i] = rig_time(&other, from + i);
                decimals[i] = decimal_normal((struct decimal){other.counts[a][from + i], -9});
            }
            struct block block = {.channel = (uint16_t)a,
                                  .encoding = BLOCK_DECIMAL,
                                  .count = 1000,
                                  .t0_ns = times[0],
                                  .times_ns = times,
                                  .decimals = decimals};
            detector_push(other.detector, &block);
        }
    }
    detector_finish(other.detector);
    assert_same(&rig, &other);
    free(times);
    free(decimals);
    rig_free(&rig);
    rig_free(&other);
}

static void test_what_is_told_lies_before_the_horizon_and_in_order(void **state)
{
    (void)state;
    struct rig rig;
    make_eventful(&rig);
    rig_detector(&rig, QUIET_S, 0.5);
    int64_t horizon_ns = INT64_MIN;
    for (size_t from = 0; from < rig.capacity; from += 8) {
        size_t before = rig.opened_count;
        rig_run(&rig, from, from + 8);
        int64_t now_ns = detector_horizon_ns(rig.detector);
        assert_true(now_ns >= horizon_ns);
        for (size_t k = before; k < rig.opened_count; k++) {
            assert_true(rig.opened[k].onset_ns >= horizon_ns);
            assert_true(rig.opened[k].onset_ns < now_ns);
            assert_true(k == 0 || rig.opened[k].onset_ns >= rig.opened[k - 1].onset_ns);
        }
        /* Lookback, settling, a mains window and a block: never further behind than that. */
        assert_true(from < 400 || rig_time(&rig, from) - now_ns < 3 * RIG_SECOND / 2);
        horizon_ns = now_ns;
    }
    assert_true(rig.opened_count >= 4);
    detector_finish(rig.detector);
    assert_int64_equal(detector_horizon_ns(rig.detector), INT64_MAX);
    rig_free(&rig);
}

static void test_a_gap_closes_what_is_open_and_raises_nothing_itself(void **state)
{
    (void)state;
    for (int advanced = 0; advanced < 2; advanced++) {
        struct rig rig;
        rig_init(&rig, "magnetic", 3, RATE, 60.0, 21);
        rig_noise(&rig, SIGMA, 20000.0);
        rig_hum(&rig, 50.0, HUM, 0, rig.capacity);
        rig_add(&rig, 0, 6000, 6600, 300.0);
        /* Behind the gap the field and the mains are not what they were. */
        rig_add(&rig, 1, 7000, rig.capacity, 4000.0);
        rig_hum(&rig, 50.0, HUM, 7000, rig.capacity);
        rig_add(&rig, 0, 9000, 9001, 300.0);
        rig_detector(&rig, QUIET_S, 0.5);
        rig_run(&rig, 0, 6400);
        if (advanced) {
            detector_advance(rig.detector, rig_time(&rig, 6700));
            assert_int64_equal(detector_horizon_ns(rig.detector), rig_time(&rig, 6700));
        }
        rig_run(&rig, 7000, rig.capacity);
        detector_finish(rig.detector);
        assert_int_equal(rig.closed_count, 2);
        assert_int64_equal(rig.closed[0].onset_ns, rig_time(&rig, 6000));
        assert_false(rig.closed[0].returned);
        assert_int64_equal(rig.closed[0].end_ns, rig_time(&rig, 6399));
        assert_int64_equal(rig.closed[0].closed_ns, rig_time(&rig, 6399) + 7500000);
        assert_int64_equal(rig.closed[1].onset_ns, rig_time(&rig, 9000));
        rig_free(&rig);
    }
}

static void test_a_dead_axis_does_not_hold_back_the_horizon(void **state)
{
    (void)state;
    struct rig rig;
    make_eventful(&rig);
    rig_detector(&rig, QUIET_S, 0.5);
    for (size_t from = 0; from < rig.capacity; from += 200) {
        rig_push(&rig, 0, from, from + 200);
        rig_push(&rig, 1, from, from + 200);
        detector_advance(rig.detector, rig_time(&rig, from + 200));
        assert_int64_equal(detector_horizon_ns(rig.detector), rig_time(&rig, from + 200));
    }
    detector_finish(rig.detector);
    assert_int_equal(rig.opened_count, 0);
    rig_free(&rig);
}

static void test_jittered_times_are_taken_as_they_are(void **state)
{
    (void)state;
    struct rig rig;
    rig_init(&rig, "magnetic", 1, RATE, 60.0, 31);
    rig_noise(&rig, SIGMA, 20000.0);
    rig_add(&rig, 0, 8000, 8100, 150.0);
    int64_t *times = malloc(rig.capacity * sizeof *times);
    assert_non_null(times);
    for (size_t i = 0; i < rig.capacity; i++) {
        int64_t late_ns = (int64_t)(1500000.0 * (rig_uniform(&rig) - 0.5));
        times[i] = rig_time(&rig, i) + late_ns;
        double angle = 2.0 * M_PI * 50.0 * (double)(times[i] - RIG_START) * 1e-9;
        rig.counts[0][i] += (int32_t)lrint(HUM * sin(angle));
    }
    rig_detector(&rig, QUIET_S, 0.5);
    for (size_t from = 0; from < rig.capacity; from += 500) {
        struct block block = {.count = 500,
                              .t0_ns = times[from],
                              .times_ns = times + from,
                              .counts = rig.counts[0] + from};
        detector_push(rig.detector, &block);
    }
    detector_finish(rig.detector);
    assert_int_equal(rig.closed_count, 1);
    assert_int64_equal(rig.closed[0].onset_ns, times[8000]);
    /* Uneven samples keep a few percent of the mains: 15 nT of noise and 600 nT of hum. */
    assert_close(rig.closed[0].baseline_scale, 17.5e-9, 3e-9);
    free(times);
    rig_free(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_blocks_may_be_cut_anywhere_and_axes_come_in_any_order),
        cmocka_unit_test(test_explicit_times_and_decimals_give_the_same),
        cmocka_unit_test(test_what_is_told_lies_before_the_horizon_and_in_order),
        cmocka_unit_test(test_a_gap_closes_what_is_open_and_raises_nothing_itself),
        cmocka_unit_test(test_a_dead_axis_does_not_hold_back_the_horizon),
        cmocka_unit_test(test_jittered_times_are_taken_as_they_are),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
