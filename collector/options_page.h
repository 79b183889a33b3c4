/* The options of every command that shows a page: one table and one reading for all.
 * Must never decide whether a page is shown. Used by cmd_record.c, cmd_serve.c and cmd_plan.c. */
#ifndef ROOMWAKE_COLLECTOR_OPTIONS_PAGE_H
#define ROOMWAKE_COLLECTOR_OPTIONS_PAGE_H

#include "collector/options.h"
#include "collector/record/page.h"

/* Rows of a command's table; `needed`: it does nothing else. */
/* clang-format off */
#define OPTIONS_PAGE_ROWS(needed)                                                                  \
    {"http", "ADDR:PORT", needed,                                                                  \
     "where to show the page; beyond this machine a pairing code is asked for"},                   \
    {"http-pair", NULL, false, "ask for the pairing code on this machine too"},                    \
    {"http-cert", "FILE", false, "a certificate (PEM): the page then speaks TLS"},                 \
    {"http-key", "FILE", false, "its private key (PEM)"}
/* clang-format on */

#define OPTIONS_PAGE_HOST_SIZE 64

/* What was given of them; settings->host is NULL where --http was not, else it is `host`. */
int options_page(const struct arguments *arguments, char host[OPTIONS_PAGE_HOST_SIZE],
                 struct page_settings *settings, struct error *error);

#endif
