/* A simulated board whose words wait on a line, against its true times: the 99 % bound holds, turns
 * and resets of the counter are told apart. Must never sleep or read a clock: all time is counted.
 */
#include "tests/unit/test.h"

#include "common/clock.h"
#include "common/tick_clock.h"

#define HZ INT64_C(1000000)
#define WORD_EVERY_NS INT64_C(10000000)

struct board {
    uint64_t seed;
    int64_t host_ns; /* true time of the next word, on the host's clock */
    double count;    /* what the counter has by then */
    double rate;     /* off by, e.g. 5e-3 */
    double walk;     /* of the rate, a root second */
    double least_ns; /* the quickest word's wait */
    double wait_ns;  /* mean of what comes on top */
    double stall;    /* share of words that wait up to 0.5 s more */
    int64_t came_ns; /* of the newest word; a line keeps the order */
};

static double uniform(struct board *board)
{
    board->seed = board->seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    uint64_t mixed = (board->seed ^ board->seed >> 33) * UINT64_C(0xff51afd7ed558ccd);
    return ((double)((mixed ^ mixed >> 33) >> 11) + 0.5) / 9007199254740992.0;
}

static void advance(struct board *board, int64_t ns)
{
    double seconds = (double)ns / 1e9;
    double normal = sqrt(-2 * log(uniform(board))) * cos(6.283185307179586 * uniform(board));
    board->rate += board->walk * sqrt(seconds) * normal;
    board->count += seconds * (double)HZ * (1 + board->rate);
    board->host_ns += ns;
}

static uint64_t counter(const struct board *board)
{
    return (uint64_t)board->count & UINT32_MAX;
}

static int64_t next_came(struct board *board)
{
    double wait = board->least_ns - board->wait_ns * log(uniform(board));
    if (uniform(board) < board->stall) {
        wait += 0.5e9 * uniform(board);
    }
    int64_t came = board->host_ns + llround(wait);
    board->came_ns = came > board->came_ns ? came : board->came_ns;
    return board->came_ns;
}

static struct tick_clock new_clock(int64_t tolerance_ppb, int64_t latency_ns)
{
    struct tick_clock_setup setup = {.tick_hz = HZ,
                                     .counter_bits = 32,
                                     .tolerance_ppb = tolerance_ppb,
                                     .latency_most_ns = latency_ns};
    struct tick_clock clock;
    struct error error;
    assert_int_equal(tick_clock_init(&clock, &setup, &error), 0);
    return clock;
}

struct tally {
    int count, held;
    double worst_ns, worst_stated_ns;
};

/* Feeds for so long; looks at each word's time from settle_ns on. */
static void run(struct board *board, struct tick_clock *clock, int64_t for_ns, int64_t settle_ns,
                struct tally *tally)
{
    int64_t end_ns = board->host_ns + for_ns;
    int64_t from_ns = board->host_ns + settle_ns;
    while (board->host_ns < end_ns) {
        advance(board, WORD_EVERY_NS);
        int64_t came_ns = next_came(board);
        assert_int_equal(tick_clock_feed(clock, counter(board), came_ns), TICK_TAKEN);
        int64_t at_ns;
        int64_t sd_ns;
        assert_int_equal(tick_clock_at(clock, counter(board), &at_ns, &sd_ns), 0);
        if (board->host_ns < from_ns) {
            continue;
        }
        double error = fabs((double)(at_ns - board->host_ns));
        double stated = (double)sd_ns * CLOCK_FIT_BOUND_PERCENT / 100;
        tally->count++;
        tally->held += error <= stated;
        tally->worst_ns = fmax(tally->worst_ns, error);
        tally->worst_stated_ns = fmax(tally->worst_stated_ns, stated);
    }
}

