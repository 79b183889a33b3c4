/* The firmware's start: registers, then the loop for ever.
 * Must never use the heap, nor leave the watchdog off. Called by the chip's reset. */
#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

#include "node/board/avr/chip.h"
#include "node/board/avr/parts.h"
#include "node/board/board.h"
#include "node/board/hal.h"

#define STARTS ((uint16_t *)0) /* in the EEPROM: how often this board was started */

static struct board board;

/* Before anything else: the watchdog stays on after it has bitten. */
static uint8_t read_reset(void)
{
    uint8_t reset = MCUSR & 0x0fu;
    MCUSR = 0;
    wdt_enable(WDTO_250MS);
    return reset;
}

static uint16_t count_start(void)
{
    uint16_t starts = (uint16_t)(eeprom_read_word(STARTS) + 1u);
    eeprom_update_word(STARTS, starts);
    return starts;
}

void hal_pat_watchdog(void)
{
    wdt_reset();
}

/* An interrupt comes ten times in a millisecond. */
void hal_rest(void)
{
    sleep_cpu();
}

int main(void)
{
    uint8_t reset = read_reset();
    uint16_t starts = count_start();
    ACSR = 1u << ACD; /* the comparator is not needed */
    SMCR = 1u << SE;  /* idle: timers and converter go on */
    wire_start();
    twi_start();
    sound_start();
    line_start();
    convert_start(&board.sampler);
    motion_start(&board.sampler);
    sei();
    board_start(&board, reset, starts);
    for (;;) {
        motion_look();
        board_turn(&board);
    }
}
