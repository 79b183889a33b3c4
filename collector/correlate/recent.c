/* A ring of copies.
 * Must never do I/O. Called by rates and the causes. */
#include "collector/correlate/recent.h"

#include <stdlib.h>

struct recent {
    uint64_t count; /* all so far: the n-th is at n % RECENT_MAX */
    struct disturbance ring[RECENT_MAX];
};

int recent_new(struct recent **recent, struct error *error)
{
    *recent = calloc(1, sizeof **recent);
    return *recent ? 0 : error_set(error, ERROR_MEMORY, "correlator: out of memory");
}

void recent_free(struct recent *recent)
{
    free(recent);
}

void recent_onset(struct recent *recent, const struct disturbance *disturbance)
{
    recent->ring[recent->count++ % RECENT_MAX] = *disturbance;
}

static uint64_t kept(const struct recent *recent)
{
    return recent->count < RECENT_MAX ? recent->count : RECENT_MAX;
}

void recent_end(struct recent *recent, const struct disturbance *disturbance)
{
    for (uint64_t back = 1; back <= kept(recent); back++) {
        struct disturbance *one = &recent->ring[(recent->count - back) % RECENT_MAX];
        if (one->id == disturbance->id) {
            *one = *disturbance;
            return;
        }
    }
}

size_t recent_between(const struct recent *recent, int64_t from_ns, int64_t until_ns,
                      const struct disturbance **list)
{
    size_t count = 0;
    for (uint64_t back = 1; back <= kept(recent); back++) {
        const struct disturbance *one = &recent->ring[(recent->count - back) % RECENT_MAX];
        if (one->onset_ns >= from_ns && one->onset_ns <= until_ns) {
            list[count++] = one;
        }
    }
    return count;
}
