/* What a boot of the node tells the next one that it starts in its own place: since when nobody
 * sampled, and why. It goes by the environment. Must never outlive the start that it is for. */
#ifndef ROOMWAKE_NODE_ANEW_H
#define ROOMWAKE_NODE_ANEW_H

#include <stdint.h>

#include "common/error.h"
#include "common/wire.h" /* HOLE_REASON_SIZE */

/* Caller-owned; all zero: somebody started the program. */
struct anew {
    int64_t away_ns;            /* nobody sampled for so long right before the start, or */
    int64_t since_ns;           /* since this node time; both 0: nothing is known */
    char why[HOLE_REASON_SIZE]; /* "the machine was suspended" */
};

/* Takes what the boot before left and clears it; all zero where it is none, or nonsense. */
void anew_take(struct anew *anew);
/* How long nobody sampled, at node time now_ns; 0: not known. */
int64_t anew_away_ns(const struct anew *anew, int64_t now_ns);
/* This program once more in the place of this process; returns only where that failed. */
int anew_start(const struct anew *anew, char **argv, struct error *error);

#endif
