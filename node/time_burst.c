/* Questions and answers of one burst: RFC 5905 client mode, with a random cookie for a timestamp.
 * Must never read a clock or touch a socket. Called by timekeeper.c. */
#include "node/time_burst.h"

#include "common/log.h"
#include "common/timefmt.h"

/* A wall clock outside these years says nothing about the NTP era. */
#define REAL_LEAST_NS INT64_C(1577836800000000000) /* 2020 */
#define REAL_MOST_NS INT64_C(3786912000000000000)  /* 2090 */
#define REAL_ELSE_NS INT64_C(1767225600000000000)  /* 2026 */
#define REFERENCE_LOCL 0x4C4F434Cu /* "LOCL": a free-running local clock (RFC 5905 sec. 7.3) */

void time_burst_ask(struct time_burst *burst, uint64_t cookie, uint8_t bytes[NTP_PACKET_SIZE])
{
    struct ntp_packet packet = {.version = 4, .mode = NTP_MODE_CLIENT, .transmit = cookie};
    burst->requests[burst->sent] = (struct time_request){.cookie = cookie};
    ntp_packet_write(&packet, bytes);
}

void time_burst_set_sent(struct time_burst *burst, int64_t t1_ns)
{
    burst->requests[burst->sent++].t1_ns = t1_ns;
}

static struct time_request *find_request(struct time_burst *burst, uint64_t origin)
{
    for (int i = 0; i < burst->sent; i++) {
        if (!burst->requests[i].answered && burst->requests[i].cookie == origin) {
            return &burst->requests[i];
        }
    }
    return NULL;
}

/* A clock that follows another one (any other reference) is set all the time. Answers from before a
 * change are of another clock. */
static void note_clock_set(struct time_burst *burst, const struct ntp_packet *packet)
{
    if (packet->reference_id != REFERENCE_LOCL) {
        return;
    }
    if (burst->clock_set != 0 && burst->clock_set != packet->reference) {
        burst->answered = 0;
    }
    burst->clock_set = packet->reference;
}

bool time_burst_answer(struct time_burst *burst, const uint8_t *bytes, size_t length, int64_t t4_ns,
                       int64_t near_ns)
{
    struct ntp_packet packet;
    struct error error;
    if (ntp_packet_read(bytes, length, &packet, NULL)) {
        return false;
    }
    struct time_request *request = find_request(burst, packet.origin);
    if (!request) {
        return false;
    }
    if (ntp_packet_check_answer(&packet, request->cookie, &error)) {
        log_debug("time server: %s", error.text);
        burst->refused |= packet.mode == NTP_MODE_SERVER && packet.stratum == 0;
        return false;
    }
    if (near_ns < REAL_LEAST_NS || near_ns > REAL_MOST_NS) {
        near_ns = REAL_ELSE_NS;
    }
    request->answered = true;
    note_clock_set(burst, &packet);
    burst->exchanges[burst->answered++] =
        (struct clock_exchange){.t1_ns = request->t1_ns,
                                .t2_ns = timefmt_utc_from_ntp(packet.receive, near_ns),
                                .t3_ns = timefmt_utc_from_ntp(packet.transmit, near_ns),
                                .t4_ns = t4_ns};
    return true;
}

int64_t time_burst_round_trip_ns(const struct time_burst *burst)
{
    int64_t least = -1;
    for (int i = 0; i < burst->answered; i++) {
        int64_t delay = clock_exchange_delay_ns(&burst->exchanges[i]);
        if (delay >= 0 && (least < 0 || delay < least)) {
            least = delay;
        }
    }
    return least;
}
