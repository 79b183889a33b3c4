/* Coincidences that are final, kept small: a mark that comes late, or is corrected, still changes
 * what they are called. Must never change what was seen or its chance. Called by correlator. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_KEPT_H
#define ROOMWAKE_COLLECTOR_CORRELATE_KEPT_H

#include "collector/model/coincidence.h"
#include "common/error.h"

/* The oldest go beyond this: a mark typed later no longer reaches them. */
#define KEPT_MAX 2048

struct kept_one;

/* Caller-owned, start from {0}: kept_free. */
struct kept {
    size_t count;
    size_t first; /* a ring */
    struct kept_one *ones[KEPT_MAX];
};

int kept_add(struct kept *kept, const struct coincidence *coincidence, struct error *error);
/* The nth, 0 the oldest, as it was added or last set. */
void kept_get(const struct kept *kept, size_t nth, struct coincidence *coincidence);
/* Its verdict and mark alone. */
int kept_set(struct kept *kept, size_t nth, const struct coincidence *coincidence,
             struct error *error);
void kept_free(struct kept *kept);

#endif
