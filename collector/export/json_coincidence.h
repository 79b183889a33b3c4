/* A coincidence as the findings' JSON has it.
 * Must never be told apart from what the night holds: nothing is computed here. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_JSON_COINCIDENCE_H
#define ROOMWAKE_COLLECTOR_EXPORT_JSON_COINCIDENCE_H

#include "collector/model/coincidence.h"
#include "common/site.h"
#include "common/text.h"

/* Appends one object; a failed allocation is left in `text`. Nodes and rooms must be the site's. */
void json_append_coincidence(struct text *text, const struct coincidence *coincidence,
                             const struct site *site);

#endif
