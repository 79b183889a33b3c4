/* Pitch by the swing's logarithm, from 490 Hz up by about three octaves; loudness by pulse width.
 * Must never divide by zero nor exceed half a period. Called by board.c. */
#include "node/board/sound.h"

#define TOP_LOWEST 255u /* 488 Hz */
#define EIGHTHS_MAX 80u /* 8 * log2(1024) */

/* 8 * log2(swing), the fraction taken as a straight line. */
static uint8_t eighths(uint16_t swing)
{
    uint8_t whole = 0;
    uint16_t rest = swing;
    while (rest > 1u) {
        rest >>= 1;
        whole++;
    }
    uint16_t fraction = (uint16_t)((uint32_t)(swing - (1u << whole)) * 8u >> whole);
    return (uint8_t)(whole * 8u + fraction);
}

struct sound sound_of(uint16_t swing, uint8_t loudness)
{
    struct sound silent = {TOP_LOWEST, 0};
    if (loudness == 0 || swing < 2u) {
        return silent;
    }
    uint8_t level = eighths(swing > 1023u ? 1023u : swing);
    uint8_t most = loudness > SOUND_LOUDEST ? SOUND_LOUDEST : loudness;
    struct sound sound;
    sound.top = (uint8_t)(TOP_LOWEST - (uint16_t)level * 220u / EIGHTHS_MAX);
    /* At full loudness and level half the period is high, the most a square wave carries. */
    uint16_t duty =
        (uint16_t)((uint32_t)(sound.top + 1u) / 2u * level * most / (EIGHTHS_MAX * SOUND_LOUDEST));
    sound.duty = (uint8_t)(duty == 0 ? 1u : duty);
    return sound;
}
