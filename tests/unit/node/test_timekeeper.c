/* Promises of the time client, kept against a small server in the same loop.
 * Must never sleep: the loop runs until the awaited burst is over. */
#include "tests/unit/node/time_server_for_tests.h"

#include "common/stamped_receive.h"
#include "node/time_burst.h"

static void the_first_burst_leaves_at_once_and_tells_the_sites_time(void **state)
{
    (void)state;
    int64_t start = (int64_t)uv_hrtime();
    struct timekeeper *timekeeper = begin(clock_system());
    run_until(&fits, 1);
    assert_true((int64_t)uv_hrtime() - start < NS_PER_S);
    assert_true(last_fit.known);
    expect_true_fit(clock_system());
    assert_true(timekeeper_round_trip_ns(timekeeper) >= 0);
    int64_t now = server.clock.mono_ns(server.clock.context);
    assert_true(timekeeper_age_ns(timekeeper, now) >= 0);
    end(timekeeper);
}

static void three_bursts_follow_quickly_and_the_rest_at_their_cadence(void **state)
{
    (void)state;
    struct timekeeper *timekeeper = begin(clock_system());
    run_until(&fits, 3);
    struct clock_exchange recent[8];
    assert_int_equal(timekeeper_recent(timekeeper, recent, 2), 2);
    assert_true(recent[1].t1_ns > recent[0].t4_ns);
    assert_int_equal(timekeeper_recent(timekeeper, recent, 8), 3);
    int64_t third = (int64_t)uv_hrtime();
    assert_true(server.asked == 12);
    run_until(&fits, 4);
    assert_close((double)((int64_t)uv_hrtime() - third) / 1e9, 1.1, 0.3);
    end(timekeeper);
}

static void a_node_that_believes_it_is_1970_still_learns_the_time(void **state)
{
    (void)state;
    struct clock_skew skew = {.rate_ppb = 20000};
    struct clock_source clock = clock_skewed(&skew);
    skew.offset_ns = -server.clock.real_ns(server.clock.context);
    struct timekeeper *timekeeper = begin(clock);
    assert_true(clock.real_ns(clock.context) < INT64_C(1000000) * NS_PER_S);
    run_until(&fits, 1);
    expect_true_fit(clock);
    end(timekeeper);
}

static void lost_answers_are_normal(void **state)
{
    (void)state;
    server.drop_every = 2;
    struct timekeeper *timekeeper = begin(clock_system());
    run_until(&fits, 1);
    expect_true_fit(clock_system());
    end(timekeeper);
}

static void a_server_that_appears_late_is_found(void **state)
{
    (void)state;
    server.manner = SILENT;
    struct timekeeper *timekeeper = begin(clock_system());
    run_until(&server.asked, 5);
    assert_int_equal(fits, 0);
    server.manner = HONEST;
    run_until(&fits, 1);
    end(timekeeper);
}

static void answers_to_other_questions_are_not_taken(void **state)
{
    (void)state;
    const enum manner manners[] = {WRONG_ORIGIN, UNSYNCHRONISED};
    for (int i = 0; i < 2; i++) {
        server.manner = manners[i];
        server.asked = 0;
        struct timekeeper *timekeeper = begin(clock_system());
        run_until(&server.asked, 5);
        assert_int_equal(fits, 0);
        end(timekeeper);
    }
}

static void an_answer_counts_once(void **state)
{
    (void)state;
    server.manner = TWICE;
    struct timekeeper *timekeeper = begin(clock_system());
    run_until(&fits, 1);
    expect_true_fit(clock_system());
    end(timekeeper);
    struct time_burst burst = {0};
    uint8_t bytes[NTP_PACKET_SIZE];
    time_burst_ask(&burst, 42, bytes);
    time_burst_set_sent(&burst, 1000);
    struct ntp_packet reply = {.version = 4,
                               .mode = NTP_MODE_SERVER,
                               .stratum = 1,
                               .origin = 42,
                               .receive = UINT64_C(0xe900000000000000),
                               .transmit = UINT64_C(0xe900000000000000)};
    ntp_packet_write(&reply, bytes);
    assert_true(time_burst_answer(&burst, bytes, sizeof bytes, 3000, 0));
    assert_false(time_burst_answer(&burst, bytes, sizeof bytes, 4000, 0));
    assert_int_equal(burst.answered, 1);
    assert_int64_equal(time_burst_round_trip_ns(&burst), 2000);
}

