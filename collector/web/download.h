/* A night on its way to a file of the reader's: written by a thread into a pipe, and taken out of
 * it as fast as the reader takes it. Must never hold more than the pipe does, nor wait on the loop.
 * Used by routes.c. */
#ifndef ROOMWAKE_COLLECTOR_WEB_DOWNLOAD_H
#define ROOMWAKE_COLLECTOR_WEB_DOWNLOAD_H

#include <microhttpd.h>
#include <stdio.h>
#include <uv.h>

#include "common/error.h"

#define WEB_DOWNLOADS_MAX 2u

struct web_downloads;

struct web_downloads_settings {
    uv_loop_t *loop;
    /* On a thread of its own. */
    int (*write)(void *context, const char *format, FILE *out, struct error *error);
    void *context;
    /* A connection was resumed; and, when all are closed: */
    void (*resumed)(void *context);
    void *resumed_context;
};

int web_downloads_new(const struct web_downloads_settings *settings,
                      struct web_downloads **downloads, struct error *error);
/* A response whose bytes are still to be written. `format` is a constant. NULL: see *error. */
struct MHD_Response *web_downloads_open(struct web_downloads *downloads,
                                        struct MHD_Connection *connection, const char *format,
                                        struct error *error);
/* All are to end, in error where they are not whole: sleepers are resumed. */
void web_downloads_end(struct web_downloads *downloads);
/* After the daemon was stopped: waits for the threads, closes the handles; then free, when the loop
 * has run on. NULL is allowed in both. */
void web_downloads_close(struct web_downloads *downloads);
void web_downloads_free(struct web_downloads *downloads);

#endif
