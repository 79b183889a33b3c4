/* The quiet spells that were begun and ended by hand, out of the night's log.
 * Must never take a line that it does not understand whole. Called by reanalyse and the session. */
#include "collector/night/reader_internal.h"

#include <math.h>
#include <string.h>

#include "common/clock.h"
#include "common/json.h"

#define LENGTH_MAX_S 86400.0

struct quiet_each {
    int (*each)(void *context, const struct quiet_order *order);
    void *context;
    struct error *error;
};

static int read_order(const cJSON *root, struct quiet_order *order, struct error *error)
{
    char what[16];
    double length_s = 0;
    if (json_get_text(root, QUIET_LOG_LEVEL, "what", what, sizeof what, error) != 0 ||
        json_get_number(root, QUIET_LOG_LEVEL, "length_s", 0, LENGTH_MAX_S, &length_s, error) !=
            0) {
        return -1;
    }
    order->end = strcmp(what, "end") == 0;
    order->length_ns = llround(length_s * (double)NS_PER_S);
    return 0;
}

static int take_quiet(void *context, int64_t time_ns, const char *level, const char *text)
{
    const struct quiet_each *to = context;
    struct quiet_order order = {.from_ns = time_ns};
    cJSON *root = NULL;
    if (strcmp(level, QUIET_LOG_LEVEL) != 0) {
        return 0;
    }
    int result = json_parse(text, strlen(text), QUIET_LOG_LEVEL, &root, to->error) != 0
                     ? -1
                     : read_order(root, &order, to->error);
    cJSON_Delete(root);
    return result != 0 ? -1 : to->each(to->context, &order);
}

int night_each_quiet(struct night_reader *reader,
                     int (*each)(void *context, const struct quiet_order *order), void *context,
                     struct error *error)
{
    struct quiet_each to = {each, context, error};
    return night_each_log(reader, take_quiet, &to, error);
}
