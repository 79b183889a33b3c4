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

static void open_wire(struct wire *wire)
{
    struct error error;
    wire->clock = clock_system();
    (void)uv_loop_init(&wire->loop);
    const struct time_server_settings to = {.loop = &wire->loop,
                                            .address = "127.0.0.1",
                                            .site_now_ns = quarter_second_ahead,
                                            .context = &wire->clock,
                                            .started_ns = quarter_second_ahead(&wire->clock)};
    if (time_server_new(&to, &wire->server, &error)) {
        fail_msg("%s", error.text);
    }
    struct sockaddr_in address = {.sin_family = AF_INET,
                                  .sin_port = htons(time_server_port(wire->server)),
                                  .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    wire->client = socket(AF_INET, SOCK_DGRAM, 0);
    assert_int_equal(connect(wire->client, (struct sockaddr *)&address, sizeof address), 0);
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
    for (int i = 0; i < 5; i++) {
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
    assert_int_equal(time_server_get_counts(wire.server)->answered, 5);
    close_wire(&wire);
}

static void the_kernels_stamp_is_used_and_not_the_time_of_reading(void **state)
{
    (void)state;
    struct wire wire;
    uint8_t request[NTP_PACKET_SIZE];
    uint8_t answer[512];
    struct ntp_packet packet;
    open_wire(&wire);
    ask(request, 4, 3);
    /* The first packet after the stamps are asked for may lack one. */
    assert_int_equal(send(wire.client, request, sizeof request, 0), sizeof request);
    assert_int_equal(turn_for_answer(&wire, answer, sizeof answer), NTP_PACKET_SIZE);
    uint64_t unstamped = time_server_get_counts(wire.server)->unstamped;
    int64_t sent = quarter_second_ahead(&wire.clock);
    assert_int_equal(send(wire.client, request, sizeof request, 0), sizeof request);
    int64_t arrived = quarter_second_ahead(&wire.clock);
    while (quarter_second_ahead(&wire.clock) < arrived + 30000000) {
        /* the loop is busy for 30 ms */
    }
    assert_int_equal(turn_for_answer(&wire, answer, sizeof answer), NTP_PACKET_SIZE);
    assert_int_equal(ntp_packet_read(answer, NTP_PACKET_SIZE, &packet, NULL), 0);
    int64_t t2 = timefmt_utc_from_ntp(packet.receive, sent);
    assert_int_equal(time_server_get_counts(wire.server)->unstamped, unstamped);
    assert_true(t2 >= sent - 1000000 && t2 <= arrived + 1000000);
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
        cmocka_unit_test(a_wrong_address_and_a_taken_port_are_named),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
