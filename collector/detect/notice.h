/* What a detector has to say of itself, in words.
 * Must never be read back by a program. Called by field. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_NOTICE_H
#define ROOMWAKE_COLLECTOR_DETECT_NOTICE_H

#include <stdbool.h>
#include <stddef.h>

#include "collector/detect/tail.h"
#include "collector/model/disturbance.h"

#define NOTICE_SIZE 320

/* What a band has learnt. */
struct notice_band {
    enum band name;
    const char *unit;
    bool calibrated;
    double scale;
    const struct tail_choice *tail;
};

/* The quiet spell is over. `mains_lost`: mains should be there but can't be told apart; longer_s:
 * it went on so much longer, since it was disturbed. */
void notice_learnt(const struct notice_band *bands, size_t count, bool mains_lost,
                   double onsets_per_hour, double longer_s, char text[NOTICE_SIZE]);
/* A louder noise was taken for usual. */
void notice_noise_rose(const struct notice_band *band, char text[NOTICE_SIZE]);
/* Samples don't come at the rate that was told. */
void notice_odd_rate(double rate_hz, char text[NOTICE_SIZE]);

#endif
