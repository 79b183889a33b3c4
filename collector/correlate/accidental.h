/* What a coincidence's chance is while the night goes on: how many as rare as it, of any kind, a
 * night brings by accident. Must never count a node's onsets of one kind for those of another.
 * Called by judge. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_ACCIDENTAL_H
#define ROOMWAKE_COLLECTOR_CORRELATE_ACCIDENTAL_H

#include <stdint.h>

#include "collector/correlate/layout.h"
#include "collector/model/coincidence.h"

/* One node's onsets of one trait (enum slides_trait; 0: quick, no motion, not magnetic). */
struct accidental_stream {
    uint32_t node;
    unsigned trait;
    double hz;
    double sd_s; /* of its onsets, on average */
};

/* The coincidence itself. */
struct accidental_seen {
    enum coincidence_kind kind;
    size_t nodes;
    double gate_s;       /* width of the prompt gate */
    double spread_s;     /* prompt: its last node's onset after its first's, no less than can be
                          * told */
    double disagreement; /* travelling: 1 - lesser / greater of its first hop's speed and a
                          * usual pace */
};

/* Classes are: prompt with k nodes, travelling with k nodes. Within a class a tighter one is rarer.
 * A coincidence that comes q times a night with those of its class as tight as itself has as many
 * as rare as itself in every other class, or all of that class where it brings fewer: *rate_hz is
 * the sum. ERROR_MEMORY. */
int accidental_hz(struct layout *layout, const struct accidental_stream *streams, size_t count,
                  const struct accidental_seen *seen, double *rate_hz, struct error *error);

#endif
