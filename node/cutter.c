/* Runs of counts -> one block a channel -> numbered frames.
 * Must never alter a count or a time: what does not line up gets explicit times. Called by
 * sampler.c. */
#include "node/cutter.h"

#include <stdlib.h>
#include <string.h>

#define ROUNDING_NS 2 /* a driver's t0 is rounded, and so is the line it is compared with */

/* What one channel gathered since the last cut. */
struct pending {
    int32_t *counts;
    int64_t *times_ns; /* kept for even blocks too: the next run may turn them uneven */
    size_t count;
    size_t size;
    int64_t period_ps; /* of the whole block; 0 once it is uneven */
    size_t run_from;   /* where the last evenly timed stretch of it begins */
    int64_t run_period_ps;
    int64_t last_ns; /* of the last sample ever taken */
    bool any;
};

struct cutter {
    struct pending *pending;
    size_t channel_count;
    uint64_t boot;
    uint64_t seq;
    int64_t block_ns;
    int64_t until_ns;    /* promised so far */
    int64_t last_cut_ns; /* the promise of the last frame that was due */
    bool begun;
    size_t samples;
    struct hole holes[FRAME_HOLES_MAX];
    uint16_t hole_count;
    uint64_t refused;
    cutter_emit emit;
    void *context;
};

int cutter_new(size_t count, uint64_t boot, int64_t block_ns, cutter_emit emit, void *context,
               struct cutter **out, struct error *error)
{
    struct cutter *cutter = calloc(1, sizeof *cutter);
    struct pending *pending = calloc(count ? count : 1, sizeof *pending);
    if (!cutter || !pending || count > NODE_CHANNELS_MAX) {
        free(cutter);
        free(pending);
        return count > NODE_CHANNELS_MAX
                   ? error_set(error, ERROR_RANGE, "cutter: more than %d channels",
                               NODE_CHANNELS_MAX)
                   : error_set(error, ERROR_MEMORY, "cutter: out of memory");
    }
    cutter->pending = pending;
    cutter->channel_count = count;
    cutter->boot = boot;
    cutter->block_ns = block_ns;
    cutter->emit = emit;
    cutter->context = context;
    *out = cutter;
    return 0;
}

void cutter_free(struct cutter *cutter)
{
    if (!cutter) {
        return;
    }
    for (size_t i = 0; i < cutter->channel_count; i++) {
        free(cutter->pending[i].counts);
        free(cutter->pending[i].times_ns);
    }
    free(cutter->pending);
    free(cutter);
}

/* How many samples lie before `until_ns`. */
static size_t count_before(const struct pending *pending, int64_t until_ns)
{
    size_t count = pending->count;
    while (count > 0 && pending->times_ns[count - 1] >= until_ns) {
        count--;
    }
    return count;
}

/* What was cut off goes; what lies behind the promise waits for the next frame: another channel's
 * samples of that time are still to come, and nothing in a frame may be later than them. */
static void drop_first(struct pending *pending, size_t count)
{
    size_t rest = pending->count - count;
    if (count == 0 || rest == 0) {
        pending->count = rest;
        return;
    }
    memmove(pending->counts, pending->counts + count, rest * sizeof *pending->counts);
    memmove(pending->times_ns, pending->times_ns + count, rest * sizeof *pending->times_ns);
    bool even = count >= pending->run_from;
    pending->period_ps = even ? pending->run_period_ps : pending->period_ps;
    pending->run_from = even ? 0 : pending->run_from - count;
    pending->count = rest;
}

static void fill_block(const struct pending *pending, size_t channel, size_t count,
                       struct block *block)
{
    *block = (struct block){.channel = (uint16_t)channel,
                            .encoding = BLOCK_INT32,
                            .count = (uint32_t)count,
                            .t0_ns = pending->times_ns[0],
                            .period_ps = pending->period_ps,
                            .times_ns = pending->period_ps > 0 ? NULL : pending->times_ns,
                            .counts = pending->counts};
}

/* Before the first promise only what lies before the earliest sample is surely told. */
static int64_t promise_ns(const struct cutter *cutter)
{
    if (cutter->begun) {
        return cutter->until_ns;
    }
    int64_t earliest = INT64_MAX;
    for (size_t i = 0; i < cutter->channel_count; i++) {
        const struct pending *pending = &cutter->pending[i];
        if (pending->count > 0 && pending->times_ns[0] < earliest) {
            earliest = pending->times_ns[0];
        }
    }
    return earliest;
}

/* `all`: also what lies behind the promise. */
static void cut(struct cutter *cutter, bool all)
{
    struct frame frame;
    size_t counts[NODE_CHANNELS_MAX];
    memset(&frame, 0, sizeof frame);
    frame.boot = cutter->boot;
    frame.seq = ++cutter->seq;
    frame.until_node_ns = promise_ns(cutter);
    for (size_t i = 0; i < cutter->channel_count; i++) {
        const struct pending *pending = &cutter->pending[i];
        counts[i] = all ? pending->count : count_before(pending, frame.until_node_ns);
        if (counts[i] > 0) {
            fill_block(pending, i, counts[i], &frame.blocks[frame.block_count++]);
        }
    }
    memcpy(frame.holes, cutter->holes, sizeof frame.holes);
    frame.hole_count = cutter->hole_count;
    cutter->hole_count = 0;
    cutter->emit(cutter->context, &frame);
    cutter->samples = 0;
    for (size_t i = 0; i < cutter->channel_count; i++) {
        drop_first(&cutter->pending[i], counts[i]);
        cutter->samples += cutter->pending[i].count;
    }
}

