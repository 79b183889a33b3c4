/* A synthetic recording for the tests of align: chirps and claps in a room with echoes and noise,
 * by a recorder whose clock is off. Must never be included by product code. */
#ifndef ROOMWAKE_TESTS_UNIT_ALIGN_SCENE_H
#define ROOMWAKE_TESTS_UNIT_ALIGN_SCENE_H

#include <complex.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include "collector/align/chirp.h"
#include "collector/align/finder.h"

struct scene {
    double rate_hz;
    double length_s;
    double start_s; /* site time of the first sample */
    double drift_ppm;
    double noise; /* sigma; a chirp's own root mean square is 0.07 */
    const double *chirps_s;
    size_t chirp_count;
    const double *claps_s;
    size_t clap_count;
    uint64_t seed;
    uint64_t room; /* whose echoes are drawn by chance; 0: a room of ours */
};

#define SCENE_ECHOES 5

struct scene_echoes {
    double delay_s[SCENE_ECHOES];
    double gain[SCENE_ECHOES];
};

static inline double scene_gauss(uint64_t *state)
{
    /* Sum of eight uniforms of 16 bits by xorshift64*: near enough a normal one for noise, and fast
     * enough for nights. */
    int64_t sum = 0;
    for (int i = 0; i < 2; i++) {
        *state ^= *state >> 12;
        *state ^= *state << 25;
        *state ^= *state >> 27;
        uint64_t bits = *state * UINT64_C(2685821657736338717);
        sum +=
            (int64_t)((bits & 65535) + (bits >> 16 & 65535) + (bits >> 32 & 65535) + (bits >> 48));
    }
    /* Mean 4 * 65535, variance 8 * 65536^2 / 12. */
    return (double)(sum - 4 * 65535) * (1.2247448713915890 / 65536.0);
}

static inline double scene_between(uint64_t *state, double low, double high)
{
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    uint64_t bits = *state * UINT64_C(2685821657736338717);
    return low + (high - low) * (double)(bits >> 11) * 0x1p-53;
}

/* From the nearest floor or table (0.2 ms is 7 cm of way more) to the far wall, either sign. */
static inline struct scene_echoes scene_echoes_of(uint64_t room)
{
    struct scene_echoes echoes = {{0.0031, 0.0057, 0.0089, 0.0127, 0.0191},
                                  {0.45, -0.38, 0.3, 0.25, -0.2}};
    uint64_t state = room | 1;
    for (size_t i = 0; room != 0 && i < SCENE_ECHOES; i++) {
        double sign = scene_between(&state, 0, 1) < 0.5 ? -1.0 : 1.0;
        echoes.delay_s[i] = 0.0002 * pow(125.0, scene_between(&state, 0, 1));
        echoes.gain[i] = sign * scene_between(&state, 0.1, 0.45);
    }
    return echoes;
}

/* The direct sound and five weaker echoes. */
static inline double scene_chirp(const struct scene_echoes *echoes, double t_s)
{
    double sum = creal(chirp_at(t_s));
    for (size_t i = 0; i < SCENE_ECHOES; i++) {
        sum += echoes->gain[i] * creal(chirp_at(t_s - echoes->delay_s[i]));
    }
    return 0.1 * sum;
}

static inline double scene_sound(const struct scene *scene, const struct scene_echoes *echoes,
                                 double site_s)
{
    double sum = 0;
    for (size_t i = 0; i < scene->chirp_count; i++) {
        double t = site_s - scene->chirps_s[i];
        if (t > -0.01 && t < 0.6) {
            sum += scene_chirp(echoes, t);
        }
    }
    for (size_t i = 0; i < scene->clap_count; i++) {
        double t = site_s - scene->claps_s[i];
        if (t >= 0 && t < 0.1) {
            sum += 0.5 * exp(-t / 0.008) * sin(2 * 3.14159265358979 * 1700 * t);
        }
    }
    return sum;
}

static inline void scene_play(const struct scene *scene,
                              void (*take)(void *context, const float *samples, size_t count),
                              void *context)
{
    enum { PIECE = 4096 };
    float piece[PIECE];
    const struct scene_echoes echoes = scene_echoes_of(scene->room);
    uint64_t state = scene->seed;
    int64_t total = (int64_t)(scene->length_s * scene->rate_hz);
    size_t filled = 0;
    for (int64_t i = 0; i < total; i++) {
        double own_s = (double)i / scene->rate_hz;
        double site_s = scene->start_s + own_s * (1 + scene->drift_ppm * 1e-6);
        piece[filled++] =
            (float)(scene_sound(scene, &echoes, site_s) + scene->noise * scene_gauss(&state));
        if (filled == PIECE || i + 1 == total) {
            take(context, piece, filled);
            filled = 0;
        }
    }
}

#endif
