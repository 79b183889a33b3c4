/* A stored night with half an hour in which the base station was away: the re-fit brings its blocks
 * to the truth, and leaves alone what it knows nothing of.
 * Must never sleep: the night is made up. */
#include "tests/unit/night/fixture.h"

#include "collector/ingest/cook.h"
#include "collector/night/reader_clock.h"
#include "collector/record/analyse.h"
#include "collector/record/final_fit.h"
#include "collector/record/refit.h"
#include "common/message.h"
#include "tests/unit/common/clock_simulator.h"

#define BURSTS 450
#define AWAY_FROM 150
#define AWAY_TO 375
#define PERIOD_PS INT64_C(5000000000) /* 200 Hz */
#define SAMPLES 200

/* True site time of each frame's first sample. */
struct told {
    int64_t node_t0_ns[BURSTS];
    int64_t true_ns[BURSTS];
    int64_t live_ns[BURSTS];
    size_t count;
};

static struct told told;

static void put_state(struct night_writer *writer, const struct clock_sim *sim,
                      const struct clock_fitter *fitter, const struct clock_fit *fit)
{
    struct error error;
    struct text json = {0};
    struct message_state state = {.boot = FIXTURE_BOOT, .fit = *fit, .battery_v = (double)NAN};
    state.exchange_count = clock_fitter_recent(fitter, state.exchanges, MESSAGE_EXCHANGES_MAX);
    assert_int_equal(message_state_write(&state, &json), 0);
    fixture_check(night_put_state(writer, 0, sim->site_ns, json.bytes, &error), &error);
    text_free(&json);
}

static void put_frame(struct night_writer *writer, struct clock_sim *sim, struct cook *cook,
                      const struct clock_fit *fit)
{
    static int32_t counts[SAMPLES];
    struct error error;
    struct block cooked;
    struct block raw = {.count = SAMPLES, .period_ps = PERIOD_PS, .counts = counts};
    raw.t0_ns = sim_node_ns(sim, sim->site_ns);
    cook_block(cook, fit, &raw, NULL, &cooked);
    struct night_frame_id id = {0, FIXTURE_BOOT, told.count + 1};
    fixture_check(night_put_frame(writer, &id, fit, &cooked, &raw.t0_ns, 1, false, &error), &error);
    told.node_t0_ns[told.count] = raw.t0_ns;
    told.true_ns[told.count] = sim->site_ns;
    told.live_ns[told.count++] = cooked.t0_ns;
}

/* An hour: a burst, a state and a second of samples every 8 s. */
static int64_t onset_sd_ns; /* of the one disturbance of the live analysis; 0: there is none */

static void make_night(const struct fixture *fixture, bool with_exchanges)
{
    struct error error;
    struct clock_sim sim = sim_wired(5);
    struct clock_fitter fitter;
    struct clock_fit fit = {0};
    struct cook cook;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    cook_init(&cook);
    clock_fitter_init(&fitter, 7200 * NS_PER_S, 100000);
    told.count = 0;
    sim.change_ns = FIXTURE_START_NS + AWAY_FROM * SIM_EVERY_NS;
    sim.change_cel = 5;
    for (int i = 0; i < BURSTS; i++) {
        struct clock_exchange burst[SIM_BURST];
        sim_advance(&sim, FIXTURE_START_NS + i * SIM_EVERY_NS);
        size_t count = i >= AWAY_FROM && i < AWAY_TO ? 0 : sim_burst(&sim, burst);
        sim_advance(&sim, sim.site_ns + NS_PER_S);
        if (clock_fitter_add_burst(&fitter, burst, count)) {
            clock_fitter_line(&fitter, sim_node_ns(&sim, sim.site_ns), &fit);
            if (with_exchanges) {
                put_state(writer, &sim, &fitter, &fit);
            }
        }
        sim_advance(&sim, sim.site_ns + NS_PER_S);
        put_frame(writer, &sim, &cook, &fit);
    }
    if (onset_sd_ns > 0) {
        struct disturbance one = {.id = 1,
                                  .quantity_text = "magnetic",
                                  .quantity = QUANTITY_MAGNETIC,
                                  .unit = "T",
                                  .onset_ns = FIXTURE_START_NS + 900 * NS_PER_S,
                                  .pick_sd_ns = onset_sd_ns};
        fixture_check(night_put_disturbance(writer, 1, &one, &error), &error);
    }
    fixture_check(night_writer_close(writer, sim.site_ns, &error), &error);
}

