/* A small time server in the loop of the test, and the time client begun and ended with it.
 * Must never sleep: the loop runs until what is awaited is over. Included by the tests of the time
 * client. */
#ifndef ROOMWAKE_TESTS_UNIT_NODE_TIME_SERVER_FOR_TESTS_H
#define ROOMWAKE_TESTS_UNIT_NODE_TIME_SERVER_FOR_TESTS_H

#include "tests/unit/test.h"

#include <arpa/inet.h>
#include <unistd.h>
#include <uv.h>

#include "common/ntp_packet.h"
#include "common/timefmt.h"
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

static inline void on_sent(uv_udp_send_t *request, int status)
{
    (void)status;
    free(request);
}

static inline void answer(const struct sockaddr *to, const uint8_t *bytes)
{
    struct {
        uv_udp_send_t request;
        uint8_t bytes[NTP_PACKET_SIZE];
    } *packet = calloc(1, sizeof *packet);
    memcpy(packet->bytes, bytes, NTP_PACKET_SIZE);
    uv_buf_t buffer = uv_buf_init((char *)packet->bytes, NTP_PACKET_SIZE);
    assert_int_equal(uv_udp_send(&packet->request, &server.handle, &buffer, 1, to, on_sent), 0);
}

static inline void on_question(uv_udp_t *handle, ssize_t got, const uv_buf_t *buffer,
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

static inline void on_buffer(uv_handle_t *handle, size_t size, uv_buf_t *buffer)
{
    static char bytes[2048];
    (void)handle;
    (void)size;
    *buffer = uv_buf_init(bytes, sizeof bytes);
}

static inline void on_fit(void *context, const struct clock_fit *fit)
{
    (void)context;
    fits++;
    last_fit = *fit;
}

static inline void on_limit(uv_timer_t *timer)
{
    (void)timer;
    fail_msg("waited %d ms in vain", LIMIT_MS);
}

static inline void run_until(const int *count, int wanted)
{
    uv_update_time(&loop);
    uv_timer_start(&limit, on_limit, LIMIT_MS, 0);
    while (*count < wanted) {
        uv_run(&loop, UV_RUN_ONCE);
    }
    uv_timer_stop(&limit);
}

static inline int set_up(void **state)
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

static inline int tear_down(void **state)
{
    (void)state;
    uv_close((uv_handle_t *)&server.handle, NULL);
    uv_close((uv_handle_t *)&limit, NULL);
    uv_run(&loop, UV_RUN_DEFAULT);
    return uv_loop_close(&loop);
}

static inline struct timekeeper *begin(struct clock_source clock)
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

static inline void end(struct timekeeper *timekeeper)
{
    timekeeper_stop(timekeeper);
    for (int i = 0; i < 10; i++) {
        uv_run(&loop, UV_RUN_NOWAIT);
    }
    timekeeper_free(timekeeper);
}

/* What the fit should say now, against the very clock that the server tells. */
static inline void expect_true_fit(struct clock_source clock)
{
    int64_t node_ns = clock.mono_ns(clock.context);
    int64_t site_ns = server.clock.real_ns(server.clock.context) + OFFSET_NS;
    int64_t error_ns = clock_fit_site_ns(&last_fit, node_ns) - site_ns;
    assert_close(error_ns, 0, 3e6);
    assert_close(error_ns, 0, 5.0 * (double)clock_fit_uncertainty_ns(&last_fit, node_ns) + 1e5);
}

#endif
