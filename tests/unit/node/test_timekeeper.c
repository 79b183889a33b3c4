/* Promises of the time client, kept against a small server in the same loop.
 * Must never sleep: the loop runs until the awaited burst is over. */
#include "tests/unit/test.h"

#include <arpa/inet.h>
#include <unistd.h>
#include <uv.h>

#include "common/ntp_packet.h"
#include "common/stamped_receive.h"
#include "common/timefmt.h"
#include "node/pace.h"
#include "node/time_burst.h"
#include "node/timekeeper.h"

#define LIMIT_MS 15000
#define OFFSET_NS INT64_C(123456789) /* site minus the machine's real clock */

enum manner { HONEST, SILENT, WRONG_ORIGIN, UNSYNCHRONISED, TWICE, REFUSING };

struct server {
    uv_udp_t handle;
    enum manner manner;
    int drop_every; /* 0: none */
    uint64_t reference;
    int asked;
    int port;
    struct clock_source clock;
};

static uv_loop_t loop;
static uv_timer_t limit;
static struct server server;
static int fits;
static struct clock_fit last_fit;

static void on_sent(uv_udp_send_t *request, int status)
{
    (void)status;
    free(request);
}

static void answer(const struct sockaddr *to, const uint8_t *bytes)
{
    struct {
        uv_udp_send_t request;
        uint8_t bytes[NTP_PACKET_SIZE];
    } *packet = calloc(1, sizeof *packet);
    memcpy(packet->bytes, bytes, NTP_PACKET_SIZE);
    uv_buf_t buffer = uv_buf_init((char *)packet->bytes, NTP_PACKET_SIZE);
    assert_int_equal(uv_udp_send(&packet->request, &server.handle, &buffer, 1, to, on_sent), 0);
}

static void on_question(uv_udp_t *handle, ssize_t got, const uv_buf_t *buffer,
                        const struct sockaddr *from, unsigned flags)
{
    (void)handle;
    (void)flags;
    if (got <= 0 || !from) {
        return;
    }
    struct ntp_packet packet;
    assert_int_equal(ntp_packet_read((const uint8_t *)buffer->base, (size_t)got, &packet, NULL), 0);
    assert_int_equal(packet.mode, NTP_MODE_CLIENT);
    server.asked++;
    if (server.manner == SILENT || (server.drop_every && server.asked % server.drop_every == 0)) {
        return;
    }
    uint64_t site = timefmt_ntp_from_utc(server.clock.real_ns(server.clock.context) + OFFSET_NS);
    struct ntp_packet reply = {.leap = server.manner == UNSYNCHRONISED ? 3 : 0,
                               .version = 4,
                               .mode = NTP_MODE_SERVER,
                               .stratum = server.manner == REFUSING ? 0 : 1,
                               .reference_id = server.manner == REFUSING ? 0x52415445  /* "RATE" */
                                                                         : 0x4C4F434C, /* "LOCL" */
                               .reference = server.reference,
                               .origin = packet.transmit + (server.manner == WRONG_ORIGIN),
                               .receive = site,
                               .transmit = site};
    uint8_t bytes[NTP_PACKET_SIZE];
    ntp_packet_write(&reply, bytes);
    answer(from, bytes);
    if (server.manner == TWICE) {
        answer(from, bytes);
    }
}

static void on_buffer(uv_handle_t *handle, size_t size, uv_buf_t *buffer)
{
    static char bytes[2048];
    (void)handle;
    (void)size;
    *buffer = uv_buf_init(bytes, sizeof bytes);
}

static void on_fit(void *context, const struct clock_fit *fit)
{
    (void)context;
    fits++;
    last_fit = *fit;
}

static void on_limit(uv_timer_t *timer)
{
    (void)timer;
    fail_msg("waited %d ms in vain", LIMIT_MS);
}

static void run_until(const int *count, int wanted)
{
    uv_update_time(&loop);
    uv_timer_start(&limit, on_limit, LIMIT_MS, 0);
    while (*count < wanted) {
        uv_run(&loop, UV_RUN_ONCE);
    }
    uv_timer_stop(&limit);
}

static int set_up(void **state)
{
    (void)state;
    memset(&server, 0, sizeof server);
    fits = 0;
    server.clock = clock_system();
    uv_loop_init(&loop);
    uv_timer_init(&loop, &limit);
    uv_udp_init(&loop, &server.handle);
    struct sockaddr_in address;
    int length = sizeof address;
    uv_ip4_addr("127.0.0.1", 0, &address);
    uv_udp_bind(&server.handle, (struct sockaddr *)&address, 0);
    uv_udp_getsockname(&server.handle, (struct sockaddr *)&address, &length);
    server.port = ntohs(address.sin_port);
    return uv_udp_recv_start(&server.handle, on_buffer, on_question);
}

