/* The motion pin's edges, the gain's three pins, the tone's timer.
 * Must never sound after a reset. Called by board.c through hal.h and by avr/main.c. */
#include <avr/io.h>
#include <util/atomic.h>

#include "node/board/avr/chip.h"
#include "node/board/avr/parts.h"
#include "node/board/hal.h"

static struct {
    struct sampler *sampler;
    bool odd; /* the pin stood otherwise at the last look, with no edge caught */
} edges;

bool hal_motion(void)
{
    return (MOTION_PIN & MOTION_BIT) != 0;
}

/* The next capture is of the edge that leaves this level. */
static void await_edge_from(bool level)
{
    uint8_t rest = (uint8_t)(TCCR1B & ~(1u << ICES1));
    TCCR1B = (uint8_t)(rest | (level ? 0u : 1u << ICES1));
    TIFR1 = 1u << ICF1; /* choosing the edge may look like one */
}

void motion_start(struct sampler *sampler)
{
    bool level = hal_motion();
    edges.sampler = sampler;
    TCCR1B |= 1u << ICNC1;
    sampler_edge(sampler, ticks_now(), level); /* how it stands now */
    await_edge_from(level);
}

/* The timer caught the edge's count in hardware: exact, if it is looked at within a quarter second.
 * An interrupt of its own would only make samples wait. */
void motion_look(void)
{
    bool level = (TCCR1B & (1u << ICES1)) != 0; /* that is awaited */
    bool caught = (TIFR1 & (1u << ICF1)) != 0;
    uint16_t count;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        count = ICR1; /* read in two halves that belong together */
    }
    uint32_t now = hal_ticks();
    uint32_t at = caught ? now - (uint16_t)((uint16_t)now - count) : now;
    bool stands = hal_motion();
    if (!caught) { /* one that came while it was chosen what to await shows by how the pin stands */
        bool missed = stands == level && edges.odd;
        edges.odd = stands == level;
        if (!missed) {
            return;
        }
    }
    edges.odd = false;
    sampler_edge(edges.sampler, at, level);
    if (stands != level) { /* it went back already */
        sampler_edge(edges.sampler, now, stands);
    }
    await_edge_from(stands);
}

void hal_set_gain(uint8_t step)
{
    uint8_t mask = (uint8_t)(7u << GAIN_SHIFT);
    uint8_t bits = (uint8_t)((step & 7u) << GAIN_SHIFT);
    if (step > 7u) {
        GAIN_DDR &= (uint8_t)~mask; /* the pins are free: a switch of resistors may sit there */
        GAIN_PORT &= (uint8_t)~mask;
        return;
    }
    GAIN_PORT = (uint8_t)((GAIN_PORT & ~mask) | bits);
    GAIN_DDR |= mask;
}

#if defined(__AVR_ATmega328P__)

void sound_start(void)
{
    TCCR2B = 1u << WGM22 | 1u << CS22 | 1u << CS20; /* 16 MHz / 128; top is OCR2A */
    DDRD |= 1u << PD3;
}

void hal_tone(uint8_t top, uint8_t duty)
{
    if (duty == 0) {
        TCCR2A = 1u << WGM21 | 1u << WGM20;
        return;
    }
    OCR2A = top;
    OCR2B = (uint8_t)(duty - 1u);
    TCCR2A = 1u << COM2B1 | 1u << WGM21 | 1u << WGM20;
}

#else

void sound_start(void)
{
    TCCR3B = 1u << WGM33 | 1u << WGM32 | 1u << CS31 | 1u << CS30; /* 16 MHz / 64; top is ICR3 */
    DDRC |= 1u << PC6;
}

void hal_tone(uint8_t top, uint8_t duty)
{
    if (duty == 0) {
        TCCR3A = 1u << WGM31;
        return;
    }
    ICR3 = (uint16_t)(2u * top + 1u);
    OCR3A = (uint16_t)(2u * duty - 1u);
    TCCR3A = 1u << COM3A1 | 1u << WGM31;
}

#endif
