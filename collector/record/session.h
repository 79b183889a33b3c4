/* A night being recorded: the base station built in order, run on one loop, torn down in reverse.
 * Must never hold logic of its own: it connects the parts. Used by cmd_record.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_SESSION_H
#define ROOMWAKE_COLLECTOR_RECORD_SESSION_H

#include <stdbool.h>
#include <stdint.h>

#include "collector/record/findings.h"
#include "common/clock.h"
#include "common/error.h"
#include "common/site.h"

/* What is pointed to must outlive session_run. */
struct session_settings {
    const struct site *site;
    const char *site_text;
    const char *night_path;
    const char *broker_url; /* NULL: a broker of its own at listen_host:listen_port */
    const char *listen_host;
    int listen_port;
    bool enrolled_only; /* its own broker speaks TLS and asks everybody for a password */
    const char *time_host;
    int time_port;
    const char *http_host; /* NULL: no page */
    int http_port;
    bool http_pair;               /* the page asks for its code on this machine too */
    const char *http_certificate; /* PEM texts: the page speaks TLS; NULL: plain HTTP */
    const char *http_key;
    const char *on_alert; /* a shell command, or NULL */
    struct clock_source clock;
};

struct session_result {
    uint64_t samples;
    uint64_t late_frames;
    struct findings_counts findings;
    int analysis; /* the newest in the night */
    int64_t start_ns;
    int64_t end_ns;
    uint8_t root[32]; /* that the samples were sealed with */
};

/* Records until SIGINT or SIGTERM (a second one ends at once), then closes the night. */
int session_run(const struct session_settings *settings, struct session_result *result,
                struct error *error);

#endif
