/* Draws which windows are asked in, in what order, after what rests, from a seed that is bound
 * before the start. Must never depend on anything but seed and plan. Called by ask and score. */
#ifndef ROOMWAKE_COLLECTOR_QUESTIONS_DRAW_H
#define ROOMWAKE_COLLECTOR_QUESTIONS_DRAW_H

#include <stddef.h>
#include <stdint.h>

#include "collector/questions/plan.h"

#define DRAW_SEED_SIZE 32
#define DRAW_HEX_SIZE (2 * DRAW_SEED_SIZE + 1)
#define DRAW_WINDOWS_MAX ((size_t)2 * PLAN_QUESTIONS_MAX)

struct draw_window {
    bool asked;
    size_t
        question;  /* of a control window: the question whose pattern and answer it is scored by */
    double rest_s; /* before it */
};

void draw_seed(uint8_t seed[DRAW_SEED_SIZE]);
void draw_hex(const uint8_t bytes[DRAW_SEED_SIZE], char hex[DRAW_HEX_SIZE]);
/* -1 where it is not 64 hex digits. */
int draw_from_hex(const char *hex, uint8_t bytes[DRAW_SEED_SIZE]);
/* SHA-256 over "roomwake questions 1", a zero octet, the seed and the plan's text: stored before
 * the start, so that nobody can look for a seed that suits. */
void draw_bind(const uint8_t seed[DRAW_SEED_SIZE], const char *plan_text, size_t length,
               uint8_t bound[DRAW_SEED_SIZE]);
/* `windows` has room for twice the plan's questions; the same seed and plan give the same. Every
 * order of the windows is as probable: a shuffle by Fisher and Yates (as in Knuth, The Art of
 * Computer Programming vol. 2, 3.4.2, algorithm P), over ChaCha20's stream (libsodium). */
void draw_windows(const uint8_t seed[DRAW_SEED_SIZE], const struct question_plan *plan,
                  struct draw_window *windows);

#endif
