/* The time server's answers, octet by octet and over a real socket.
 * RFC 5905 "Network Time Protocol Version 4", sec. 7.3 (packet header) and 9.2 (PHI), 2010; RFC
 * 4330 "SNTPv4" sec. 5 (a client's checks), 2006, from memory; BCP 223 / RFC 8633 sec. 4 (no
 * amplification by modes 6 and 7), 2019, from memory. */
#include "tests/unit/test.h"

#include <arpa/inet.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include "collector/ingest/time_answer.h"
#include "collector/ingest/time_limit.h"
#include "collector/ingest/time_server.h"
#include "common/clock.h"
#include "common/timefmt.h"

#define START_NS (INT64_C(1709330400) * NS_PER_S)

static const struct time_answer_settings settings = {.started_ns = START_NS,
                                                     .root_dispersion_ns = 1000000};

static void ask(uint8_t request[NTP_PACKET_SIZE], unsigned version, unsigned mode)
{
    memset(request, 0, NTP_PACKET_SIZE);
    request[0] = (uint8_t)(version << 3 | mode);
    request[2] = 6;
    for (int i = 0; i < 8; i++) {
        request[40 + i] = (uint8_t)(0xA0 + i); /* clients send random bits here */
    }
}

static void an_answer_has_the_octets_of_rfc_5905(void **state)
{
    (void)state;
    uint8_t request[NTP_PACKET_SIZE];
    uint8_t answer[NTP_PACKET_SIZE];
    struct ntp_packet packet;
    struct error error;
    ask(request, 4, 3);
    assert_int_equal(time_answer_make(&settings, request, sizeof request, START_NS + 5, answer), 0);
    time_answer_stamp(answer, START_NS + 7000);
    assert_int_equal(answer[0], 0x24); /* server, version 4, no leap warning */
    assert_int_equal(answer[1], 10);
    assert_memory_equal(answer + 24, request + 40, 8); /* origin, unchanged */
    assert_memory_equal(answer + 12, "LOCL", 4);
    assert_int_equal(ntp_packet_read(answer, sizeof answer, &packet, &error), 0);
    assert_int64_equal(timefmt_utc_from_ntp(packet.receive, START_NS), START_NS + 5);
    assert_int64_equal(timefmt_utc_from_ntp(packet.transmit, START_NS), START_NS + 7000);
    assert_int64_equal(timefmt_utc_from_ntp(packet.reference, START_NS), START_NS);
    assert_int_equal(packet.root_dispersion, 66); /* 1 ms = 65.536 in 16.16, rounded up */
    assert_int_equal(ntp_packet_check_answer(&packet, UINT64_C(0xA0A1A2A3A4A5A6A7), &error), 0);
}

/* PHI = 15e-6: 0.216 s after 4 h (RFC 5905 sec. 9.2). */
static void the_dispersion_grows_while_the_clock_runs_free(void **state)
{
    (void)state;
    uint8_t request[NTP_PACKET_SIZE];
    uint8_t answer[NTP_PACKET_SIZE];
    struct ntp_packet packet;
    ask(request, 4, 3);
    int64_t now = START_NS + 4 * 3600 * NS_PER_S;
    assert_int_equal(time_answer_make(&settings, request, sizeof request, now, answer), 0);
    assert_int_equal(ntp_packet_read(answer, sizeof answer, &packet, NULL), 0);
    assert_close(packet.root_dispersion / 65536.0, 0.001 + 0.216, 2e-5);
}

static void versions_3_and_4_are_echoed_and_all_else_is_ignored(void **state)
{
    (void)state;
    uint8_t request[NTP_PACKET_SIZE];
    uint8_t answer[NTP_PACKET_SIZE];
    for (unsigned version = 0; version < 8; version++) {
        for (unsigned mode = 0; mode < 8; mode++) {
            ask(request, version, mode);
            int result = time_answer_make(&settings, request, sizeof request, START_NS, answer);
            bool good = (version == 3 || version == 4) && mode == 3;
            assert_int_equal(result, good ? 0 : -1);
            if (good) {
                assert_int_equal(answer[0] >> 3 & 7, version);
            }
        }
    }
    ask(request, 4, 3);
    for (size_t length = 0; length < sizeof request; length++) {
        assert_int_equal(time_answer_make(&settings, request, length, START_NS, answer), -1);
    }
}

