/* Readers of the live page, each a response that goes on: caught up from the ring, asleep between.
 * Must never keep lines for a reader: one that is slower than the ring is told to begin again, one
 * that takes nothing is dropped by the server's timeout. Used by server.c. */
#ifndef ROOMWAKE_COLLECTOR_WEB_STREAM_H
#define ROOMWAKE_COLLECTOR_WEB_STREAM_H

#include <microhttpd.h>

#include "collector/web/live.h"
#include "common/error.h"

#define WEB_STREAMS_MAX 64u

struct web_streams;

/* `live` must outlive it. */
int web_streams_new(struct web_live *live, struct web_streams **streams, struct error *error);
/* After the daemon was stopped. */
void web_streams_free(struct web_streams *streams);

/* A response for this connection from after the id on; the caller queues and destroys it. NULL:
 * there are too many, or memory ran out. */
struct MHD_Response *web_streams_open(struct web_streams *streams,
                                      struct MHD_Connection *connection, const char *last_id);
/* Wakes who has something to get; with `beat` all of them get how things stand. */
void web_streams_wake(struct web_streams *streams, bool beat);
/* All are to end once they have everything. */
void web_streams_end(struct web_streams *streams);

#endif
