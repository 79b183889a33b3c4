/* The 48-octet header of RFC 5905 (2010) sec. 7.3, as bytes and as a struct. Bytes only: must never
 * read a clock or decide what to answer. */
#ifndef ROOMWAKE_COMMON_NTP_PACKET_H
#define ROOMWAKE_COMMON_NTP_PACKET_H

#include <stddef.h>
#include <stdint.h>

#include "common/error.h"

#define NTP_PACKET_SIZE 48

enum ntp_mode { NTP_MODE_CLIENT = 3, NTP_MODE_SERVER = 4 };

/* All multi-byte fields in host order. Timestamps are NTP 32.32 (see timefmt.h). */
struct ntp_packet {
    uint8_t leap;    /* 0..3; 3 is unsynchronised */
    uint8_t version; /* 1..4 taken */
    uint8_t mode;
    uint8_t stratum;
    int8_t poll;
    int8_t precision;
    uint32_t root_delay;      /* 16.16 s */
    uint32_t root_dispersion; /* 16.16 s */
    uint32_t reference_id;
    uint64_t reference;
    uint64_t origin;
    uint64_t receive;
    uint64_t transmit;
};

void ntp_packet_write(const struct ntp_packet *packet, uint8_t bytes[NTP_PACKET_SIZE]);
/* -1 for fewer than 48 octets or version 0 or above 4; what follows the header is ignored. */
int ntp_packet_read(const uint8_t *bytes, size_t length, struct ntp_packet *packet,
                    struct error *error);

/* What a client must check of an answer (RFC 4330 sec. 5): mode 4, origin as sent, not
 * unsynchronised, stratum 1..15, transmit not zero. -1 with the reason. */
int ntp_packet_check_answer(const struct ntp_packet *answer, uint64_t sent_transmit,
                            struct error *error);

#endif
