/* A night's site file with one more node: the recorder.
 * Must never change what else the file says. Used by recorder.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_RECORDER_SITE_H
#define ROOMWAKE_COLLECTOR_RECORD_RECORDER_SITE_H

#include "common/error.h"
#include "common/site.h"

#define RECORDER_LOUDNESS "sound"
#define RECORDER_PEAK "sound-peak"
#define RECORDER_UNIT "dB"

struct recorder_place {
    const char *node;
    const char *room;   /* NULL: the site has the node */
    const double *at_m; /* x, y, z; NULL: the middle of the room, 1 m up */
};

/* `text` is the site file of `site`. Where the site has the node, it must have just the recorder's
 * channels: *more and *more_text are then NULL. Else both are the caller's (site_free, free).
 * ERROR_USAGE says what to tell instead. */
int recorder_site(const struct site *site, const char *text, const struct recorder_place *place,
                  struct site **more, char **more_text, struct error *error);

#endif
