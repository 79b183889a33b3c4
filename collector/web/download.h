/* A night on its way to a file of the reader's: written by a thread into a pipe, and taken out of
 * it as fast as the reader takes it. Must never hold more than the pipe does, nor wait on the loop,
 * nor begin an answer before it is known whether there is one. Used by export.c. */
#ifndef ROOMWAKE_COLLECTOR_WEB_DOWNLOAD_H
#define ROOMWAKE_COLLECTOR_WEB_DOWNLOAD_H

#include <microhttpd.h>
#include <signal.h>
#include <stdbool.h>
#include <stdio.h>
#include <uv.h>

#include "common/error.h"

#define WEB_DOWNLOADS_MAX 2u

struct web_downloads;

struct web_downloads_settings {
    uv_loop_t *loop;
    /* On a thread of its own; `out` NULL: only whether it could begin now. Ends early, as failed,
     * when *stop is not 0. */
    int (*write)(void *context, const char *format, FILE *out, const volatile sig_atomic_t *stop,
                 struct error *error);
    void *context;
    /* A connection was resumed; and, when all are closed: */
    void (*resumed)(void *context);
    void *resumed_context;
};

int web_downloads_new(const struct web_downloads_settings *settings,
                      struct web_downloads **downloads, struct error *error);
struct web_download;
/* Begins to write, or with `check_only` only asks whether it could, and suspends the connection
 * until it is known what to answer: then comes web_download_answer, or leave. `format` is a
 * constant. */
int web_downloads_begin(struct web_downloads *downloads, struct MHD_Connection *connection,
                        const char *format, bool check_only, struct web_download **download,
                        struct error *error);
/* The answer, whose bytes may still be on their way; NULL: see *error. Takes `download` over. */
struct MHD_Response *web_download_answer(struct web_download *download, struct error *error);
/* Whoever asked is gone. */
void web_download_leave(struct web_download *download);
/* All are to end, in error where they are not whole: sleepers are resumed. */
void web_downloads_end(struct web_downloads *downloads);
/* After the daemon was stopped: waits for the threads, closes the handles; then free, when the loop
 * has run on. NULL is allowed in both. */
void web_downloads_close(struct web_downloads *downloads);
void web_downloads_free(struct web_downloads *downloads);

#endif
