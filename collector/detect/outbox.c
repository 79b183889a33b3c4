/* A short sorted list of settled disturbances, let go up to the horizon.
 * Must never tell one before all earlier onsets are told. Filled by watch and motion.
 */
#include "collector/detect/outbox.h"

#include <stdbool.h>
#include <string.h>

void outbox_set_clock(struct outbox *outbox, int64_t time_ns, int64_t sd_ns)
{
    size_t n = outbox->clock_count;
    if (n > 0 && outbox->clock[n - 1].sd_ns == sd_ns) {
        return;
    }
    if (n == CLOCK_STEPS) {
        memmove(outbox->clock, outbox->clock + 1, (n - 1) * sizeof outbox->clock[0]);
        n--;
    }
    outbox->clock[n] = (struct clock_step){time_ns, sd_ns};
    outbox->clock_count = n + 1;
}

int64_t outbox_clock_sd(const struct outbox *outbox, int64_t time_ns)
{
    for (size_t n = outbox->clock_count; n-- > 0;) {
        if (outbox->clock[n].time_ns <= time_ns || n == 0) {
            return outbox->clock[n].sd_ns;
        }
    }
    return 0;
}

static bool comes_before(const struct disturbance *a, const struct disturbance *b)
{
    return a->onset_ns != b->onset_ns ? a->onset_ns < b->onset_ns : a->band < b->band;
}

static void tell_first(struct outbox *outbox)
{
    struct outbox_item first = outbox->waiting[0];
    outbox->count--;
    memmove(outbox->waiting, outbox->waiting + 1, outbox->count * sizeof first);
    if (outbox->sink.opened) {
        outbox->sink.opened(outbox->sink.context, &first.opened);
    }
    if (first.closed.closed_ns != 0 && outbox->sink.closed) {
        outbox->sink.closed(outbox->sink.context, &first.closed);
    }
}

void outbox_open(struct outbox *outbox, struct disturbance *disturbance)
{
    disturbance->clock_sd_ns = outbox_clock_sd(outbox, disturbance->onset_ns);
    if (outbox->count == OUTBOX_SIZE) {
        tell_first(outbox);
    }
    size_t at = outbox->count++;
    while (at > 0 && comes_before(disturbance, &outbox->waiting[at - 1].opened)) {
        outbox->waiting[at] = outbox->waiting[at - 1];
        at--;
    }
    outbox->waiting[at].opened = *disturbance;
    outbox->waiting[at].closed.closed_ns = 0;
}

void outbox_close(struct outbox *outbox, const struct disturbance *disturbance)
{
    for (size_t i = outbox->count; i-- > 0;) {
        if (outbox->waiting[i].opened.onset_ns == disturbance->onset_ns &&
            outbox->waiting[i].opened.band == disturbance->band) {
            outbox->waiting[i].closed = *disturbance;
            return;
        }
    }
    if (outbox->sink.closed) {
        outbox->sink.closed(outbox->sink.context, disturbance);
    }
}

void outbox_release(struct outbox *outbox, int64_t horizon_ns)
{
    while (outbox->count > 0 && outbox->waiting[0].opened.onset_ns < horizon_ns) {
        tell_first(outbox);
    }
}

void outbox_notice(const struct outbox *outbox, int64_t time_ns, const char *text)
{
    if (outbox->sink.noticed) {
        outbox->sink.noticed(outbox->sink.context, time_ns, text);
    }
}