static void a_crystal_boards_times_are_within_the_stated_bound(void **state)
{
    (void)state;
    struct tally tally = {0};
    for (uint64_t seed = 1; seed <= 12; seed++) {
        struct board board = {.seed = seed * UINT64_C(0x9e3779b97f4a7c15),
                              .host_ns = INT64_C(1000) * NS_PER_S,
                              .count = 4.2e9, /* turns over within two minutes */
                              .rate = 1e-4 * (2 * (double)seed / 13 - 1),
                              .walk = 2e-8,
                              .least_ns = 1e6 * (double)(seed % 3),
                              .wait_ns = 3e5,
                              .stall = 0.02};
        struct tick_clock clock = new_clock(100000, 2000000);
        run(&board, &clock, 300 * NS_PER_S, 0, &tally);
    }
    assert_true(tally.held >= tally.count * 0.99);
}

static void a_settled_board_is_known_to_its_latency(void **state)
{
    (void)state;
    struct board board = {.seed = 7, .rate = 4e-5, .walk = 2e-8, .least_ns = 1e6, .wait_ns = 2e5};
    struct tick_clock clock = new_clock(100000, 2000000);
    struct tally tally = {0};
    run(&board, &clock, 300 * NS_PER_S, 60 * NS_PER_S, &tally);
    assert_true(tally.worst_ns < 5e4);
    assert_true(tally.worst_stated_ns < 2e6);
    assert_close((double)tick_clock_rate_ppt(&clock) * 1e-12, -4e-5, 1e-6);
}

static void a_ceramic_resonator_is_followed(void **state)
{
    (void)state;
    struct tally tally = {0};
    for (uint64_t seed = 1; seed <= 8; seed++) {
        struct board board = {.seed = seed * UINT64_C(0x9e3779b97f4a7c15),
                              .rate = seed % 2 ? 4e-3 : -4e-3,
                              .walk = 1e-6,
                              .least_ns = 5e5,
                              .wait_ns = 5e5,
                              .stall = 0.01};
        struct tick_clock clock = new_clock(5000000, 2000000);
        run(&board, &clock, 300 * NS_PER_S, 0, &tally);
        assert_close((double)tick_clock_rate_ppt(&clock) * 1e-12, -board.rate, 1e-4);
    }
    assert_true(tally.held >= tally.count * 0.99);
}

static void answers_narrow_what_one_way_words_leave_open(void **state)
{
    (void)state;
    struct board board = {.seed = 3, .rate = 2e-5, .walk = 2e-8, .least_ns = 2e5, .wait_ns = 1e5};
    struct tick_clock words = new_clock(100000, 16000000);
    struct tick_clock answers = new_clock(100000, 16000000);
    int64_t at_ns;
    int64_t words_sd_ns;
    int64_t answers_sd_ns;
    for (int i = 0; i < 3000; i++) {
        advance(&board, WORD_EVERY_NS);
        int64_t came_ns = next_came(&board);
        (void)tick_clock_feed(&words, counter(&board), came_ns);
        (void)tick_clock_feed_answer(&answers, board.host_ns - 300000, counter(&board), came_ns);
    }
    assert_int_equal(tick_clock_at(&words, counter(&board), &at_ns, &words_sd_ns), 0);
    assert_true(words_sd_ns > 4000000);
    assert_int_equal(tick_clock_at(&answers, counter(&board), &at_ns, &answers_sd_ns), 0);
    assert_true(answers_sd_ns < 400000);
    assert_true(llabs(at_ns - board.host_ns) <= answers_sd_ns * CLOCK_FIT_BOUND_PERCENT / 100);
}

static void half_a_per_cent_is_learnt_to_a_millisecond_in_five_minutes(void **state)
{
    (void)state;
    struct tally tally = {0};
    for (uint64_t seed = 1; seed <= 8; seed++) {
        struct board board = {.seed = seed * UINT64_C(0xd1342543de82ef95),
                              .rate = seed % 2 ? 5e-3 : -5e-3,
                              .walk = 1e-6,
                              .wait_ns = 3e5,
                              .stall = 0.01};
        struct tick_clock clock = new_clock(6000000, 400000);
        run(&board, &clock, 600 * NS_PER_S, 300 * NS_PER_S, &tally);
    }
    print_message("after five minutes: %.3f ms off at the most\n", tally.worst_ns / 1e6);
    assert_true(tally.worst_ns < 1e6);
    assert_true(tally.held >= tally.count * 0.99);
}

