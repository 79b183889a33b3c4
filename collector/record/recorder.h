/* A lined-up recording's level as a witness in its own right: in a copy of the night, as samples of
 * a node that the night had none of, under a seal of their own, and a fresh analysis of it all.
 * Must never touch the night or the recording. Used by cmd_align.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_RECORDER_H
#define ROOMWAKE_COLLECTOR_RECORD_RECORDER_H

#include <signal.h>

#include "collector/record/align.h"
#include "collector/record/findings.h"
#include "collector/record/recorder_site.h"

struct recorder_settings {
    const char *night_path;
    const char *into_path; /* made; ERROR_BUSY where it is there */
    const char *recording_path;
    struct recorder_place place;
    const volatile sig_atomic_t *stop; /* not 0: end, and leave nothing behind; may be NULL */
};

struct recorder_result {
    struct findings_counts findings;
    uint64_t samples;    /* of both channels, within the night */
    char sha256_hex[65]; /* of the recording's file */
};

/* So that wrong use is told before hours of sound are listened to: where the recorder was, that the
 * copy's name is free, that the night is closed. */
int recorder_check(const struct recorder_settings *settings, struct error *error);
/* The copy has its name when all of it is on disk. */
int recorder_add(const struct recorder_settings *settings, const struct align_result *line,
                 const struct align_levels *levels, const struct findings_hooks *hooks,
                 struct recorder_result *result, struct error *error);

#endif
