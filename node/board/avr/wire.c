/* The one-wire line. Interrupts are off for 14 us a slot at the most, and never when a sample is
 * near. Must never drive the line high: the resistor does. Called by thermometer.c through hal.h.
 */
#include <avr/io.h>
#include <util/atomic.h>
#include <util/delay.h>

#include "node/board/avr/chip.h"
#include "node/board/avr/parts.h"
#include "node/board/hal.h"

#define SLOT_TICKS 40u /* a slot's 80 us and a margin */

static inline void hold_low(void)
{
    WIRE_DDR |= WIRE_BIT;
}

static inline void let_go(void)
{
    WIRE_DDR &= (uint8_t)~WIRE_BIT;
}

void wire_start(void)
{
    WIRE_PORT &= (uint8_t)~WIRE_BIT;
    let_go();
}

static uint16_t time_left(void)
{
    uint16_t left;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        left = ticks_to_sample();
    }
    return left <= REPORT_SAMPLE_TICKS ? left : 0;
}

bool hal_wire_free(void)
{
    return time_left() > SLOT_TICKS;
}

bool hal_wire_reset(void)
{
    bool answered;
    hold_low();
    _delay_us(480);
    while (!hal_wire_free()) {
    }
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        let_go();
        _delay_us(68);
        answered = !(WIRE_PIN & WIRE_BIT);
    }
    _delay_us(410);
    return answered && (WIRE_PIN & WIRE_BIT); /* a line that stays low answers nothing */
}

bool hal_wire_slot(bool bit)
{
    bool read = false;
    if (!bit) {
        hold_low();
        _delay_us(62);
        let_go();
        _delay_us(4);
        return false;
    }
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        hold_low();
        _delay_us(2);
        let_go();
        _delay_us(10);
        read = (WIRE_PIN & WIRE_BIT) != 0;
    }
    _delay_us(52);
    return read;
}
