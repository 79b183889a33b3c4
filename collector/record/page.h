/* What record, serve and plan give to the page: exports of a night, a site file read and kept, and
 * a loop of their own for the two that record nothing.
 * Must never change a night. Used by session_build.c, cmd_serve.c and cmd_plan.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_PAGE_H
#define ROOMWAKE_COLLECTOR_RECORD_PAGE_H

#include <signal.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "common/error.h"

/* Where and how a page is served. */
struct page_settings {
    const char *host;
    int port;
    const char *certificate_path; /* NULL: plain HTTP */
    const char *key_path;
    bool pair_always; /* asks for the code on this machine too */
};

/* PEM texts of the two files, both or none; the caller frees them. */
int page_load_tls(const struct page_settings *settings, char **certificate, char **key,
                  struct error *error);

/* The formats that a night can be taken away in (NULL after the last), of one that goes on and of
 * one that is over; and one of them, written to `out` by a reader of its own until *stop is not 0.
 * `out` NULL: only whether that could begin now. `context` is the night's path. */
const char *page_format_live(size_t index);
const char *page_format(size_t index);
int page_write_night(void *context, const char *format, FILE *out,
                     const volatile sig_atomic_t *stop, struct error *error);

/* The page over a finished night, or over a site file that is being drawn (it may not be there
 * yet), until SIGINT or SIGTERM. The first line said has its address. */
int page_serve_night(const char *night_path, const struct page_settings *settings,
                     struct error *error);
int page_draw_plan(const char *site_path, const struct page_settings *settings,
                   struct error *error);

#endif