/* A word about something that was a little before may come after a word that was made since. */
static void a_word_that_was_overtaken_is_no_restart(void **state)
{
    (void)state;
    struct board board = {.seed = 6, .rate = 5e-3, .wait_ns = 1e5};
    struct tick_clock clock = new_clock(6000000, 400000);
    struct tally tally = {0};
    int64_t at_ns;
    int64_t sd_ns;
    run(&board, &clock, 300 * NS_PER_S, 0, &tally);
    assert_int_equal(tick_clock_feed(&clock, counter(&board) - 1500, board.came_ns + 100000),
                     TICK_TAKEN);
    advance(&board, NS_PER_S);
    assert_int_equal(tick_clock_feed(&clock, counter(&board), next_came(&board)), TICK_TAKEN);
    assert_int_equal(tick_clock_at(&clock, counter(&board), &at_ns, &sd_ns), 0);
    assert_close((double)(at_ns - board.host_ns), 0, 1e6);
}

static void a_reset_board_begins_a_new_line(void **state)
{
    (void)state;
    struct board board = {.seed = 5, .rate = -3e-5, .walk = 2e-8, .wait_ns = 3e5};
    struct tick_clock clock = new_clock(100000, 2000000);
    struct tally tally = {0};
    run(&board, &clock, 60 * NS_PER_S, 0, &tally);
    advance(&board, 2 * NS_PER_S);
    board.count = 1000;
    assert_int_equal(tick_clock_feed(&clock, counter(&board), next_came(&board)), TICK_RESTARTED);
    run(&board, &clock, 60 * NS_PER_S, 0, &tally);
    assert_true(tally.held >= tally.count * 0.99);
}

static void a_counter_that_turned_many_times_unheard_goes_on(void **state)
{
    (void)state;
    struct board board = {.seed = 9, .rate = 5e-5, .walk = 2e-8, .wait_ns = 3e5};
    struct tick_clock clock = new_clock(100000, 2000000);
    struct tally tally = {0};
    run(&board, &clock, 120 * NS_PER_S, 0, &tally);
    advance(&board, 20000 * NS_PER_S); /* 4.7 turns */
    run(&board, &clock, 60 * NS_PER_S, 0, &tally);
    assert_true(tally.held >= tally.count * 0.99);
}

static void a_host_that_slept_neither_resets_nor_moves_the_line(void **state)
{
    (void)state;
    struct board board = {.seed = 11, .rate = 5e-5, .walk = 2e-8, .wait_ns = 3e5};
    struct tick_clock clock = new_clock(100000, 2000000);
    struct tally tally = {0};
    run(&board, &clock, 120 * NS_PER_S, 0, &tally);
    int64_t wake_ns = board.host_ns + 60 * NS_PER_S;
    for (int i = 0; i < 100; i++) { /* what the line's buffer kept; the rest is lost */
        advance(&board, WORD_EVERY_NS);
        assert_int_equal(tick_clock_feed(&clock, counter(&board), wake_ns), TICK_TAKEN);
    }
    advance(&board, wake_ns - board.host_ns);
    run(&board, &clock, 60 * NS_PER_S, 0, &tally);
    assert_true(tally.held >= tally.count * 0.99);
}

static void a_counter_that_stood_still_is_noticed(void **state)
{
    (void)state;
    struct board board = {.seed = 13, .rate = 5e-5, .walk = 2e-8, .wait_ns = 3e5};
    struct tick_clock clock = new_clock(100000, 2000000);
    struct tally tally = {0};
    run(&board, &clock, 120 * NS_PER_S, 0, &tally);
    board.host_ns += 3 * NS_PER_S; /* and the counter not */
    int restarts = 0;
    for (int i = 0; i < 100 * 100; i++) {
        advance(&board, WORD_EVERY_NS);
        restarts += tick_clock_feed(&clock, counter(&board), next_came(&board)) == TICK_RESTARTED;
    }
    assert_int_equal(restarts, 1);
    run(&board, &clock, 60 * NS_PER_S, 0, &tally);
    assert_true(tally.held >= tally.count * 0.99);
}