static struct night_reader *open_night(const struct fixture *fixture)
{
    struct error error;
    struct night_reader *reader = NULL;
    fixture_check(night_reader_open(fixture->night, &reader, &error), &error);
    return reader;
}

/* The most that a block's time is off the truth, in the live night and re-fitted. */
static void measure(const struct fixture *fixture, int64_t *live_ns, int64_t *fitted_ns)
{
    struct error error;
    struct refit *refit = NULL;
    struct night_blocks *cursor = NULL;
    struct night_block_row row;
    struct night_reader *reader = open_night(fixture);
    fixture_check(refit_new(reader, fixture->site, &refit, &error), &error);
    fixture_check(night_blocks_open(reader, SIZE_MAX, INT64_MIN, INT64_MAX, &cursor, &error),
                  &error);
    int64_t last_ns = INT64_MIN;
    *live_ns = *fitted_ns = 0;
    for (size_t i = 0; i < told.count; i++) {
        int64_t sd_ns = 0;
        assert_int_equal(night_blocks_next(cursor, &row, &error), 1);
        assert_int64_equal(row.node_t0_ns, told.node_t0_ns[i]);
        int64_t stored_ns = row.block.t0_ns;
        refit_block(refit, &row, &sd_ns);
        assert_true(llabs(row.block.t0_ns - stored_ns) <= refit_most_ns(refit));
        assert_true(row.block.t0_ns > last_ns);
        last_ns = block_time_ns(&row.block, row.block.count - 1);
        int64_t live = llabs(told.live_ns[i] - told.true_ns[i]);
        int64_t fitted = llabs(row.block.t0_ns - told.true_ns[i]);
        assert_true(sd_ns < 0 || fitted * 100 <= sd_ns * CLOCK_FIT_BOUND_PERCENT);
        *live_ns = live > *live_ns ? live : *live_ns;
        *fitted_ns = fitted > *fitted_ns ? fitted : *fitted_ns;
    }
    night_blocks_close(cursor);
    const struct refit_change *change = refit_get_change(refit, 0);
    assert_true(change->exchanges == 0 || change->fitted_sd_ns > 0);
    assert_int_equal(refit_get_change(refit, 1)->exchanges, 0);
    refit_free(refit);
    night_reader_close(reader);
}

static void half_an_hour_alone_is_brought_to_the_truth(void **state)
{
    const struct fixture *fixture = *state;
    int64_t live_ns, fitted_ns;
    make_night(fixture, true);
    measure(fixture, &live_ns, &fitted_ns);
    print_message("blocks off by %.3f ms live, %.3f ms re-fitted\n", (double)live_ns / 1e6,
                  (double)fitted_ns / 1e6);
    assert_true(live_ns > 500000);
    assert_true(fitted_ns * 3 < live_ns);
}

static void without_exchanges_nothing_moves(void **state)
{
    const struct fixture *fixture = *state;
    int64_t live_ns, fitted_ns;
    make_night(fixture, false);
    measure(fixture, &live_ns, &fitted_ns);
    assert_int64_equal(live_ns, fitted_ns);
}

static size_t clock_notices;
static char last_notice[512];

static int take_notice(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                       const char *text)
{
    (void)context;
    (void)time_ns;
    if (strcmp(quantity, "clock") == 0) {
        clock_notices++;
        if (node == 0) {
            (void)snprintf(last_notice, sizeof last_notice, "%s", text);
        }
    }
    return 0;
}

static int count_block(void *context, const struct night_block_time *time)
{
    size_t *seen = context;
    assert_int64_equal(time->node_t0_ns, told.node_t0_ns[*seen]);
    assert_int64_equal(time->t0_ns, told.live_ns[*seen]);
    (*seen)++;
    return 0;
}

