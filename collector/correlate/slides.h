/* Time slides: how often chance alone brings what a night brought, counted in the night's own
 * onsets with each node shifted against the others. Must never draw on anything but the onsets, the
 * live times and the site: the same night gives the same answer. Called by slides_book. Shifts and
 * p-value as in searches for gravitational-wave bursts: Was et al. 2010, Class. Quantum Grav.
 * 27:015005; (1 + n) / (1 + N): Phipson & Smyth 2010, Stat. Appl. Genet. Mol. Biol. 9:39 (both from
 * memory). */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_SLIDES_H
#define ROOMWAKE_COLLECTOR_CORRELATE_SLIDES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/correlate/away.h"
#include "collector/correlate/layout.h"
#include "collector/model/coincidence.h"
#include "common/error.h"

/* Never fewer; more where the night has few onsets, since each slide costs in proportion. */
#define SLIDES_LEAST 1000
#define SLIDES_MOST 10000
#define SLIDES_ONSETS_IN_ALL 5000000
/* What can't be slid within seconds, or has no room to slide, keeps its analytic chance. */
#define SLIDES_ONSETS_MAX 20000
#define SLIDES_NODES_MAX 128
#define SLIDES_SHORTEST_NS INT64_C(1200000000000)
#define SLIDES_LONGEST_NIGHT_NS INT64_C(604800000000000)

enum slides_trait { SLIDES_MOTION = 1, SLIDES_SLOW = 2, SLIDES_MAGNETIC = 4 };

struct slides_onset {
    int64_t id; /* the disturbance's */
    int64_t onset_ns;
    int64_t sd_ns;
    int64_t clock_sd_ns;
    uint32_t node; /* index in the site */
    uint8_t traits;
    bool left_out; /* by slides_book alone: belongs to what a mark covers */
};

/* A night to slide. `onsets` are in order of time; live_from_ns is one a node of the site. */
struct slides_night {
    struct layout *layout;
    const struct slides_onset *onsets;
    size_t count;
    const int64_t *live_from_ns; /* INT64_MAX for a node that never began */
    int64_t end_ns;
    size_t slides;           /* how many; 0: as many as its onsets let */
    const struct away *away; /* no onset is in it, and its time is left out; NULL: none */
};

/* One coincidence as it stands in the night itself. */
struct slides_finding {
    int64_t first_id; /* its earliest disturbance */
    size_t nodes;
    enum coincidence_kind kind;
    struct chance chance;
};

struct slides_result {
    size_t slides; /* 0: the night can't be slid */
    double live_s; /* of the recording; each slide is as long */
    size_t count;
    struct slides_finding *findings; /* in order of first_id; owned: slides_result_free */
};

/* A bit of enum slides_trait, or 0. */
unsigned slides_trait_of(enum quantity quantity);
/* The onset as slides need it. */
struct slides_onset slides_onset_of(const struct disturbance *disturbance);
/* ERROR_MEMORY. A night that can't be slid is no error. */
int slides_run(const struct slides_night *night, struct slides_result *result, struct error *error);
void slides_result_free(struct slides_result *result);

#endif
