/* Disturbances in, coincidences out: gates, witnesses, order, path, chance, cause.
 * Pure: must never read a clock, do I/O or keep a global. The outcome depends on the disturbances,
 * the marks and the site alone. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_CORRELATOR_H
#define ROOMWAKE_COLLECTOR_CORRELATE_CORRELATOR_H

#include <stdint.h>

#include "collector/correlate/limits.h"
#include "collector/model/coincidence.h"
#include "collector/model/mark.h"
#include "common/error.h"
#include "common/site.h"

struct correlator_sink {
    void *context;
    /* The disturbance has got its id; told in order of (onset, node, quantity, band). */
    void (*disturbance)(void *context, const struct disturbance *disturbance);
    /* It has ended: same id, final fields. */
    void (*disturbance_ended)(void *context, const struct disturbance *disturbance);
    /* First with final = false as soon as it can be judged, then again with the same id as it
     * grows, last with final = true. */
    void (*coincidence)(void *context, const struct coincidence *coincidence);
    /* After the end: a final one's chance as time slides count it. May be NULL. */
    void (*chance)(void *context, int64_t coincidence_id, const struct chance *chance);
    /* Also then: a node's onsets do not come at one steady rate. May be NULL. */
    void (*unsteady)(void *context, uint32_t node, int64_t time_ns, const char *text);
};

struct correlator;

/* `site` must outlive the correlator. */
int correlator_new(const struct site *site, const struct correlator_sink *sink,
                   struct correlator **correlator, struct error *error);
void correlator_free(struct correlator *correlator);

/* In any order; they wait inside until correlator_advance says that none earlier can come.
 * ERROR_MEMORY; ERROR_RANGE for a node that the site has not. */
int correlator_open(struct correlator *correlator, const struct disturbance *disturbance,
                    struct error *error);
/* Matches the opened one by node, quantity, band and onset. Counts from its closed_ns on. */
void correlator_close(struct correlator *correlator, const struct disturbance *disturbance);
int correlator_mark(struct correlator *correlator, const struct mark *mark, struct error *error);
/* A node's quantity began (its quiet spell is over): from then on its live time counts in the
 * chance rate. */
int correlator_watch(struct correlator *correlator, uint32_t node, const char *quantity,
                     int64_t from_ns, struct error *error);
/* All nodes learn anew from from_ns on, until each is watched again: that time counts in no rate.
 */
int correlator_spell(struct correlator *correlator, int64_t from_ns, struct error *error);
/* Every disturbance with an onset before horizon_ns has been opened, every one that is known to
 * have ended before horizon_ns has been closed. After an error no more may be pushed: free it. */
int correlator_advance(struct correlator *correlator, int64_t horizon_ns, struct error *error);
/* No more will come: all that is open becomes final. */
int correlator_finish(struct correlator *correlator, struct error *error);
/* Once finished: slides the night up to end_ns and tells the chances. A night that is too short to
 * slide, or has too many onsets (slides.h), keeps the chances it has. */
int correlator_slide(struct correlator *correlator, int64_t end_ns, struct error *error);

#endif
