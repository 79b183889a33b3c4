/* From a group of clusters to the coincidence that people read: order, path, chance, cause.
 * Must never look at what was not known at the data time asked about. Called by correlator. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_JUDGE_H
#define ROOMWAKE_COLLECTOR_CORRELATE_JUDGE_H

#include <stddef.h>
#include <stdint.h>

#include "collector/correlate/group.h"
#include "collector/correlate/layout.h"
#include "collector/correlate/rates.h"
#include "collector/model/coincidence.h"
#include "collector/model/mark.h"
#include "common/error.h"

/* What the judgement draws on; nothing is owned. */
struct judge {
    const struct site *site;
    struct layout *layout;
    const struct rates *rates;
    const struct mark *const *marks;
    size_t mark_count;
};

/* Fills *coincidence as of data time now_ns, but for `final`. ERROR_MEMORY. */
int judge_group(const struct judge *judge, const struct group *group, int64_t now_ns,
                struct coincidence *coincidence, struct error *error);

#endif
