/* The I2C bus as its one master: eight bytes take 0.2 ms, and the interrupts go on.
 * Must never hang where a part holds the bus. Called by magnetometer.c through hal.h. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/twi.h>

#include "node/board/avr/parts.h"
#include "node/board/hal.h"

#define DIVIDER 12u      /* 16 MHz to 400 kHz */
#define LIMIT_TICKS 500u /* 2 ms */

void twi_start(void)
{
    TWSR = 0;
    TWBR = DIVIDER;
    TWCR = 1u << TWEN;
}

static volatile bool bus_done;

ISR(TWI_vect)
{
    TWCR = 1u << TWEN; /* the flag stays, and with it the bus, until the next step */
    bus_done = true;
}

/* Starts what `control` says and waits for the bus; its status, 0 where it never came. */
static uint8_t step(uint8_t control, uint32_t started)
{
    bus_done = false;
    TWCR = (uint8_t)(1u << TWINT | 1u << TWEN | 1u << TWIE | control);
    while (!bus_done) {
        if (hal_ticks() - started > LIMIT_TICKS) {
            return 0;
        }
    }
    return TWSR & TW_STATUS_MASK;
}

/* An address or a byte, and whether it was acknowledged. The simulator gives the status of a byte
 * for an address too. */
static bool put(uint8_t byte, uint32_t started)
{
    TWDR = byte;
    uint8_t status = step(0, started);
    return status == TW_MT_SLA_ACK || status == TW_MT_DATA_ACK;
}

static bool choose(uint8_t address, uint8_t reg, uint32_t started)
{
    return step(1u << TWSTA, started) == TW_START && put((uint8_t)(address << 1), started) &&
           put(reg, started);
}

static bool choose_again(uint8_t address, uint32_t started)
{
    if (step(1u << TWSTA, started) != TW_REP_START) {
        return false;
    }
    TWDR = (uint8_t)((uint8_t)(address << 1) | 1u);
    return step(0, started) == TW_MR_SLA_ACK;
}

/* After a failure the bus is let go, whoever holds it. */
static bool stop(bool good)
{
    TWCR = 1u << TWINT | 1u << TWEN | 1u << TWSTO;
    if (!good) {
        TWCR = 0;
        TWCR = 1u << TWEN;
    }
    return good;
}

bool hal_twi_write(uint8_t address, uint8_t reg, uint8_t value)
{
    uint32_t started = hal_ticks();
    return stop(choose(address, reg, started) && put(value, started));
}

bool hal_twi_read(uint8_t address, uint8_t reg, uint8_t *bytes, uint8_t length)
{
    uint32_t started = hal_ticks();
    bool good = choose(address, reg, started) && choose_again(address, started);
    for (uint8_t i = 0; good && i < length; i++) {
        bool last = i + 1u == length;
        good = step(last ? 0 : 1u << TWEA, started) == (last ? TW_MR_DATA_NACK : TW_MR_DATA_ACK);
        bytes[i] = TWDR;
    }
    return stop(good);
}
