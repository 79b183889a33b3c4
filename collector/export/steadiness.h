/* How steady a node's crystal was through the night: the overlapping Allan deviation (NIST SP 1065,
 * W. J. Riley, 2008, sec. 5.2.4) of the site's time less its own, from its exchanges. The
 * exchanges' own noise is in it, so over a minute it says more of the link than of the crystal.
 * Must never bridge a stretch without exchanges. Used by the review and the report. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_STEADINESS_H
#define ROOMWAKE_COLLECTOR_EXPORT_STEADINESS_H

#include "collector/night/reader.h"

#define STEADINESS_SPANS 3 /* 1 min, 10 min, 1 h */

struct steadiness {
    size_t minutes; /* of the longest stretch without a hole */
    bool known[STEADINESS_SPANS];
    double deviation[STEADINESS_SPANS];
};

/* Sets all `node_count` of them. */
int steadiness_read(struct night_reader *reader, size_t node_count, struct steadiness *nodes,
                    struct error *error);
/* "0.012 ppm over 1 min, 0.003 ppm over 10 min"; "" where nothing is known. */
#define STEADINESS_TEXT_SIZE 128
void steadiness_say(const struct steadiness *steadiness, char text[STEADINESS_TEXT_SIZE]);

#endif
