/* Arguments to numbers and lanes.
 * Must never guess: what is out of bounds is refused. Called by routes.c. */
#include "collector/web/query.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

/* Ten years either way: far from where sums overflow. */
#define TIME_MOST_NS (INT64_C(10) * 366 * 86400 * 1000000000)

void web_query_init(struct web_query *query)
{
    memset(query, 0, sizeof *query);
    query->from_ns = INT64_MIN;
    query->to_ns = INT64_MAX;
    query->pixels = 1000;
}

static int read_number(const char *name, const char *text, int64_t low, int64_t high, int64_t *out,
                       struct error *error)
{
    char *rest = NULL;
    errno = 0;
    long long value = strtoll(text, &rest, 10);
    if (!(*text == '-' || (*text >= '0' && *text <= '9')) || *rest != '\0' || errno != 0 ||
        value < low || value > high) {
        return error_set(error, ERROR_RANGE, "%s: no whole number within bounds", name);
    }
    *out = value;
    return 0;
}

static int read_lane(struct web_query *query, const char *text, struct error *error)
{
    const char *slash = strchr(text, '/');
    if (query->lane_count == WEB_LANES_MAX) {
        return error_set(error, ERROR_RANGE, "lane: more than %u", WEB_LANES_MAX);
    }
    struct web_lane *lane = &query->lanes[query->lane_count];
    size_t length = slash ? (size_t)(slash - text) : 0;
    if (!slash || !ident_valid(text, length) || !channel_name_valid(slash + 1, strlen(slash + 1))) {
        return error_set(error, ERROR_FORMAT, "lane: not of the shape node/channel");
    }
    memcpy(lane->node, text, length);
    lane->node[length] = '\0';
    memcpy(lane->channel, slash + 1, strlen(slash + 1) + 1);
    query->lane_count++;
    return 0;
}

int web_query_take(struct web_query *query, const char *name, const char *value,
                   struct error *error)
{
    int64_t pixels = 0;
    if (strcmp(name, "from") == 0) {
        return read_number(name, value, -TIME_MOST_NS, TIME_MOST_NS, &query->from_ns, error);
    }
    if (strcmp(name, "to") == 0) {
        return read_number(name, value, -TIME_MOST_NS, TIME_MOST_NS, &query->to_ns, error);
    }
    if (strcmp(name, "id") == 0) {
        return read_number(name, value, 1, INT64_MAX, &query->id, error);
    }
    if (strcmp(name, "lane") == 0) {
        return read_lane(query, value, error);
    }
    if (strcmp(name, "px") == 0) {
        if (read_number(name, value, 1, WEB_PIXELS_MAX, &pixels, error) != 0) {
            return -1;
        }
        query->pixels = (size_t)pixels;
        return 0;
    }
    return error_set(error, ERROR_FORMAT, "there is no argument of that name");
}