static void a_refusal_says_rate_and_no_time(void **state)
{
    (void)state;
    uint8_t request[NTP_PACKET_SIZE];
    uint8_t answer[NTP_PACKET_SIZE];
    struct ntp_packet packet;
    struct error error;
    ask(request, 4, 3);
    assert_int_equal(time_answer_refuse(request, sizeof request, answer), 0);
    assert_int_equal(answer[0], 0xE4); /* unsynchronised */
    assert_int_equal(answer[1], 0);    /* stratum 0: the reference id is a kiss code */
    assert_memory_equal(answer + 12, "RATE", 4);
    assert_memory_equal(answer + 24, request + 40, 8);
    assert_int_equal(ntp_packet_read(answer, sizeof answer, &packet, NULL), 0);
    assert_int_equal(ntp_packet_check_answer(&packet, UINT64_C(0xA0A1A2A3A4A5A6A7), &error), -1);
    assert_error(error, ERROR_STATE, "52415445");
    request[0] = 0x24;
    assert_int_equal(time_answer_refuse(request, sizeof request, answer), -1);
}

static int64_t quarter_second_ahead(void *context)
{
    struct clock_source *clock = context;
    return clock->real_ns(clock->context) + NS_PER_S / 4;
}

struct wire {
    uv_loop_t loop;
    struct clock_source clock;
    struct time_server *server;
    int client;
};

/* `from` binds the client; NULL leaves it to the kernel. */
static void open_wire_at(struct wire *wire, const char *address, const char *to_address,
                         const char *from)
{
    struct error error;
    wire->clock = clock_system();
    (void)uv_loop_init(&wire->loop);
    const struct time_server_settings to = {.loop = &wire->loop,
                                            .address = address,
                                            .site_now_ns = quarter_second_ahead,
                                            .context = &wire->clock,
                                            .started_ns = quarter_second_ahead(&wire->clock)};
    if (time_server_new(&to, &wire->server, &error)) {
        fail_msg("%s", error.text);
    }
    struct sockaddr_storage there = {0};
    socklen_t length = sizeof(struct sockaddr_in);
    if (strchr(to_address, ':')) {
        struct sockaddr_in6 *six = (struct sockaddr_in6 *)&there;
        length = sizeof *six;
        *six = (struct sockaddr_in6){.sin6_family = AF_INET6,
                                     .sin6_port = htons(time_server_port(wire->server))};
        assert_int_equal(inet_pton(AF_INET6, to_address, &six->sin6_addr), 1);
    } else {
        struct sockaddr_in *four = (struct sockaddr_in *)&there;
        *four = (struct sockaddr_in){.sin_family = AF_INET,
                                     .sin_port = htons(time_server_port(wire->server))};
        assert_int_equal(inet_pton(AF_INET, to_address, &four->sin_addr), 1);
    }
    wire->client = socket(there.ss_family, SOCK_DGRAM, 0);
    if (from) {
        struct sockaddr_in here = {.sin_family = AF_INET};
        assert_int_equal(inet_pton(AF_INET, from, &here.sin_addr), 1);
        assert_int_equal(bind(wire->client, (struct sockaddr *)&here, sizeof here), 0);
    }
    assert_int_equal(connect(wire->client, (struct sockaddr *)&there, length), 0);
}

static void open_wire(struct wire *wire)
{
    open_wire_at(wire, "127.0.0.1", "127.0.0.1", NULL);
}

static void close_wire(struct wire *wire)
{
    (void)close(wire->client);
    time_server_close(wire->server, NULL, NULL);
    (void)uv_run(&wire->loop, UV_RUN_DEFAULT);
    time_server_free(wire->server);
    assert_int_equal(uv_loop_close(&wire->loop), 0);
}

