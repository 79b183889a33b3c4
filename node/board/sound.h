/* The antenna's level as a tone: the higher, the stronger. Freestanding, pure.
 * Must never sound unless it was told to: loudness 0 is what a board starts with. */
#ifndef ROOMWAKE_NODE_BOARD_SOUND_H
#define ROOMWAKE_NODE_BOARD_SOUND_H

#include <stdint.h>

/* For hal_tone. */
struct sound {
    uint8_t top;
    uint8_t duty;
};

#define SOUND_LOUDEST 15u

/* `swing`: highest minus lowest conversion of a frame, 0 to 1023. loudness: 0 to SOUND_LOUDEST,
 * the most that the strongest swing may take. */
struct sound sound_of(uint16_t swing, uint8_t loudness);

#endif
