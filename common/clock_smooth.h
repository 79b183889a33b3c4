/* A node's clock over a whole night, from all its exchanges at once: each moment by what came
 * before it and after it. Must never read a clock. Used by the re-fit of a stored night. */
#ifndef ROOMWAKE_COMMON_CLOCK_SMOOTH_H
#define ROOMWAKE_COMMON_CLOCK_SMOOTH_H

#include <stddef.h>
#include <stdint.h>

#include "common/clock_fit.h"
#include "common/error.h"

struct clock_smooth;

/* The best of each burst of one boot; sorted here by node time, and taken once where they come
 * twice. crystal_ppb as growth_ppb of a fitter. ERROR_RANGE where no exchange is left; exchanges
 * that can't be are left out. Caller frees. */
int clock_smooth_new(const struct clock_exchange *exchanges, size_t count, int64_t crystal_ppb,
                     struct clock_smooth **smooth, struct error *error);
void clock_smooth_free(struct clock_smooth *smooth);

/* The line at node_ns, with its uncertainty there. Where the time server was set anew between two
 * exchanges, the earlier line holds up to the later exchange, as it did live. */
void clock_smooth_fit(const struct clock_smooth *smooth, int64_t node_ns, struct clock_fit *fit);
/* How many exchanges it rests on. */
size_t clock_smooth_count(const struct clock_smooth *smooth);

#endif
