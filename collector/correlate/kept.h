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
    size_t pending;       /* that are to be looked at again */
    int64_t next_look_ns; /* the first of them; any value where there is none */
    size_t count;
    size_t first; /* a ring */
    struct kept_one *ones[KEPT_MAX];
};

/* To be looked at again at the data time `look_ns`; 0: never. */
int kept_add(struct kept *kept, const struct coincidence *coincidence, int64_t look_ns,
             struct error *error);
/* When the next one is to be looked at; INT64_MAX for none. */
int64_t kept_next_look_ns(const struct kept *kept);
/* The one whose time that is, taken off the list. Only where there is one. */
size_t kept_take_look(struct kept *kept);
/* The nth, 0 the oldest, as it was added or last set. */
void kept_get(const struct kept *kept, size_t nth, struct coincidence *coincidence);
/* Its verdict and mark alone. */
int kept_set(struct kept *kept, size_t nth, const struct coincidence *coincidence,
             struct error *error);
void kept_free(struct kept *kept);

#endif
