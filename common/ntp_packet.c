/* The RFC 5905 header to octets and back, and the client's checks of an answer.
 * Must never read a clock or a socket.
 * Called by the node's time client and the base station's time server. */
#include "common/ntp_packet.h"

static void put_u32(uint8_t *bytes, uint32_t value)
{
    for (unsigned i = 0; i < 4; i++) {
        bytes[i] = (uint8_t)(value >> (24 - 8 * i));
    }
}

static void put_u64(uint8_t *bytes, uint64_t value)
{
    put_u32(bytes, (uint32_t)(value >> 32));
    put_u32(bytes + 4, (uint32_t)value);
}

static uint32_t get_u32(const uint8_t *bytes)
{
    return (uint32_t)bytes[0] << 24 | (uint32_t)bytes[1] << 16 | (uint32_t)bytes[2] << 8 | bytes[3];
}

static uint64_t get_u64(const uint8_t *bytes)
{
    return (uint64_t)get_u32(bytes) << 32 | get_u32(bytes + 4);
}

void ntp_packet_write(const struct ntp_packet *packet, uint8_t bytes[NTP_PACKET_SIZE])
{
    bytes[0] = (uint8_t)((packet->leap & 3) << 6 | (packet->version & 7) << 3 | (packet->mode & 7));
    bytes[1] = packet->stratum;
    bytes[2] = (uint8_t)packet->poll;
    bytes[3] = (uint8_t)packet->precision;
    put_u32(bytes + 4, packet->root_delay);
    put_u32(bytes + 8, packet->root_dispersion);
    put_u32(bytes + 12, packet->reference_id);
    put_u64(bytes + 16, packet->reference);
    put_u64(bytes + 24, packet->origin);
    put_u64(bytes + 32, packet->receive);
    put_u64(bytes + 40, packet->transmit);
}

int ntp_packet_read(const uint8_t *bytes, size_t length, struct ntp_packet *packet,
                    struct error *error)
{
    if (length < NTP_PACKET_SIZE) {
        return error_set(error, ERROR_FORMAT, "time packet: %zu octets, at least %d needed", length,
                         NTP_PACKET_SIZE);
    }
    uint8_t version = (uint8_t)(bytes[0] >> 3 & 7);
    if (version < 1 || version > 4) {
        return error_set(error, ERROR_VERSION, "time packet: version %u, 1 to 4 known", version);
    }
    *packet = (struct ntp_packet){
        .leap = (uint8_t)(bytes[0] >> 6),
        .version = version,
        .mode = (uint8_t)(bytes[0] & 7),
        .stratum = bytes[1],
        .poll = (int8_t)bytes[2],
        .precision = (int8_t)bytes[3],
        .root_delay = get_u32(bytes + 4),
        .root_dispersion = get_u32(bytes + 8),
        .reference_id = get_u32(bytes + 12),
        .reference = get_u64(bytes + 16),
        .origin = get_u64(bytes + 24),
        .receive = get_u64(bytes + 32),
        .transmit = get_u64(bytes + 40),
    };
    return 0;
}

int ntp_packet_check_answer(const struct ntp_packet *answer, uint64_t sent_transmit,
                            struct error *error)
{
    if (answer->mode != NTP_MODE_SERVER) {
        return error_set(error, ERROR_FORMAT, "time answer: mode %u, not a server's", answer->mode);
    }
    /* First of all others: what was not asked for says nothing, however well it looks. */
    if (answer->origin != sent_transmit) {
        return error_set(error, ERROR_FORMAT, "time answer: origin is not what was sent");
    }
    if (answer->stratum == 0) {
        return error_set(error, ERROR_STATE, "time answer: the server refuses (kiss code %08x)",
                         (unsigned)answer->reference_id);
    }
    if (answer->leap == 3 || answer->stratum > 15) {
        return error_set(error, ERROR_STATE, "time answer: the server's own clock is not set");
    }
    if (answer->transmit == 0 || answer->receive == 0) {
        return error_set(error, ERROR_FORMAT, "time answer: empty timestamp");
    }
    return 0;
}
