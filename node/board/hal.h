/* What the portable part of the firmware asks of a chip: each chip's folder defines these, a test
 * defines its own. Must never be called from the host's programs. Called by board.c and by the
 * sensors' files. */
#ifndef ROOMWAKE_NODE_BOARD_HAL_H
#define ROOMWAKE_NODE_BOARD_HAL_H

#include <stdbool.h>
#include <stdint.h>

/* The timer that also paces the samples, REPORT_TICK_HZ; wraps. */
uint32_t hal_ticks(void);

/* Puts all bytes into the line's buffer, or none where there is no room. */
bool hal_send(const uint8_t *bytes, uint8_t length);
/* The next byte that came and when it came; false: none. */
bool hal_receive(uint8_t *byte, uint32_t *tick);

/* Registers of a part on the I2C bus; false: no answer. Waits for the bus, at most 2 ms. */
bool hal_twi_write(uint8_t address, uint8_t reg, uint8_t value);
bool hal_twi_read(uint8_t address, uint8_t reg, uint8_t *bytes, uint8_t length);

/* One-wire line. hal_wire_free: the next millisecond's sample is far enough away for one call. */
bool hal_wire_free(void);
/* true: something answered the reset. */
bool hal_wire_reset(void);
/* Writes a bit; a one also reads: the bit that the part holds against it. */
bool hal_wire_slot(bool bit);

/* How the motion pin stands. */
bool hal_motion(void);

/* The newest reading of the reference against the supply, and of the gain's pot. */
uint16_t hal_reference_counts(void);
uint16_t hal_gain_counts(void);
/* Sets the three pins that choose the gain's resistor; 255 leaves it to the pot. */
void hal_set_gain(uint8_t step);

/* A tone of 125 kHz / (top + 1), `duty` of (top + 1) high; duty 0 is silence. */
void hal_tone(uint8_t top, uint8_t duty);

void hal_pat_watchdog(void);
/* Rests until an interrupt. */
void hal_rest(void);

#endif
