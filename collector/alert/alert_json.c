/* The alert message: who speaks, the sentence, then the coincidence as the findings have it.
 * Must never have a shape of its own for a finding's fields.
 * Called by the session for each alert. */
#include "collector/alert/alert_json.h"

#include "collector/alert/coincidence_json.h"
#include "common/json.h"

int alert_json_write(const struct site *site, const struct coincidence *coincidence,
                     const char *line, struct text *out)
{
    (void)text_append_format(out, "{\"site\":\"%s\",\"text\":", site->id);
    (void)json_append_string(out, line);
    (void)text_append_format(out, ",");
    coincidence_json_append(out, coincidence, site);
    (void)text_append_format(out, "}");
    return out->failed ? -1 : 0;
}
