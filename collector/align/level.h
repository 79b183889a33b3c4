/* A recording's level over time: loudness and short-time peak, ten times a second.
 * Must never hold more than what is between two values. Called by record/align. */
#ifndef ROOMWAKE_COLLECTOR_ALIGN_LEVEL_H
#define ROOMWAKE_COLLECTOR_ALIGN_LEVEL_H

#include <stddef.h>

#include "common/error.h"

#define LEVEL_RATE_HZ 10

struct level;
/* At the end of each tenth of a second: momentary loudness by ITU-R BS.1770-4 (400 ms, ungated,
 * through libebur128) in dB relative to full scale (LKFS), not below LEVEL_FLOOR_DB, and the
 * largest sample of any channel in that tenth in dB of full scale, not below it either. */
#define LEVEL_FLOOR_DB (-120.0)
typedef int (*level_told)(void *context, double own_s, double loudness_db, double peak_db,
                          struct error *error);

/* All channels count alike, as the standard's front channels do: the loudness is that of the sum of
 * their powers, so two in step are 3 dB louder than one. */
int level_new(double rate_hz, size_t channels, level_told told, void *context, struct level **level,
              struct error *error);
void level_free(struct level *level);
/* `count` frames, interleaved. */
int level_push(struct level *level, const float *samples, size_t count, struct error *error);

#endif
