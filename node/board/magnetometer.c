/* Two register layouts behind one table: ask, wait 7 ms, read.
 * Must never hang on a part that was pulled out. Called by board.c. */
#include "node/board/magnetometer.h"

#include "node/board/hal.h"

#define WAIT_TICKS (7u * REPORT_SAMPLE_TICKS)
#define LATE_TICKS 62u /* a quarter of a millisecond: what the grid may hide */
#define DATA_BYTES 6u
#define OVERFLOW_1E (-4096)
#define REG_STATUS_0D 0x06u
#define STATUS_OVERFLOW_0D 0x02u

struct layout {
    uint8_t address;
    uint8_t id_reg;
    uint8_t id[3];
    uint8_t id_bytes;
    uint8_t setup[3][2]; /* register, value; the first two once, the last for each measurement */
    uint8_t data_reg;
};

static const struct layout layouts[] = {
    [MAGNETOMETER_1E] =
        {0x1e, 0x0a, {0x48, 0x34, 0x33}, 3, {{0x00, 0x18}, {0x01, 0x20}, {0x02, 0x01}}, 0x03},
    [MAGNETOMETER_0D] = {0x0d, 0x0d, {0xff}, 1, {{0x0b, 0x01}, {0x09, 0xcd}, {0x09, 0xcd}}, 0x00},
};

static bool answers(const struct layout *layout)
{
    uint8_t id[3];
    if (!hal_twi_read(layout->address, layout->id_reg, id, layout->id_bytes)) {
        return false;
    }
    for (uint8_t i = 0; i < layout->id_bytes; i++) {
        if (id[i] != layout->id[i]) {
            return false;
        }
    }
    return hal_twi_write(layout->address, layout->setup[0][0], layout->setup[0][1]) &&
           hal_twi_write(layout->address, layout->setup[1][0], layout->setup[1][1]);
}

void magnetometer_find(struct magnetometer *magnetometer, uint32_t now)
{
    magnetometer->part = MAGNETOMETER_NONE;
    for (enum magnetometer_part part = MAGNETOMETER_1E; part <= MAGNETOMETER_0D; part++) {
        if (answers(&layouts[part])) {
            magnetometer->part = (uint8_t)part;
            break;
        }
    }
    magnetometer->asked = false;
    magnetometer->due = now - now % MAGNETIC_TICKS + MAGNETIC_TICKS;
}

static int16_t pair(uint8_t high, uint8_t low)
{
    return (int16_t)((uint16_t)((uint16_t)high << 8) | low);
}

/* Layout 1e: x, z, y, high byte first. Layout 0d: x, y, z, low byte first. */
static void take_apart(uint8_t part, const uint8_t *bytes, struct report_magnetic *value)
{
    if (part == MAGNETOMETER_1E) {
        value->axis[0] = pair(bytes[0], bytes[1]);
        value->axis[2] = pair(bytes[2], bytes[3]);
        value->axis[1] = pair(bytes[4], bytes[5]);
    } else {
        for (uint8_t i = 0; i < 3; i++) {
            value->axis[i] = pair(bytes[2 * i + 1], bytes[2 * i]);
        }
    }
}

static bool saturated(const struct magnetometer *magnetometer, const struct report_magnetic *value)
{
    if (magnetometer->part == MAGNETOMETER_0D) {
        uint8_t status = 0;
        (void)hal_twi_read(layouts[MAGNETOMETER_0D].address, REG_STATUS_0D, &status, 1);
        return (status & STATUS_OVERFLOW_0D) != 0;
    }
    return value->axis[0] == OVERFLOW_1E || value->axis[1] == OVERFLOW_1E ||
           value->axis[2] == OVERFLOW_1E;
}

static void ask(struct magnetometer *magnetometer, uint32_t now)
{
    const struct layout *layout = &layouts[magnetometer->part];
    uint32_t late = now - magnetometer->due;
    magnetometer->asked = true;
    (void)hal_twi_write(layout->address, layout->setup[2][0], layout->setup[2][1]);
    /* A part measures for milliseconds: started this near its place on the grid, it is on it. */
    magnetometer->asked_at = late <= LATE_TICKS ? magnetometer->due : now;
    magnetometer->due += MAGNETIC_TICKS;
    if (late > MAGNETIC_TICKS) {
        magnetometer->due = now - now % MAGNETIC_TICKS + MAGNETIC_TICKS;
    }
}

bool magnetometer_turn(struct magnetometer *magnetometer, uint32_t now, uint32_t *tick,
                       struct report_magnetic *value)
{
    if (magnetometer->part == MAGNETOMETER_NONE) {
        return false;
    }
    if (!magnetometer->asked) {
        if ((int32_t)(now - magnetometer->due) >= 0) {
            ask(magnetometer, now);
        }
        return false;
    }
    if (now - magnetometer->asked_at < WAIT_TICKS) {
        return false;
    }
    const struct layout *layout = &layouts[magnetometer->part];
    uint8_t bytes[DATA_BYTES];
    magnetometer->asked = false;
    *tick = magnetometer->asked_at;
    *value = (struct report_magnetic){.status = MAGNETIC_NO_ANSWER};
    if (hal_twi_read(layout->address, layout->data_reg, bytes, DATA_BYTES)) {
        take_apart(magnetometer->part, bytes, value);
        value->status = saturated(magnetometer, value) ? MAGNETIC_SATURATED : MAGNETIC_GOOD;
    }
    return true;
}
