/* A chip that is plain memory, for the firmware's portable part.
 * Must never be included by more than one file of a program. */
#ifndef ROOMWAKE_TESTS_UNIT_BOARD_HAL_FOR_TESTS_H
#define ROOMWAKE_TESTS_UNIT_BOARD_HAL_FOR_TESTS_H

#include <string.h>

#include "node/board/hal.h"

static struct {
    uint32_t ticks;
    uint8_t sent[4096];
    size_t sent_length;
    bool line_full;
    uint8_t received[64];
    size_t received_length;
    size_t received_at;
    bool twi_answers;
    uint8_t twi_address; /* of the part that is there; 0: 0x1e */
    uint8_t twi[16];
    bool wire_answers;
    uint8_t wire_bits[88]; /* what is read after the second command */
    size_t wire_slots;
    uint8_t tone_duty;
    uint8_t gain;
    uint16_t pot;
    bool motion;
    unsigned pats;
} chip;

uint32_t hal_ticks(void)
{
    return chip.ticks;
}

bool hal_send(const uint8_t *bytes, uint8_t length)
{
    if (chip.line_full || chip.sent_length + length > sizeof chip.sent) {
        return false;
    }
    memcpy(chip.sent + chip.sent_length, bytes, length);
    chip.sent_length += length;
    return true;
}

bool hal_receive(uint8_t *byte, uint32_t *tick)
{
    *tick = chip.ticks - 5;
    if (chip.received_at == chip.received_length) {
        return false;
    }
    *byte = chip.received[chip.received_at++];
    return true;
}

bool hal_twi_write(uint8_t address, uint8_t reg, uint8_t value)
{
    (void)address;
    chip.twi[reg & 15u] = value;
    return chip.twi_answers;
}

bool hal_twi_read(uint8_t address, uint8_t reg, uint8_t *bytes, uint8_t length)
{
    for (uint8_t i = 0; i < length; i++) {
        bytes[i] = chip.twi[(reg + i) & 15u];
    }
    return chip.twi_answers && address == (chip.twi_address ? chip.twi_address : 0x1e);
}

bool hal_wire_free(void)
{
    return true;
}

bool hal_wire_reset(void)
{
    chip.wire_slots = 0;
    return chip.wire_answers;
}

bool hal_wire_slot(bool bit)
{
    size_t slot = chip.wire_slots++;
    (void)bit;
    return slot < 16 || slot - 16 >= sizeof chip.wire_bits || chip.wire_bits[slot - 16] != 0;
}

bool hal_motion(void)
{
    return chip.motion;
}

uint16_t hal_reference_counts(void)
{
    return 225;
}

uint16_t hal_gain_counts(void)
{
    return chip.pot;
}

void hal_set_gain(uint8_t step)
{
    chip.gain = step;
}

void hal_tone(uint8_t top, uint8_t duty)
{
    (void)top;
    chip.tone_duty = duty;
}

void hal_pat_watchdog(void)
{
    chip.pats++;
}

void hal_rest(void)
{
}

#endif
