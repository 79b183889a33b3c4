/* A coincidence as JSON: the one shape that the findings, the alert message and the tests share.
 * Must never be told apart from what the night holds: nothing is computed here.
 * Called by alert_json and by the export of the findings. */
#ifndef ROOMWAKE_COLLECTOR_ALERT_COINCIDENCE_JSON_H
#define ROOMWAKE_COLLECTOR_ALERT_COINCIDENCE_JSON_H

#include "collector/model/coincidence.h"
#include "common/site.h"
#include "common/text.h"

/* Appends the fields from "id" to "mark" without the braces, so that a message can have more of its
 * own. A failed allocation is left in `text`. */
void coincidence_json_append(struct text *text, const struct coincidence *coincidence,
                             const struct site *site);

#endif