/* RFC 5905 sec. 7.4: RATE means that the client must ask less often. */
static void a_server_that_refuses_is_asked_less_often(void **state)
{
    (void)state;
    server.manner = REFUSING;
    int64_t start = (int64_t)uv_hrtime();
    struct timekeeper *timekeeper = begin(clock_system());
    run_until(&server.asked, 5); /* the first of the second burst: after 2 s instead of 0.05 */
    assert_int_equal(fits, 0);
    assert_close((double)((int64_t)uv_hrtime() - start) / 1e9, 2.1, 0.4);
    end(timekeeper);
}

/* The loop may be busy when an answer comes: what counts is when it came. */
static void an_answer_counts_from_when_the_kernel_had_it(void **state)
{
    (void)state;
    struct sockaddr_in own = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t length = sizeof own;
    int receiver = socket(AF_INET, SOCK_DGRAM, 0);
    int sender = socket(AF_INET, SOCK_DGRAM, 0);
    assert_int_equal(bind(receiver, (struct sockaddr *)&own, sizeof own), 0);
    assert_int_equal(getsockname(receiver, (struct sockaddr *)&own, &length), 0);
    stamped_receive_prepare(receiver);
    struct clock_source clock = clock_system();
    struct sockaddr_storage from;
    uint8_t bytes[16];
    int64_t came_ns = 0;
    assert_int_equal(stamped_receive(receiver, &clock, bytes, sizeof bytes, &from, &came_ns), -1);
    for (int i = 0; i < 2; i++) { /* the first after the asking may lack a stamp */
        int64_t before_ns = clock.mono_ns(clock.context);
        (void)sendto(sender, "time", 4, 0, (struct sockaddr *)&own, sizeof own);
        int64_t after_ns = clock.mono_ns(clock.context);
        while (clock.mono_ns(clock.context) < after_ns + 30000000) {
            /* the loop is busy for 30 ms */
        }
        assert_int_equal(stamped_receive(receiver, &clock, bytes, sizeof bytes, &from, &came_ns),
                         4);
        if (i == 1) {
            assert_true(came_ns >= before_ns - 1000000 && came_ns <= after_ns + 1000000);
        }
    }
    close(receiver);
    close(sender);
}

/* A reference time that changes says that the base station was suspended, or began anew. */
static void a_server_whose_clock_was_set_anew_is_learnt_again(void **state)
{
    (void)state;
    server.reference = 1;
    struct timekeeper *timekeeper = begin(clock_system());
    run_until(&fits, 3);
    struct clock_exchange recent[8];
    assert_int_equal(timekeeper_recent(timekeeper, recent, 8), 3);
    server.reference = 2;
    run_until(&fits, 4);
    assert_int_equal(timekeeper_recent(timekeeper, recent, 8), 1);
    end(timekeeper);
}

static void stopping_in_the_middle_leaves_nothing_open(void **state)
{
    (void)state;
    end(begin(clock_system()));
    struct timekeeper *timekeeper = begin(clock_system());
    run_until(&server.asked, 2);
    end(timekeeper);
}

int main(void)
{
#define PROMISE(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        PROMISE(the_first_burst_leaves_at_once_and_tells_the_sites_time),
        PROMISE(three_bursts_follow_quickly_and_the_rest_at_their_cadence),
        PROMISE(a_node_that_believes_it_is_1970_still_learns_the_time),
        PROMISE(lost_answers_are_normal),
        PROMISE(a_server_that_appears_late_is_found),
        PROMISE(answers_to_other_questions_are_not_taken),
        PROMISE(an_answer_counts_once),
        PROMISE(a_server_that_refuses_is_asked_less_often),
        PROMISE(an_answer_counts_from_when_the_kernel_had_it),
        PROMISE(a_server_whose_clock_was_set_anew_is_learnt_again),
        PROMISE(stopping_in_the_middle_leaves_nothing_open),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
