/* Reset, convert, wait, reset, read: a table of what is sent and a count of bits.
 * Must never block longer than one slot. Called by board.c. */
#include "node/board/thermometer.h"

#include "node/board/hal.h"

#define SKIP_ROM 0xccu
#define CONVERT 0x44u
#define READ_SCRATCHPAD 0xbeu
#define COMMAND_BITS 16u
#define READ_BITS (8u * THERMOMETER_BYTES)
#define CONVERT_TICKS (REPORT_TICK_HZ / 100u * 80u) /* 12 bits take 750 ms at most */
#define PERIOD_TICKS REPORT_TICK_HZ
#define POWER_ON_SIXTEENTHS (85 * 16)

enum stage {
    STAGE_RESET,
    STAGE_CONVERT,
    STAGE_WAIT,
    STAGE_RESET_AGAIN,
    STAGE_ASK,
    STAGE_READ,
    STAGE_PAUSE
};

uint8_t thermometer_crc(const uint8_t *bytes, uint8_t length)
{
    uint8_t crc = 0;
    for (uint8_t i = 0; i < length; i++) {
        crc ^= bytes[i];
        for (uint8_t bit = 0; bit < 8; bit++) {
            crc = (uint8_t)((crc & 1u) ? (crc >> 1) ^ 0x8cu : crc >> 1);
        }
    }
    return crc;
}

static void go(struct thermometer *thermometer, enum stage stage)
{
    thermometer->stage = (uint8_t)stage;
    thermometer->step = 0;
}

/* One bit of "skip rom" and `command`, lowest first; true once all are sent. */
static bool send_bit(struct thermometer *thermometer, uint8_t command)
{
    unsigned both = SKIP_ROM | (unsigned)command << 8;
    (void)hal_wire_slot(((both >> thermometer->step) & 1u) != 0);
    return ++thermometer->step == COMMAND_BITS;
}

static bool read_bit(struct thermometer *thermometer)
{
    uint8_t *byte = &thermometer->bytes[thermometer->step / 8u];
    *byte = (uint8_t)(*byte >> 1 | (hal_wire_slot(true) ? 0x80u : 0u));
    return ++thermometer->step == READ_BITS;
}

static void judge(const struct thermometer *thermometer, struct report_temperature *value)
{
    const uint8_t *bytes = thermometer->bytes;
    value->sixteenths = (int16_t)(bytes[0] | (uint16_t)((uint16_t)bytes[1] << 8));
    value->status = TEMPERATURE_GOOD;
    if (thermometer_crc(bytes, THERMOMETER_BYTES - 1u) != bytes[THERMOMETER_BYTES - 1u]) {
        value->status = TEMPERATURE_BAD_CRC;
    } else if (value->sixteenths == POWER_ON_SIXTEENTHS) {
        value->status = TEMPERATURE_NOT_CONVERTED;
    }
}

static bool tell_absent(struct thermometer *thermometer, struct report_temperature *value)
{
    go(thermometer, STAGE_PAUSE);
    *value = (struct report_temperature){.status = TEMPERATURE_ABSENT};
    return thermometer->seen; /* one that was never there says nothing */
}

bool thermometer_turn(struct thermometer *thermometer, uint32_t now, uint32_t *tick,
                      struct report_temperature *value)
{
    uint32_t since = now - thermometer->started_at;
    *tick = thermometer->started_at;
    switch ((enum stage)thermometer->stage) {
    case STAGE_RESET:
        thermometer->started_at = *tick = now;
        if (!hal_wire_reset()) {
            return tell_absent(thermometer, value);
        }
        go(thermometer, STAGE_CONVERT);
        return false;
    case STAGE_CONVERT:
        if (send_bit(thermometer, CONVERT)) {
            go(thermometer, STAGE_WAIT);
        }
        return false;
    case STAGE_WAIT:
        if (since >= CONVERT_TICKS) {
            go(thermometer, STAGE_RESET_AGAIN);
        }
        return false;
    case STAGE_RESET_AGAIN:
        if (!hal_wire_reset()) {
            return tell_absent(thermometer, value);
        }
        go(thermometer, STAGE_ASK);
        return false;
    case STAGE_ASK:
        if (send_bit(thermometer, READ_SCRATCHPAD)) {
            go(thermometer, STAGE_READ);
        }
        return false;
    case STAGE_READ:
        if (!read_bit(thermometer)) {
            return false;
        }
        thermometer->seen = true;
        *tick = now; /* a package answers seconds late: nearer than its reading is not known */
        go(thermometer, STAGE_PAUSE);
        judge(thermometer, value);
        return true;
    case STAGE_PAUSE:
        if (since >= PERIOD_TICKS) {
            go(thermometer, STAGE_RESET);
        }
        return false;
    }
    return false;
}
