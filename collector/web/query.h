/* What a page asks of a night: the arguments of a request, each within its bounds.
 * Must never pass on a text that was not checked. Used by routes.c and desk.c. */
#ifndef ROOMWAKE_COLLECTOR_WEB_QUERY_H
#define ROOMWAKE_COLLECTOR_WEB_QUERY_H

#include <stddef.h>
#include <stdint.h>

#include "common/channel.h"
#include "common/error.h"
#include "common/ident.h"

#define WEB_LANES_MAX 32u
#define WEB_PIXELS_MAX 2048u

/* One channel of a node. */
struct web_lane {
    char node[IDENT_SIZE];
    char channel[CHANNEL_NAME_SIZE];
};

/* Times count from the night's start, in ns, so that a browser's numbers hold them exactly. */
struct web_query {
    int64_t from_ns;
    int64_t to_ns;
    int64_t id;
    size_t pixels;
    size_t lane_count;
    struct web_lane lanes[WEB_LANES_MAX];
};

/* From INT64_MIN to INT64_MAX, no id, no lanes. */
void web_query_init(struct web_query *query);
/* One argument: from, to, id, px, lane ("node/channel", may be there several times). Any other is
 * an error. */
int web_query_take(struct web_query *query, const char *name, const char *value,
                   struct error *error);

#endif
