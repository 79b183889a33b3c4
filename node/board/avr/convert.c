/* Timer 1 and the converter: a sample each 250 ticks, looks in between for the peaks, and now and
 * then the supply and the gain's pot. Must never let a slow reader delay a start. Called by
 * avr/main.c and by interrupts. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "node/board/avr/chip.h"
#include "node/board/avr/parts.h"
#include "node/board/hal.h"

#define SUPPLY_AS_REFERENCE (1u << REFS0)
#define GLANCES 6u        /* between two samples: 7 conversions of 108 us fit into a millisecond */
#define SIDE_EVERY 64u    /* samples between two readings of the supply, and of the pot */
#define SIDE_SETTLE 3u    /* conversions until another input has settled */
#define FIRST_SAMPLE 500u /* ticks after the timer's start */

static struct {
    struct sampler *sampler;
    volatile uint16_t high; /* of the ticks */
    uint8_t slot;           /* conversions since the tick: 0 is the sample */
    uint8_t number;         /* of the sample, wraps */
    bool waiting;           /* the sample was started and has not come */
    uint16_t sample_at;     /* timer's count at the sample's start */
    uint8_t since;          /* ticks from there to the start of what is converted now */
    volatile uint16_t reference;
    volatile uint16_t pot;
} state;

uint32_t ticks_now(void)
{
    uint16_t low = TCNT1;
    uint16_t high = state.high;
    if ((TIFR1 & (1u << TOV1)) && low < 0x8000u) {
        high++; /* it went over, and its interrupt has not run yet */
    }
    return (uint32_t)high << 16 | low;
}

uint16_t ticks_to_sample(void)
{
    return (uint16_t)(OCR1A - TCNT1);
}

uint32_t hal_ticks(void)
{
    uint32_t now;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        now = ticks_now();
    }
    return now;
}

uint16_t hal_reference_counts(void)
{
    uint16_t counts;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        counts = state.reference;
    }
    return counts;
}

uint16_t hal_gain_counts(void)
{
    uint16_t counts;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        counts = state.pot;
    }
    return counts;
}

static void select_input(uint8_t input)
{
    ADMUX = (uint8_t)(SUPPLY_AS_REFERENCE | input);
}

#define CONVERTER_ON (1u << ADEN | 1u << ADIE | 7u) /* 125 kHz */

static void start_more(void)
{
    state.since = (uint8_t)(TCNT1 - state.sample_at);
    ADCSRA |= 1u << ADSC;
}

void convert_start(struct sampler *sampler)
{
    state.sampler = sampler;
    DIDR0 = (uint8_t)(1u << (ADC_ANTENNA & 7u) | 1u << (ADC_POT & 7u));
    select_input(ADC_ANTENNA);
    ADCSRA = CONVERTER_ON;
    TCCR1A = 0;
    TCNT1 = 0;
    OCR1A = FIRST_SAMPLE;
    sampler->next_tick = FIRST_SAMPLE;
#ifdef BOARD_HARDWARE_TRIGGER
    OCR1B = FIRST_SAMPLE;
    ADCSRB = 5u; /* timer 1, compare B */
    ADCSRA |= 1u << ADATE;
#endif
    TIMSK1 = 1u << OCIE1A | 1u << TOIE1;
    TCCR1B = 1u << CS11 | 1u << CS10; /* 16 MHz / 64 */
}

ISR(TIMER1_OVF_vect)
{
    state.high++;
}

/* The one place where a sample's conversion is started: before any register is saved, so that the
 * way from the tick is short and always the same. With the hardware's own trigger (compare B, set
 * to the same tick) nothing is left to do here. */
ISR(TIMER1_COMPA_vect, ISR_NAKED)
{
#ifndef BOARD_HARDWARE_TRIGGER
    __asm__ volatile("push r24\n\t"
                     "ldi r24, %1\n\t"
                     "sts %0, r24\n\t"
                     "pop r24\n\t" ::"i"(_SFR_MEM_ADDR(ADCSRA)),
                     "M"(CONVERTER_ON | 1u << ADSC));
#endif
    __asm__ volatile("jmp __vector_sample_started");
}

void __vector_sample_started(void) __attribute__((signal, used, externally_visible));
void __vector_sample_started(void)
{
#ifdef BOARD_HARDWARE_TRIGGER
    OCR1B += REPORT_SAMPLE_TICKS;
    TIFR1 = 1u << OCF1B; /* or the trigger would not rise again */
#endif
    if (state.waiting) {
        sampler_miss(state.sampler);
    }
    state.waiting = true;
    state.slot = 0;
    state.number++;
    state.sample_at = OCR1A;
    OCR1A = (uint16_t)(state.sample_at + REPORT_SAMPLE_TICKS);
}

/* Readings of another input than the antenna, in the time between two samples. */
static bool side_step(uint8_t input, volatile uint16_t *out, uint16_t value)
{
    if (state.slot == 1) {
        select_input(input);
    } else if (state.slot == 1 + SIDE_SETTLE) {
        *out = value;
        select_input(ADC_ANTENNA);
        return false; /* and the rest of the millisecond to settle */
    }
    return true;
}

ISR(ADC_vect)
{
    uint16_t value = ADC;
    bool more = true;
    uint8_t turn = state.number % SIDE_EVERY;
    if (state.slot++ == 0) {
        state.waiting = false;
        sampler_take(state.sampler, value);
    } else if (turn != 0 && turn != SIDE_EVERY / 2) {
        sampler_glance(state.sampler, value, state.since);
    }
    if (turn == 0) {
        more = side_step(ADC_REFERENCE, &state.reference, value);
    } else if (turn == SIDE_EVERY / 2) {
        more = side_step(ADC_POT, &state.pot, value);
    }
    if (more && state.slot <= GLANCES) {
        start_more();
    }
}