/* Turns the loop until an answer is there or 2 s have passed; its length, or -1. */
static ssize_t turn_for_answer(struct wire *wire, uint8_t *answer, size_t size)
{
    for (int i = 0; i < 200; i++) {
        (void)uv_run(&wire->loop, UV_RUN_NOWAIT);
        struct pollfd readable = {.fd = wire->client, .events = POLLIN};
        if (poll(&readable, 1, 10) == 1) {
            return recv(wire->client, answer, size, 0);
        }
    }
    return -1;
}

static void a_client_over_udp_finds_the_offset(void **state)
{
    (void)state;
    struct wire wire;
    uint8_t request[NTP_PACKET_SIZE];
    uint8_t answer[512];
    struct ntp_packet packet;
    open_wire(&wire);
    for (int i = 0; i < 7; i++) {
        ask(request, 4, 3);
        int64_t t1 = wire.clock.real_ns(wire.clock.context);
        assert_int_equal(send(wire.client, request, sizeof request, 0), sizeof request);
        ssize_t length = turn_for_answer(&wire, answer, sizeof answer);
        int64_t t4 = wire.clock.real_ns(wire.clock.context);
        assert_int_equal(length, NTP_PACKET_SIZE);
        assert_int_equal(ntp_packet_read(answer, NTP_PACKET_SIZE, &packet, NULL), 0);
        int64_t t2 = timefmt_utc_from_ntp(packet.receive, t1);
        int64_t t3 = timefmt_utc_from_ntp(packet.transmit, t1);
        assert_true(t2 <= t3);
        /* The error is bounded by half the round trip (RFC 5905 sec. 8). */
        int64_t theta = ((t2 - t1) + (t3 - t4)) / 2;
        int64_t delta = (t4 - t1) - (t3 - t2);
        assert_true(llabs(theta - NS_PER_S / 4) <= delta / 2 + 1000);
    }
    assert_int_equal(time_server_get_counts(wire.server)->answered, 7);
    close_wire(&wire);
}

/* One packet that waits 30 ms before it is read: whether its answer says when it arrived. */
static bool says_arrival(struct wire *wire)
{
    uint8_t request[NTP_PACKET_SIZE];
    uint8_t answer[512];
    struct ntp_packet packet;
    ask(request, 4, 3);
    int64_t sent = quarter_second_ahead(&wire->clock);
    assert_int_equal(send(wire->client, request, sizeof request, 0), sizeof request);
    int64_t arrived = quarter_second_ahead(&wire->clock);
    while (quarter_second_ahead(&wire->clock) < arrived + 30000000) {
        /* the loop is busy for 30 ms */
    }
    assert_int_equal(turn_for_answer(wire, answer, sizeof answer), NTP_PACKET_SIZE);
    assert_int_equal(ntp_packet_read(answer, NTP_PACKET_SIZE, &packet, NULL), 0);
    int64_t t2 = timefmt_utc_from_ntp(packet.receive, sent);
    return t2 >= sent - 1000000 && t2 <= arrived + 1000000;
}

/* The kernel begins with its stamps some packets after they were asked for, when it finds time;
 * until then it stamps what is read. */
static void the_kernels_stamp_is_used_and_not_the_time_of_reading(void **state)
{
    (void)state;
    struct wire wire;
    bool said = false;
    open_wire(&wire);
    for (int i = 0; i < 40 && !said; i++) {
        said = says_arrival(&wire);
    }
    assert_true(said);
    uint64_t unstamped = time_server_get_counts(wire.server)->unstamped;
    assert_true(says_arrival(&wire));
    assert_int_equal(time_server_get_counts(wire.server)->unstamped, unstamped);
    close_wire(&wire);
}

static void odd_packets_get_no_answer_and_do_no_harm(void **state)
{
    (void)state;
    struct wire wire;
    uint8_t request[1200] = {0};
    uint8_t answer[512];
    open_wire(&wire);
    request[0] = 0x16; /* mode 6 */
    (void)send(wire.client, request, 12, 0);
    (void)send(wire.client, request, 0, 0);
    (void)send(wire.client, request, sizeof request, 0);
    ask(request, 4, 3);
    (void)send(wire.client, request, NTP_PACKET_SIZE + 20, 0); /* as with a key: still 48 back */
    assert_int_equal(turn_for_answer(&wire, answer, sizeof answer), NTP_PACKET_SIZE);
    assert_int_equal(time_server_get_counts(wire.server)->ignored, 3);
    assert_int_equal(time_server_get_counts(wire.server)->answered, 1);
    close_wire(&wire);
}

