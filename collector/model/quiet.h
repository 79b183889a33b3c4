/* A quiet spell that the team began or ended by hand. Plain value.
 * Must never take effect at a time of which samples have been judged: what it says is stored with
 * that time, so that a re-analysis heeds it at the same sample. */
#ifndef ROOMWAKE_COLLECTOR_MODEL_QUIET_H
#define ROOMWAKE_COLLECTOR_MODEL_QUIET_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* The level under which the night's log keeps the orders. */
#define QUIET_LOG_LEVEL "baseline"
/* Two beginnings are at least so far apart. */
#define QUIET_APART_NS INT64_C(60000000000)
/* A spell goes on for as long as it was disturbed, up to so many times its stated length in all. */
#define QUIET_LONGEST 2.0

struct quiet_order {
    int64_t from_ns;   /* site time: samples from here on */
    bool end;          /* what has been learnt is enough */
    int64_t length_ns; /* of a beginning: how long; 0: until an end */
};

#endif
