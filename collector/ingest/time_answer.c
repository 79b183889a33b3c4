/* What the time server says: its own stamps, the client's echoed, and how far it may be off UTC.
 * Must never claim to be better than a free-running clock.
 * Called by the time server. */
#include "collector/ingest/time_answer.h"

#include "collector/ingest/time_server.h"
#include "common/clock.h"
#include "common/timefmt.h"

#define REFERENCE_LOCL 0x4C4F434Cu /* "LOCL": an undisciplined local clock */
#define KISS_RATE 0x52415445u      /* "RATE" */
#define LEAP_UNKNOWN 3
#define PRECISION_LOG2_S (-20) /* about a microsecond */
#define TRANSMIT_AT 40
#define LEAST_VERSION 3

/* 16.16 seconds, rounded up, held at the field's end. */
static uint32_t short_from_ns(int64_t ns)
{
    if (ns <= 0) {
        return 0;
    }
    uint64_t seconds = (uint64_t)ns / (uint64_t)NS_PER_S;
    uint64_t rest = (uint64_t)ns % (uint64_t)NS_PER_S;
    if (seconds >= 0xFFFF) {
        return UINT32_MAX;
    }
    uint64_t fraction = ((rest << 16) + (uint64_t)NS_PER_S - 1) / (uint64_t)NS_PER_S;
    return (uint32_t)((seconds << 16) + fraction);
}

static int64_t dispersion_ns(const struct time_answer_settings *settings, int64_t now_ns)
{
    int64_t age_ns = now_ns > settings->started_ns ? now_ns - settings->started_ns : 0;
    return settings->root_dispersion_ns + age_ns / NS_PER_S * TIME_SERVER_PHI_PPB;
}

static int read_request(const uint8_t *request, size_t length, struct ntp_packet *asked)
{
    if (length > TIME_REQUEST_MAX || ntp_packet_read(request, length, asked, NULL) != 0 ||
        asked->mode != NTP_MODE_CLIENT || asked->version < LEAST_VERSION) {
        return -1;
    }
    return 0;
}

int time_answer_make(const struct time_answer_settings *settings, const uint8_t *request,
                     size_t length, int64_t received_ns, uint8_t answer[NTP_PACKET_SIZE])
{
    struct ntp_packet asked;
    if (read_request(request, length, &asked) != 0) {
        return -1;
    }
    const struct ntp_packet packet = {
        .leap = 0,
        .version = asked.version,
        .mode = NTP_MODE_SERVER,
        .stratum = TIME_SERVER_STRATUM,
        .poll = asked.poll,
        .precision = PRECISION_LOG2_S,
        .root_delay = 0,
        .root_dispersion = short_from_ns(dispersion_ns(settings, received_ns)),
        .reference_id = REFERENCE_LOCL,
        .reference = timefmt_ntp_from_utc(settings->started_ns),
        .origin = asked.transmit,
        .receive = timefmt_ntp_from_utc(received_ns),
    };
    ntp_packet_write(&packet, answer);
    return 0;
}

int time_answer_refuse(const uint8_t *request, size_t length, uint8_t answer[NTP_PACKET_SIZE])
{
    struct ntp_packet asked;
    if (read_request(request, length, &asked) != 0) {
        return -1;
    }
    const struct ntp_packet packet = {
        .leap = LEAP_UNKNOWN,
        .version = asked.version,
        .mode = NTP_MODE_SERVER,
        .poll = asked.poll,
        .precision = PRECISION_LOG2_S,
        .reference_id = KISS_RATE,
        .origin = asked.transmit,
        .receive = asked.transmit,
        .transmit = asked.transmit,
    };
    ntp_packet_write(&packet, answer);
    return 0;
}

void time_answer_stamp(uint8_t answer[NTP_PACKET_SIZE], int64_t now_ns)
{
    uint64_t transmit = timefmt_ntp_from_utc(now_ns);
    for (int i = 0; i < 8; i++) {
        answer[TRANSMIT_AT + i] = (uint8_t)(transmit >> (56 - 8 * i));
    }
}
