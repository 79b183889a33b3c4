/* The serial line, 500000 baud: a ring each way, both behind interrupts.
 * Must never wait for the line. Called by board.c through hal.h and by interrupts. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "node/board/avr/chip.h"
#include "node/board/avr/parts.h"
#include "node/board/hal.h"

#define BAUD_DIVIDER 3u /* 16 MHz / 8 / (3 + 1) */
#define IN_SIZE 16u
#define OUT_SIZE 256u /* the index wraps by itself */

static struct {
    uint8_t out[OUT_SIZE];
    volatile uint8_t out_in;
    volatile uint8_t out_out;
    struct {
        uint8_t byte;
        uint16_t tick; /* its low half: a byte waits for milliseconds, not for a quarter second */
    } in[IN_SIZE];
    volatile uint8_t in_in;
    volatile uint8_t in_out;
} line;

void line_start(void)
{
    LINE_BAUD = BAUD_DIVIDER;
    LINE_STATUS = LINE_DOUBLE;
    LINE_FORMAT();
    LINE_CONTROL = LINE_ENABLE;
}

/* A sample must not wait for a byte on the line: each of the two interrupts turns itself alone off,
 * and all others are on again after 26 cycles. */
#define LET_OTHERS_IN(own, handler)                                                                \
    __asm__ volatile("push r24\n\t"                                                                \
                     "in r24, __SREG__\n\t"                                                        \
                     "push r24\n\t"                                                                \
                     "lds r24, %0\n\t"                                                             \
                     "andi r24, %1\n\t"                                                            \
                     "sts %0, r24\n\t"                                                             \
                     "pop r24\n\t"                                                                 \
                     "out __SREG__, r24\n\t"                                                       \
                     "pop r24\n\t"                                                                 \
                     "sei\n\t"                                                                     \
                     "jmp " handler ::"i"(_SFR_MEM_ADDR(LINE_CONTROL)),                            \
                     "i"((int)(0xffu & ~(own))))

/* And on again, before its registers are restored: the next byte is a long way off. */
static inline void turn_on(uint8_t own)
{
    cli();
    LINE_CONTROL |= own;
    sei();
}

ISR(LINE_EMPTY_VECTOR, ISR_NAKED)
{
    LET_OTHERS_IN(LINE_EMPTY_INTERRUPT, "__vector_line_empty");
}

void __vector_line_empty(void) __attribute__((signal, used, externally_visible));
void __vector_line_empty(void)
{
    uint8_t at = line.out_out;
    LINE_DATA = line.out[at++];
    line.out_out = at;
    if (at != line.out_in) {
        turn_on(LINE_EMPTY_INTERRUPT);
    }
}

ISR(LINE_RECEIVED_VECTOR, ISR_NAKED)
{
    LET_OTHERS_IN(LINE_RECEIVED_INTERRUPT, "__vector_line_received");
}

void __vector_line_received(void) __attribute__((signal, used, externally_visible));
void __vector_line_received(void)
{
    uint8_t byte = LINE_DATA;
    uint8_t at = line.in_in;
    cli();
    uint16_t tick = TCNT1; /* read in two halves that belong together */
    sei();
    if ((uint8_t)(at - line.in_out) < IN_SIZE) {
        line.in[at % IN_SIZE].byte = byte;
        line.in[at % IN_SIZE].tick = tick;
        line.in_in = (uint8_t)(at + 1u);
    }
    turn_on(LINE_RECEIVED_INTERRUPT);
}

bool hal_send(const uint8_t *bytes, uint8_t length)
{
    uint8_t used = (uint8_t)(line.out_in - line.out_out);
    uint8_t room = (uint8_t)(OUT_SIZE - 1u - used);
    if (length > room) {
        return false;
    }
    uint8_t at = line.out_in;
    for (uint8_t i = 0; i < length; i++) {
        line.out[at++] = bytes[i];
    }
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        line.out_in = at;
        LINE_CONTROL |= LINE_EMPTY_INTERRUPT;
    }
    return true;
}

bool hal_receive(uint8_t *byte, uint32_t *tick)
{
    uint8_t at = line.in_out;
    if (at == line.in_in) {
        return false;
    }
    *byte = line.in[at % IN_SIZE].byte;
    uint32_t now = hal_ticks();
    *tick = now - (uint16_t)((uint16_t)now - line.in[at % IN_SIZE].tick);
    line.in_out = (uint8_t)(at + 1u);
    return true;
}
