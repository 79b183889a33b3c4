/* One piece of work at a time for a thread of its own, and word on the loop when it is done.
 * Must never be given a second piece before the first is done. Used by acts.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_ERRAND_H
#define ROOMWAKE_COLLECTOR_RECORD_ERRAND_H

#include <stdbool.h>
#include <uv.h>

#include "common/error.h"

struct errand;

/* `run` on the thread, then `done` on the loop's; what both look at is the thread's in between. */
int errand_new(uv_loop_t *loop, void (*run)(void *context), void (*done)(void *context),
               void *context, struct errand **errand, struct error *error);
/* false: one is being run. */
bool errand_send(struct errand *errand);
bool errand_is_busy(const struct errand *errand);
/* Waits for the one that is being run; `done` is not called any more. Free when the loop has run
 * on. NULL is allowed in both. */
void errand_close(struct errand *errand);
void errand_free(struct errand *errand);

#endif