static void a_request_too_long_is_ignored(void **state)
{
    (void)state;
    struct wire wire;
    uint8_t request[1200] = {0};
    uint8_t answer[512];
    open_wire(&wire);
    ask(request, 4, 3);
    (void)send(wire.client, request, sizeof request, 0);
    (void)send(wire.client, request, TIME_REQUEST_MAX + 1, 0);
    (void)send(wire.client, request, TIME_REQUEST_MAX, 0);
    assert_int_equal(turn_for_answer(&wire, answer, sizeof answer), NTP_PACKET_SIZE);
    assert_int_equal(time_server_get_counts(wire.server)->ignored, 2);
    assert_int_equal(time_server_get_counts(wire.server)->answered, 1);
    close_wire(&wire);
}

static bool has_ipv6(void)
{
    int probe = socket(AF_INET6, SOCK_DGRAM, 0);
    struct sockaddr_in6 own = {.sin6_family = AF_INET6, .sin6_addr = in6addr_loopback};
    bool has = probe >= 0 && bind(probe, (struct sockaddr *)&own, sizeof own) == 0;
    if (probe >= 0) {
        (void)close(probe);
    }
    return has;
}

static void both_families_are_answered(void **state)
{
    (void)state;
    static const char *const pairs[][2] = {{"::1", "::1"}, {"::", "::1"}, {"::", "127.0.0.1"}};
    if (!has_ipv6()) {
        print_message("skipped: no IPv6 here\n");
        skip();
    }
    for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++) {
        struct wire wire;
        uint8_t request[NTP_PACKET_SIZE];
        uint8_t answer[512];
        open_wire_at(&wire, pairs[i][0], pairs[i][1], NULL);
        ask(request, 3, 3);
        (void)send(wire.client, request, sizeof request, 0);
        assert_int_equal(turn_for_answer(&wire, answer, sizeof answer), NTP_PACKET_SIZE);
        assert_int_equal(answer[0], 0x1C); /* server, version 3 */
        close_wire(&wire);
    }
}

static void who_asks_too_often_is_told_once_and_then_ignored(void **state)
{
    (void)state;
    struct wire wire;
    uint8_t request[NTP_PACKET_SIZE];
    uint8_t answer[512];
    int refused = 0;
    open_wire_at(&wire, "0.0.0.0", "127.0.0.1", "127.0.0.2");
    ask(request, 4, 3);
    for (int i = 0; i < TIME_LIMIT_BURST + 40; i++) {
        (void)send(wire.client, request, sizeof request, 0);
        (void)uv_run(&wire.loop, UV_RUN_NOWAIT);
        while (recv(wire.client, answer, sizeof answer, MSG_DONTWAIT) == NTP_PACKET_SIZE) {
            refused += answer[1] == 0 && memcmp(answer + 12, "RATE", 4) == 0;
        }
    }
    assert_int_equal(refused, 1);
    assert_true(time_server_get_counts(wire.server)->answered >= TIME_LIMIT_BURST);
    assert_true(time_server_get_counts(wire.server)->limited > 1);
    close_wire(&wire);
}

static struct sockaddr_in address_number(uint32_t number)
{
    return (struct sockaddr_in){.sin_family = AF_INET,
                                .sin_addr.s_addr = htonl(0x0A000000u + number)};
}

static enum time_verdict ask_limit(struct time_limit *limit, uint32_t number, int64_t now_ns)
{
    struct sockaddr_in from = address_number(number);
    return time_limit_ask(limit, (const struct sockaddr *)&from, now_ns);
}

/* 16 questions a burst is the most that a node's settings allow, once a second the most often; the
 * first three follow each other at once. */
