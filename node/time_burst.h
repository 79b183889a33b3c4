/* One burst of questions to the time server, and the answers that belong to it.
 * Must never take an answer twice, or one it did not ask for. Used by timekeeper.c. */
#ifndef ROOMWAKE_NODE_TIME_BURST_H
#define ROOMWAKE_NODE_TIME_BURST_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/clock_fit.h"
#include "common/ntp_packet.h"

#define TIME_BURST_MAX 16

struct time_request {
    uint64_t cookie; /* random; sent as the transmit timestamp, comes back as the origin */
    int64_t t1_ns;
    bool answered;
};

/* Caller-owned; start from {0}. */
struct time_burst {
    struct time_request requests[TIME_BURST_MAX];
    int sent;
    struct clock_exchange exchanges[TIME_BURST_MAX];
    int answered;
    bool refused;       /* the server asked for fewer questions (kiss code) */
    uint64_t clock_set; /* NTP time at which a free-running server set its clock; 0: not told */
};

/* Writes the next question. The caller sends it at once; t1_ns is the node's clock right before. */
void time_burst_ask(struct time_burst *burst, uint64_t cookie, uint8_t bytes[NTP_PACKET_SIZE]);
void time_burst_set_sent(struct time_burst *burst, int64_t t1_ns);
/* Any datagram from the server; t4_ns is the node's clock right after it came. near_ns picks the
 * NTP era; what no clock can say (before 2020, after 2090) is replaced by 2026. Returns whether it
 * was an answer. */
bool time_burst_answer(struct time_burst *burst, const uint8_t *bytes, size_t length, int64_t t4_ns,
                       int64_t near_ns);
/* The least delay of the exchanges; -1 where there is none. */
int64_t time_burst_round_trip_ns(const struct time_burst *burst);

#endif
