/* What the site's time is: bursts of RFC 5905 exchanges with the base station, or pairs of readings
 * of a disciplined kernel, the best of each to the clock fit. Loss, and a server that is not there,
 * are normal. Must never block the loop, and never take an answer to a question it did not ask. */
#ifndef ROOMWAKE_NODE_TIMEKEEPER_H
#define ROOMWAKE_NODE_TIMEKEEPER_H

#include <stdint.h>
#include <uv.h>

#include "common/clock.h"
#include "common/clock_fit.h"
#include "common/error.h"
#include "common/kernel_clock.h"

struct timekeeper_setup {
    uv_loop_t *loop;
    struct clock_source clock;
    const char *host; /* copied; a name or an address */
    int port;
    int64_t burst_every_ns; /* once three bursts are in */
    int64_t quick_every_ns; /* before; 0 takes 0.5 s */
    int listen_ms;          /* for late answers, after the last question; 0 takes 1000 */
    int burst_size;         /* 1 to TIME_BURST_MAX (time_burst.h) */
    /* Not NULL (copied): the kernel is believed instead of a time server, once it says that it is
     * disciplined; fits lead to UTC; host and port are not used. */
    const struct kernel_clock *kernel;
    void *context;
    /* After each burst that brought an exchange; the fit is known. May be NULL. */
    void (*on_fit)(void *context, const struct clock_fit *fit);
};

struct timekeeper;

int timekeeper_new(const struct timekeeper_setup *setup, struct timekeeper **timekeeper,
                   struct error *error);
/* The first burst leaves at once. */
void timekeeper_start(struct timekeeper *timekeeper);
/* Closes all handles; the memory may go once the loop has closed them. */
void timekeeper_stop(struct timekeeper *timekeeper);
void timekeeper_free(struct timekeeper *timekeeper);

/* As of the last burst; known = false before the first. */
const struct clock_fit *timekeeper_fit(const struct timekeeper *timekeeper);
/* Since the last burst that brought an exchange; -1 for never. */
int64_t timekeeper_age_ns(const struct timekeeper *timekeeper, int64_t now_ns);
/* Of the best exchange of that burst; -1 for none. */
int64_t timekeeper_round_trip_ns(const struct timekeeper *timekeeper);
/* The best of the last bursts, oldest first, for a re-fit of the whole night; returns how many.
 * None where the kernel is believed: its own error is not in them. */
size_t timekeeper_recent(const struct timekeeper *timekeeper, struct clock_exchange *exchanges,
                         size_t size);

#endif