static void the_analysis_says_what_moved_and_stored_times_stay(void **state)
{
    const struct fixture *fixture = *state;
    struct error error;
    int analysis = 0;
    size_t seen = 0;
    make_night(fixture, true);
    fixture_check(analyse_night_refitted(fixture->night, NULL, "reanalyse --refit", NULL, NULL,
                                         &analysis, &error),
                  &error);
    struct night_reader *reader = open_night(fixture);
    clock_notices = 0;
    fixture_check(night_each_notice(reader, analysis, take_notice, NULL, &error), &error);
    assert_int_equal(clock_notices, 2);
    assert_non_null(strstr(last_notice, "fitted again from 225 exchanges"));
    fixture_check(night_each_block_time(reader, count_block, &seen, &error), &error);
    assert_int_equal(seen, told.count);
    night_reader_close(reader);
}

static int count_disturbance(void *context, const struct disturbance *disturbance)
{
    (void)disturbance;
    ++*(int *)context;
    return 0;
}

static int count_disturbances(struct night_reader *reader)
{
    struct error error;
    int count = 0;
    fixture_check(night_each_disturbance(reader, 0, count_disturbance, &count, &error), &error);
    return count;
}

/* The end of a night whose live analysis has one disturbance: what the further analysis has. */
static int fit_finally(const struct fixture *fixture, int64_t sd_ns, bool stands)
{
    struct error error;
    struct final_fit final;
    struct night_info info;
    onset_sd_ns = sd_ns;
    make_night(fixture, true);
    onset_sd_ns = 0;
    fixture_check(final_fit_make(fixture->night, &final, &error), &error);
    assert_int_equal(final.analysis, 2);
    assert_true(final.stands == stands);
    assert_true(llabs(final.most_ns) > 100000);
    struct night_reader *reader = open_night(fixture);
    fixture_check(night_read_info(reader, &info, &error), &error);
    assert_int_equal(info.analysis, 1); /* what is shown stays what was found live */
    assert_int_equal(info.refit, 2);
    assert_false(info.refitted);
    assert_int_equal(count_disturbances(reader), 1);
    clock_notices = 0;
    fixture_check(night_each_notice(reader, 2, take_notice, NULL, &error), &error);
    assert_int_equal(clock_notices, 2);
    assert_int_equal(night_choose_analysis(reader, 3, &error), -1);
    fixture_check(night_choose_analysis(reader, 2, &error), &error);
    fixture_check(night_read_info(reader, &info, &error), &error);
    assert_true(info.refitted);
    int count = count_disturbances(reader);
    night_reader_close(reader);
    return count;
}

static void at_the_end_what_a_new_fit_cannot_change_is_taken_over(void **state)
{
    assert_int_equal(fit_finally(*state, 10 * NS_PER_S, true), 1);
}

/* The samples are still: found again from them there is nothing. */
static void at_the_end_what_it_may_change_is_found_anew(void **state)
{
    assert_int_equal(fit_finally(*state, 1000, false), 0);
}

static void at_the_end_a_night_without_exchanges_has_no_further_analysis(void **state)
{
    const struct fixture *fixture = *state;
    struct error error;
    struct final_fit final;
    make_night(fixture, false);
    fixture_check(final_fit_make(fixture->night, &final, &error), &error);
    assert_int_equal(final.analysis, 0);
}

int main(void)
{
#define PROMISE(name) cmocka_unit_test_setup_teardown(name, fixture_setup, fixture_teardown)
    const struct CMUnitTest tests[] = {
        PROMISE(half_an_hour_alone_is_brought_to_the_truth),
        PROMISE(without_exchanges_nothing_moves),
        PROMISE(the_analysis_says_what_moved_and_stored_times_stay),
        PROMISE(at_the_end_what_a_new_fit_cannot_change_is_taken_over),
        PROMISE(at_the_end_what_it_may_change_is_found_anew),
        PROMISE(at_the_end_a_night_without_exchanges_has_no_further_analysis),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
