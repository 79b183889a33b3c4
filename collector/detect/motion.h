/* A switch of 0 and 1, told on change or sampled: its edges are onsets and ends.
 * Must never make two disturbances of one person's moving about. Called by detector. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_MOTION_H
#define ROOMWAKE_COLLECTOR_DETECT_MOTION_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/detect/outbox.h"
#include "collector/detect/spell.h"
#include "collector/model/disturbance.h"

struct motion_settings {
    int64_t period_ps; /* 0: tells only changes */
    double baseline_s;
    int64_t start_ns;          /* of the recording; 0: the first sample */
    bool goes_on;              /* from there on it is taken as open until it tells otherwise */
    const struct spell *spell; /* must outlive it */
    struct disturbance template;
    struct outbox *outbox;
};

struct motion {
    struct motion_settings settings;
    int64_t period_ns;
    int64_t settle_ns;
    bool started;
    bool high;
    bool learnt;
    bool open;
    bool told;
    int64_t quiet_from_ns;
    int64_t quiet_until_ns; /* by its length */
    int64_t last_ns;
    int64_t fall_ns; /* 0 while it is high */
    struct disturbance disturbance;
};

void motion_init(struct motion *motion, const struct motion_settings *settings);
void motion_push(struct motion *motion, const int64_t *times, const double *values, size_t n);
void motion_advance(struct motion *motion, int64_t until_ns);
void motion_finish(struct motion *motion);
int64_t motion_horizon_ns(const struct motion *motion, int64_t until_ns);

#endif
