/* Rings of processed samples, a column each.
 * Must never grow once made. Made and freed by field.
 */
#include "collector/detect/history.h"

#include <stdlib.h>
#include <string.h>

int history_init(struct history *history, size_t axes, size_t samples, bool mains)
{
    memset(history, 0, sizeof *history);
    history->axes = axes;
    history->size = 64;
    while (history->size < samples) {
        history->size *= 2;
    }
    history->mask = history->size - 1;
    history->times = calloc(history->size, sizeof *history->times);
    history->clipped = calloc(history->size, sizeof *history->clipped);
    bool complete = history->times && history->clipped;
    for (size_t a = 0; a < axes; a++) {
        history->rest[a] = calloc(history->size, sizeof *history->rest[a]);
        complete = complete && history->rest[a];
    }
    if (mains) {
        for (size_t a = 0; a < axes; a++) {
            history->past[a] = calloc(history->size, sizeof *history->past[a]);
            complete = complete && history->past[a];
        }
        history->amplitude = calloc(history->size, sizeof *history->amplitude);
        history->leak = calloc(history->size, sizeof *history->leak);
        complete = complete && history->amplitude && history->leak;
    }
    if (!complete) {
        history_free(history);
        return -1;
    }
    return 0;
}

void history_free(struct history *history)
{
    for (size_t a = 0; a < VECTOR_AXES_MAX; a++) {
        free(history->rest[a]);
        free(history->past[a]);
    }
    free(history->times);
    free(history->clipped);
    free(history->amplitude);
    free(history->leak);
    memset(history, 0, sizeof *history);
}
