/* Any bytes as a time packet: a packet that spells the same octets again, or a clear error.
 * Must never be linked into a product; libFuzzer calls it. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "common/ntp_packet.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void require(int holds)
{
    if (!holds) {
        abort();
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct ntp_packet packet;
    struct error error = {0};
    if (ntp_packet_read(data, size, &packet, &error) != 0) {
        require(error.code != ERROR_NONE && error.text[0] != '\0');
        return 0;
    }
    uint8_t again[NTP_PACKET_SIZE];
    ntp_packet_write(&packet, again);
    require(size >= NTP_PACKET_SIZE && memcmp(again, data, NTP_PACKET_SIZE) == 0);
    if (ntp_packet_check_answer(&packet, packet.origin, &error) == 0) {
        require(packet.mode == NTP_MODE_SERVER && packet.stratum >= 1 && packet.stratum <= 15);
    }
    return 0;
}