static void a_node_s_bursts_are_never_limited(void **state)
{
    (void)state;
    static struct time_limit limit;
    memset(&limit, 0, sizeof limit);
    int64_t now_ns = START_NS;
    for (int burst = 0; burst < 600; burst++) {
        for (int i = 0; i < 16; i++) {
            for (uint32_t node = 0; node < 32; node++) {
                assert_int_equal(ask_limit(&limit, node, now_ns + i * INT64_C(30000000)),
                                 TIME_ANSWER);
            }
        }
        now_ns += burst < 3 ? NS_PER_S / 2 : NS_PER_S;
    }
}

static void a_flood_is_limited_and_recovers_and_the_table_stays_bounded(void **state)
{
    (void)state;
    static struct time_limit limit;
    memset(&limit, 0, sizeof limit);
    int answered = 0, told = 0;
    for (int i = 0; i < 10000; i++) { /* 10 s at 1000 a second */
        enum time_verdict verdict = ask_limit(&limit, 1, START_NS + i * INT64_C(1000000));
        answered += verdict == TIME_ANSWER;
        told += verdict == TIME_TELL;
    }
    assert_close(answered, TIME_LIMIT_BURST + 320, 3);
    assert_true(told >= 9 && told <= 10);
    assert_int_equal(ask_limit(&limit, 1, START_NS + 20 * NS_PER_S), TIME_ANSWER);
    for (uint32_t number = 0; number < 100000; number++) {
        assert_int_equal(ask_limit(&limit, number, START_NS + 30 * NS_PER_S), TIME_ANSWER);
    }
    struct sockaddr_in own = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    for (int i = 0; i < 10000; i++) {
        assert_int_equal(time_limit_ask(&limit, (const struct sockaddr *)&own, START_NS),
                         TIME_ANSWER);
    }
}

static void an_ipv6_network_counts_as_one(void **state)
{
    (void)state;
    static struct time_limit limit;
    memset(&limit, 0, sizeof limit);
    int answered = 0;
    for (uint8_t i = 0; i < 200; i++) {
        struct sockaddr_in6 from = {.sin6_family = AF_INET6};
        from.sin6_addr.s6_addr[0] = 0xFD;
        from.sin6_addr.s6_addr[15] = i;
        answered += time_limit_ask(&limit, (const struct sockaddr *)&from, START_NS) == TIME_ANSWER;
    }
    assert_int_equal(answered, TIME_LIMIT_BURST);
}

static void a_wrong_address_and_a_taken_port_are_named(void **state)
{
    (void)state;
    struct wire wire;
    struct error error;
    struct time_server *second;
    open_wire(&wire);
    struct time_server_settings to = {.loop = &wire.loop,
                                      .address = "127.0.0.1",
                                      .port = time_server_port(wire.server),
                                      .site_now_ns = quarter_second_ahead,
                                      .context = &wire.clock};
    assert_int_equal(time_server_new(&to, &second, &error), -1);
    assert_error(error, ERROR_BUSY, "port");
    to.address = "localhost";
    assert_int_equal(time_server_new(&to, &second, &error), -1);
    assert_error(error, ERROR_USAGE, "localhost");
    close_wire(&wire);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_answer_has_the_octets_of_rfc_5905),
        cmocka_unit_test(the_dispersion_grows_while_the_clock_runs_free),
        cmocka_unit_test(versions_3_and_4_are_echoed_and_all_else_is_ignored),
        cmocka_unit_test(a_client_over_udp_finds_the_offset),
        cmocka_unit_test(the_kernels_stamp_is_used_and_not_the_time_of_reading),
        cmocka_unit_test(odd_packets_get_no_answer_and_do_no_harm),
        cmocka_unit_test(a_refusal_says_rate_and_no_time),
        cmocka_unit_test(a_request_too_long_is_ignored),
        cmocka_unit_test(both_families_are_answered),
        cmocka_unit_test(who_asks_too_often_is_told_once_and_then_ignored),
        cmocka_unit_test(a_node_s_bursts_are_never_limited),
        cmocka_unit_test(a_flood_is_limited_and_recovers_and_the_table_stays_bounded),
        cmocka_unit_test(an_ipv6_network_counts_as_one),
        cmocka_unit_test(a_wrong_address_and_a_taken_port_are_named),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
