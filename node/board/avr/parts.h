/* What the files of this folder share beyond hal.h.
 * Must never be included outside node/board/avr. */
#ifndef ROOMWAKE_NODE_BOARD_AVR_PARTS_H
#define ROOMWAKE_NODE_BOARD_AVR_PARTS_H

#include <stdint.h>

#include "node/board/sample.h"

/* With interrupts off. */
uint32_t ticks_now(void);
/* Ticks until the next sample starts. */
uint16_t ticks_to_sample(void);

/* Each sets its registers up; interrupts are off. */
void convert_start(struct sampler *sampler);
void motion_start(struct sampler *sampler);
/* An edge that was caught goes to the sampler; at least every quarter second. */
void motion_look(void);
void line_start(void);
void twi_start(void);
void wire_start(void);
void sound_start(void);

#endif
