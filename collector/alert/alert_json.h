/* The `alert` message: one coincidence in the shape that the findings have, with site and text.
 * Must never print a number that JSON can't hold. Called by the session for every alert raised. */
#ifndef ROOMWAKE_COLLECTOR_ALERT_ALERT_JSON_H
#define ROOMWAKE_COLLECTOR_ALERT_ALERT_JSON_H

#include "collector/model/coincidence.h"
#include "common/site.h"
#include "common/text.h"

/* `line` is the sentence. -1 only where memory ran out. */
int alert_json_write(const struct site *site, const struct coincidence *coincidence,
                     const char *line, struct text *out);

#endif
