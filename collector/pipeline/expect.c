/* The accidental rate of the loosest coincidence of the commonest class: every other is as rare or
 * rarer, so it is that of all. Must never keep state. Called by the baseline's summary. */
#include "collector/pipeline/expect.h"

#include <stdlib.h>

#include "collector/correlate/accidental.h"
#include "collector/correlate/limits.h"
#include "collector/correlate/slides.h"

/* Usual uncertainties of an onset: a switch's, a thermometer's, a field's. */
#define SD_MOTION_S 0.3
#define SD_SLOW_S 0.5
#define SD_QUICK_S 0.003

static struct accidental_stream stream_of(const struct site *site,
                                          const struct expect_quantity *quantity)
{
    unsigned trait = slides_trait_of(quantity_from_name(quantity->quantity));
    double sd_s = trait == SLIDES_MOTION ? SD_MOTION_S
                  : trait == SLIDES_SLOW ? SD_SLOW_S
                                         : SD_QUICK_S;
    return (struct accidental_stream){quantity->node, trait, site->false_onsets_per_hour / 3600.0,
                                      sd_s};
}

int expect_by_chance(const struct site *site, const struct expect_quantity *quantities,
                     size_t count, double *per_night, struct error *error)
{
    double gate_s = (double)GATE_PROMPT_NS * 1e-9;
    const struct accidental_seen loosest = {.kind = COINCIDENCE_TRAVELLING,
                                            .nodes = 2,
                                            .gate_s = gate_s,
                                            .spread_s = gate_s,
                                            .disagreement = 1.0};
    struct layout *layout = NULL;
    struct accidental_stream *streams = malloc((count + 1) * sizeof *streams);
    double rate_hz = 0.0;
    int status = streams ? layout_new(site, &layout, error)
                         : error_set(error, ERROR_MEMORY, "chance: out of memory");
    for (size_t i = 0; status == 0 && i < count; i++) {
        streams[i] = stream_of(site, &quantities[i]);
    }
    if (status == 0) {
        status = accidental_hz(layout, streams, count, &loosest, &rate_hz, error);
    }
    *per_night = rate_hz * CHANCE_NIGHT_S;
    layout_free(layout);
    free(streams);
    return status;
}
