/* One request's bytes -> one answer's bytes (RFC 5905 (2010) sec. 7.3, 9.2). Pure.
 * Must never answer anything but mode 3. Used by the time server. */
#ifndef ROOMWAKE_COLLECTOR_INGEST_TIME_ANSWER_H
#define ROOMWAKE_COLLECTOR_INGEST_TIME_ANSWER_H

#include <stddef.h>
#include <stdint.h>

#include "common/ntp_packet.h"

/* With a key and a digest of 64 octets; what is longer is no client of ours. */
#define TIME_REQUEST_MAX (NTP_PACKET_SIZE + 4 + 64)

/* Times are site time. */
struct time_answer_settings {
    int64_t started_ns;
    int64_t root_dispersion_ns;
};

/* 0: `answer` holds all but the transmit time. -1: not to be answered. */
int time_answer_make(const struct time_answer_settings *settings, const uint8_t *request,
                     size_t length, int64_t received_ns, uint8_t answer[NTP_PACKET_SIZE]);
/* "Slow down": kiss code RATE (RFC 5905 sec. 7.4), without any time in it. -1 as above. */
int time_answer_refuse(const uint8_t *request, size_t length, uint8_t answer[NTP_PACKET_SIZE]);
/* Writes the transmit time: the last thing before it is sent. */
void time_answer_stamp(uint8_t answer[NTP_PACKET_SIZE], int64_t now_ns);

#endif