static int tear_down(void **state)
{
    (void)state;
    uv_close((uv_handle_t *)&server.handle, NULL);
    uv_close((uv_handle_t *)&limit, NULL);
    uv_run(&loop, UV_RUN_DEFAULT);
    return uv_loop_close(&loop);
}

static struct timekeeper *begin(struct clock_source clock)
{
    struct timekeeper_setup setup = {.loop = &loop,
                                     .clock = clock,
                                     .host = "127.0.0.1",
                                     .port = server.port,
                                     .burst_every_ns = NS_PER_S,
                                     .quick_every_ns = NS_PER_S / 20,
                                     .listen_ms = 60,
                                     .burst_size = 4,
                                     .on_fit = on_fit};
    struct timekeeper *timekeeper;
    assert_int_equal(timekeeper_new(&setup, &timekeeper, NULL), 0);
    assert_false(timekeeper_fit(timekeeper)->known);
    assert_int64_equal(timekeeper_age_ns(timekeeper, 5), -1);
    assert_int64_equal(timekeeper_round_trip_ns(timekeeper), -1);
    timekeeper_start(timekeeper);
    return timekeeper;
}

static void end(struct timekeeper *timekeeper)
{
    timekeeper_stop(timekeeper);
    for (int i = 0; i < 10; i++) {
        uv_run(&loop, UV_RUN_NOWAIT);
    }
    timekeeper_free(timekeeper);
}

/* What the fit should say now, against the very clock that the server tells. */
static void expect_true_fit(struct clock_source clock)
{
    int64_t node_ns = clock.mono_ns(clock.context);
    int64_t site_ns = server.clock.real_ns(server.clock.context) + OFFSET_NS;
    int64_t error_ns = clock_fit_site_ns(&last_fit, node_ns) - site_ns;
    assert_close(error_ns, 0, 3e6);
    assert_close(error_ns, 0, 5.0 * (double)clock_fit_uncertainty_ns(&last_fit, node_ns) + 1e5);
}

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

static struct kernel_reading kernel_says;

static void answer_for_kernel(void *context, struct kernel_reading *reading)
{
    (void)context;
    *reading = kernel_says;
}

static struct timekeeper *begin_with_kernel(void)
{
    static const struct kernel_clock kernel = {.read = answer_for_kernel};
    struct timekeeper_setup setup = {.loop = &loop,
                                     .clock = clock_system(),
                                     .burst_every_ns = NS_PER_S / 10,
                                     .quick_every_ns = NS_PER_S / 100,
                                     .burst_size = 8,
                                     .kernel = &kernel,
                                     .on_fit = on_fit};
    struct timekeeper *timekeeper;
    assert_int_equal(timekeeper_new(&setup, &timekeeper, NULL), 0);
    timekeeper_start(timekeeper);
    return timekeeper;
}

static void a_disciplined_kernel_is_believed_with_its_own_bound(void **state)
{
    (void)state;
    kernel_says =
        (struct kernel_reading){.disciplined = true, .bound_ns = 3000000, .estimate_ns = 20000};
    struct timekeeper *timekeeper = begin_with_kernel();
    run_until(&fits, 5);
    assert_int_equal(server.asked, 0);
    assert_true(last_fit.utc);
    int64_t node_ns = server.clock.mono_ns(server.clock.context);
    int64_t real_ns = server.clock.real_ns(server.clock.context);
    assert_close((double)(clock_fit_site_ns(&last_fit, node_ns) - real_ns), 0, 50e3);
    /* 3 ms evenly spread, and a few microseconds of the readings. */
    assert_close((double)last_fit.uncertainty_ns, 3e6 / 1.7320508, 20e3);
    /* An estimate beyond the bound counts as it is. */
    kernel_says.estimate_ns = 5000000;
    run_until(&fits, 6);
    assert_close((double)last_fit.uncertainty_ns, 5e6, 20e3);
    end(timekeeper);
}

static void a_kernel_that_is_not_disciplined_is_not_believed(void **state)
{
    (void)state;
    kernel_says = (struct kernel_reading){.bound_ns = 1000};
    struct timekeeper *timekeeper = begin_with_kernel();
    int turns = 0;
    while (turns++ < 20) {
        uv_run(&loop, UV_RUN_ONCE);
    }
    assert_int_equal(fits, 0);
    assert_false(timekeeper_fit(timekeeper)->known);
    kernel_says.disciplined = true; /* and once it is: */
    run_until(&fits, 1);
    assert_true(last_fit.known);
    end(timekeeper);
}