static void later_counts_never_get_earlier_times(void **state)
{
    (void)state;
    struct board board = {.seed = 15, .rate = 3e-3, .walk = 1e-6, .wait_ns = 5e6, .stall = 0.05};
    struct tick_clock clock = new_clock(5000000, 2000000);
    int64_t before_ns = INT64_MIN;
    for (int i = 0; i < 20000; i++) {
        advance(&board, 100000);
        (void)tick_clock_feed(&clock, counter(&board), next_came(&board));
        int64_t at_ns;
        int64_t sd_ns;
        assert_int_equal(tick_clock_at(&clock, counter(&board), &at_ns, &sd_ns), 0);
        assert_true(at_ns > before_ns);
        before_ns = at_ns;
    }
}

static void what_can_not_be_is_refused(void **state)
{
    (void)state;
    const struct tick_clock_setup good = {
        .tick_hz = HZ, .counter_bits = 32, .tolerance_ppb = 1, .latency_most_ns = 0};
    struct tick_clock clock;
    struct error error;
    int64_t at_ns;
    int64_t sd_ns;
    assert_int_equal(tick_clock_init(&clock, &good, &error), 0);
    assert_int_equal(tick_clock_at(&clock, 0, &at_ns, &sd_ns), -1);
    struct tick_clock_setup bad = good;
    bad.tick_hz = 0;
    assert_int_equal(tick_clock_init(&clock, &bad, &error), -1);
    assert_error(error, ERROR_RANGE, "ticks a second");
    bad = good;
    bad.counter_bits = 65;
    assert_int_equal(tick_clock_init(&clock, &bad, &error), -1);
    assert_error(error, ERROR_RANGE, "bits");
    bad = good;
    bad.counter_bits = 16; /* 65 ms */
    assert_int_equal(tick_clock_init(&clock, &bad, &error), -1);
    assert_error(error, ERROR_RANGE, "two seconds");
    bad = good;
    bad.latency_most_ns = -1;
    assert_int_equal(tick_clock_init(&clock, &bad, &error), -1);
    assert_error(error, ERROR_RANGE, "wait");
}

static void any_counts_at_all_are_taken(void **state)
{
    (void)state;
    struct board random = {.seed = 17};
    struct tick_clock_setup setup = {
        .tick_hz = 1, .counter_bits = 64, .tolerance_ppb = 100000, .latency_most_ns = 1000};
    struct tick_clock clock;
    assert_int_equal(tick_clock_init(&clock, &setup, NULL), 0);
    for (int i = 0; i < 20000; i++) {
        uint64_t ticks = (uint64_t)(uniform(&random) * 1.8e19);
        int64_t came_ns = (int64_t)((uniform(&random) - 0.5) * 1.8e18);
        int64_t at_ns;
        int64_t sd_ns;
        (void)tick_clock_feed(&clock, ticks, came_ns);
        (void)tick_clock_at(&clock, (uint64_t)(uniform(&random) * 1.8e19), &at_ns, &sd_ns);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_crystal_boards_times_are_within_the_stated_bound),
        cmocka_unit_test(a_settled_board_is_known_to_its_latency),
        cmocka_unit_test(a_ceramic_resonator_is_followed),
        cmocka_unit_test(answers_narrow_what_one_way_words_leave_open),
        cmocka_unit_test(half_a_per_cent_is_learnt_to_a_millisecond_in_five_minutes),
        cmocka_unit_test(a_word_that_was_overtaken_is_no_restart),
        cmocka_unit_test(a_reset_board_begins_a_new_line),
        cmocka_unit_test(a_counter_that_turned_many_times_unheard_goes_on),
        cmocka_unit_test(a_host_that_slept_neither_resets_nor_moves_the_line),
        cmocka_unit_test(a_counter_that_stood_still_is_noticed),
        cmocka_unit_test(later_counts_never_get_earlier_times),
        cmocka_unit_test(what_can_not_be_is_refused),
        cmocka_unit_test(any_counts_at_all_are_taken),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
