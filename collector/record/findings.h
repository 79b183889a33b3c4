/* One analysis' findings on their way: into the night, to the alert policy, to who listens. The
 * same for a live night, an import and a re-analysis. Must never judge: that is detect's,
 * correlate's and the policy's. Used by session.c, import.c and analyse.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_FINDINGS_H
#define ROOMWAKE_COLLECTOR_RECORD_FINDINGS_H

#include <stddef.h>
#include <stdint.h>

#include "collector/alert/outlet.h"
#include "collector/night/writer.h"
#include "collector/pipeline/pipeline.h"
#include "common/error.h"
#include "common/site.h"

/* Any may be NULL. Nothing pointed to outlives the call. */
struct findings_hooks {
    void *context;
    /* A coincidence that is no alert, in one line: when first told, and when it grew or its cause
     * changed. */
    void (*told)(void *context, const struct coincidence *coincidence, const char *line);
    /* One that is, for the first time. */
    void (*alert)(void *context, const struct alert *alert);
    /* One that was raised turns out to have an ordinary cause or to be covered by a mark. */
    void (*withdrawn)(void *context, const struct coincidence *coincidence, const char *line);
    /* Each, as it begins and as it ends. */
    void (*disturbed)(void *context, const struct disturbance *disturbance);
    void (*noticed)(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                    const char *text);
};

struct findings_counts {
    uint64_t disturbances;
    uint64_t coincidences;
    uint64_t alerts;
    uint64_t
        unstored; /* the writer's queue was full or the disk refused: analyse the night again */
};

struct findings;

/* `site` and `writer` must outlive it. may_wait: a full queue is waited for (never on a loop). */
int findings_new(const struct site *site, struct night_writer *writer, int analysis, bool may_wait,
                 const struct findings_hooks *hooks, struct findings **findings,
                 struct error *error);
void findings_free(struct findings *findings);

/* What the pipeline is to be given. */
struct finding_sink findings_sink(struct findings *findings);
const struct findings_counts *findings_get_counts(const struct findings *findings);
/* The first failure to store, or NULL. */
const struct error *findings_failure(const struct findings *findings);

#endif