static bool make_room(struct pending *pending)
{
    if (pending->count < pending->size) {
        return true;
    }
    size_t size = pending->size ? pending->size * 2 : 64;
    int32_t *counts = realloc(pending->counts, size * sizeof *counts);
    if (!counts) {
        return false;
    }
    pending->counts = counts;
    int64_t *times = realloc(pending->times_ns, size * sizeof *times);
    if (!times) {
        return false;
    }
    pending->times_ns = times;
    pending->size = size;
    return true;
}

/* Whether the next sample lies where the line from sample `from` on says. */
static bool lines_up(const struct pending *pending, size_t from, int64_t time_ns, int64_t period_ps)
{
    if (period_ps <= 0) {
        return false;
    }
    struct block line = {.t0_ns = pending->times_ns[from], .period_ps = period_ps};
    int64_t apart = time_ns - block_time_ns(&line, (uint32_t)(pending->count - from));
    return apart >= -ROUNDING_NS && apart <= ROUNDING_NS;
}

/* Notes whether the block, and its last stretch, go on evenly with this sample. */
static void follow_lines(struct pending *pending, int64_t time_ns, int64_t period_ps)
{
    bool new_run = pending->count == 0 || pending->run_period_ps != period_ps ||
                   !lines_up(pending, pending->run_from, time_ns, period_ps);
    if (pending->count == 0) {
        pending->period_ps = period_ps;
    } else if (pending->period_ps != period_ps || !lines_up(pending, 0, time_ns, period_ps)) {
        pending->period_ps = 0;
    }
    if (new_run) {
        pending->run_from = pending->count;
        pending->run_period_ps = period_ps;
    }
}

static void take(struct cutter *cutter, size_t channel, int64_t time_ns, int64_t period_ps,
                 int32_t count)
{
    struct pending *pending = &cutter->pending[channel];
    if (pending->any && time_ns <= pending->last_ns) {
        cutter->refused++;
        return;
    }
    if (cutter->samples >= CUTTER_SAMPLES_MAX) {
        cut(cutter, true);
    }
    if (!make_room(pending)) {
        cutter->refused++;
        return;
    }
    follow_lines(pending, time_ns, period_ps);
    pending->times_ns[pending->count] = time_ns;
    pending->counts[pending->count++] = count;
    pending->last_ns = time_ns;
    pending->any = true;
    cutter->samples++;
}

void cutter_samples(struct cutter *cutter, size_t channel, int64_t t0_ns, int64_t period_ps,
                    const int32_t *counts, size_t count)
{
    if (channel >= cutter->channel_count || period_ps <= 0 || count > UINT32_MAX) {
        cutter->refused += count;
        return;
    }
    struct block run = {.t0_ns = t0_ns, .period_ps = period_ps};
    for (size_t i = 0; i < count; i++) {
        take(cutter, channel, block_time_ns(&run, (uint32_t)i), period_ps, counts[i]);
    }
}

void cutter_change(struct cutter *cutter, size_t channel, int64_t time_ns, int32_t count)
{
    if (channel >= cutter->channel_count) {
        cutter->refused++;
        return;
    }
    take(cutter, channel, time_ns, 0, count);
}

/* Widens one that is there; false: none of this channel and reason is. */
static bool widen_hole(struct cutter *cutter, const struct hole *hole, bool any_reason)
{
    for (size_t i = 0; i < cutter->hole_count; i++) {
        struct hole *old = &cutter->holes[i];
        if (old->channel == hole->channel &&
            (any_reason || strcmp(old->reason, hole->reason) == 0)) {
            old->start_ns = hole->start_ns < old->start_ns ? hole->start_ns : old->start_ns;
            old->end_ns = hole->end_ns > old->end_ns ? hole->end_ns : old->end_ns;
            return true;
        }
    }
    return false;
}

void cutter_hole(struct cutter *cutter, size_t channel, int64_t start_ns, int64_t end_ns,
                 const char *reason)
{
    if (channel >= cutter->channel_count || end_ns <= start_ns) {
        return;
    }
    struct hole hole = {.channel = (uint16_t)channel, .start_ns = start_ns, .end_ns = end_ns};
    for (size_t i = 0; reason[i] && i + 1 < sizeof hole.reason; i++) {
        hole.reason[i] = reason[i] >= ' ' && reason[i] <= '~' ? reason[i] : '?';
    }
    if (cutter->hole_count < FRAME_HOLES_MAX) {
        cutter->holes[cutter->hole_count++] = hole;
    } else if (!widen_hole(cutter, &hole, false) && !widen_hole(cutter, &hole, true)) {
        cutter->refused++;
    }
}

void cutter_advance(struct cutter *cutter, int64_t until_node_ns, bool now)
{
    if (!cutter->begun) {
        cutter->begun = true;
        cutter->until_ns = until_node_ns;
        cutter->last_cut_ns = until_node_ns;
    }
    if (until_node_ns > cutter->until_ns) {
        cutter->until_ns = until_node_ns;
    }
    int64_t since_ns = cutter->until_ns - cutter->last_cut_ns;
    if (now) {
        cutter->last_cut_ns = cutter->until_ns;
        cut(cutter, true);
    } else if (since_ns >= cutter->block_ns) { /* on its grid, so that lateness adds nothing */
        cutter->last_cut_ns += since_ns / cutter->block_ns * cutter->block_ns;
        cut(cutter, false);
    }
}

uint64_t cutter_refused(const struct cutter *cutter)
{
    return cutter->refused;
}