static void the_machine_s_kernel_can_be_asked(void **state)
{
    (void)state;
    struct kernel_clock kernel = kernel_clock_system();
    struct kernel_reading reading = {.bound_ns = -1};
    struct clock_exchange pairs[2] = {0};
    struct kernel_leaps leaps = {0};
    int count = kernel_clock_burst(&kernel, &server.clock, &leaps, pairs, 2, &reading);
    assert_true(reading.bound_ns >= 0);
    assert_int_equal(count, reading.disciplined ? 2 : 0);
    assert_true(pairs[0].t4_ns >= pairs[0].t1_ns && pairs[0].t2_ns == pairs[0].t3_ns);
}

/* As the kernel does it (Linux, kernel/time/ntp.c, second_overflow): its wall clock goes back by a
 * second, and TAI less UTC rises by one. */
static void a_leap_second_is_not_in_the_sites_time(void **state)
{
    (void)state;
    struct kernel_clock kernel = {.read = answer_for_kernel};
    struct kernel_reading reading;
    struct kernel_leaps leaps = {0};
    struct clock_exchange before[2];
    struct clock_exchange after[2];
    struct clock_skew skew = {.jumps = {{-NS_PER_S, 1000 * NS_PER_S}}, .jump_count = 1};
    struct clock_source clock = clock_skewed(&skew);
    kernel_says = (struct kernel_reading){.disciplined = true, .bound_ns = 1000, .tai_s = 0};
    assert_int_equal(kernel_clock_burst(&kernel, &clock, &leaps, before, 2, &reading), 2);
    kernel_says.tai_s = 37; /* a daemon tells it: no leap */
    assert_int_equal(kernel_clock_burst(&kernel, &clock, &leaps, before, 2, &reading), 2);
    int64_t offset_ns = before[1].t2_ns - before[1].t1_ns;
    skew.jumps[0].after_ns = 0;
    kernel_says.tai_s = 38;
    assert_int_equal(kernel_clock_burst(&kernel, &clock, &leaps, after, 2, &reading), 2);
    assert_close(after[1].t2_ns - after[1].t1_ns, offset_ns, 5e7);
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

static void a_deadline_is_never_early_nor_endless(void **state)
{
    (void)state;
    struct clock_source clock = {.hurry = 0};
    assert_int_equal(pace_delay_ms(&clock, 0, 1000000), 2);
    assert_int_equal(pace_delay_ms(&clock, 0, 1500000), 2);
    assert_int_equal(pace_delay_ms(&clock, 5, 5), 1);
    assert_int_equal(pace_delay_ms(&clock, 5, INT64_MIN), 1);
    assert_int_equal(pace_delay_ms(&clock, 5, INT64_MAX), 3600000);
    assert_int_equal(pace_delay_ms(&clock, -5, INT64_MAX), 3600000);
    clock.hurry = 4; /* a clock that runs four times as fast is waited for a quarter as long */
    assert_int_equal(pace_delay_ms(&clock, 0, 12000000), 4);
}

struct beat {
    int count;
    int64_t first_ns, last_ns;
};

static void on_beat(void *context, int64_t now_ns)
{
    struct beat *beat = context;
    beat->first_ns = beat->count++ == 0 ? now_ns : beat->first_ns;
    beat->last_ns = now_ns;
    uv_sleep(3); /* lateness of each turn must not add up */
}

static double twenty_beats_ms(void)
{
    struct pace pace;
    struct beat beat = {0};
    struct clock_source clock = clock_system();
    pace_start(&loop, &pace, &clock, 20000000, on_beat, &beat);
    run_until(&beat.count, 21);
    pace_close(&pace);
    uv_run(&loop, UV_RUN_NOWAIT);
    return (double)(beat.last_ns - beat.first_ns) / 1e6;
}

/* Lateness that added up would show in every try; a machine busy with other things only in some. */
static void lateness_does_not_add_up(void **state)
{
    (void)state;
    double off_ms = INFINITY;
    for (int i = 0; i < 20 && off_ms > 8; i++) {
        off_ms = fmin(off_ms, fabs(twenty_beats_ms() - 400));
    }
    assert_true(off_ms <= 8);
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
        PROMISE(a_disciplined_kernel_is_believed_with_its_own_bound),
        PROMISE(a_kernel_that_is_not_disciplined_is_not_believed),
        PROMISE(the_machine_s_kernel_can_be_asked),
        PROMISE(a_leap_second_is_not_in_the_sites_time),
        PROMISE(a_server_whose_clock_was_set_anew_is_learnt_again),
        PROMISE(stopping_in_the_middle_leaves_nothing_open),
        PROMISE(a_deadline_is_never_early_nor_endless),
        PROMISE(lateness_does_not_add_up),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
