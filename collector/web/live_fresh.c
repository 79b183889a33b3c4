/* The newest samples by minimum and maximum, and what just left its baseline: sent as it comes, and
 * kept for a few seconds only. Must never grow with a reader that is slow. Fed by the session. */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "collector/web/answer.h"
#include "collector/web/live_inside.h"
#include "common/json.h"

/* As much waits at most until it is sent; more is said to be missing. */
#define PENDING_BYTES 65536u
#define PIECES_MOST 8u
#define PIECE_NS INT64_C(100000000)

void web_live_watch(struct web_live *live, bool watched)
{
    live->fresh.watched = watched;
}

static void append_piece(struct text *out, const struct block *block, const struct channel *channel,
                         uint32_t from, uint32_t to)
{
    double min = block_value(block, channel, from);
    double max = min;
    for (uint32_t i = from + 1; i < to; i++) {
        double value = block_value(block, channel, i);
        min = value < min ? value : min;
        max = value > max ? value : max;
    }
    (void)text_append_format(out, ",%.7g,%.7g", min, max);
}

/* ["node/channel", first, last, min, max, min, max ...]: pieces of equal counts of samples. */
static void append_block(struct web_live *live, uint32_t node, const struct block *block,
                         const struct channel *channel)
{
    struct text *out = &live->fresh.lanes;
    int64_t first_ns = block_time_ns(block, 0);
    int64_t last_ns = block_time_ns(block, block->count - 1);
    int64_t pieces = (last_ns - first_ns) / PIECE_NS + 1;
    uint32_t most = block->count < PIECES_MOST ? block->count : PIECES_MOST;
    uint32_t count = pieces < most ? (uint32_t)pieces : most;
    (void)text_append_format(out, "%s[\"%s/%s\",%" PRId64 ",%" PRId64, out->length > 0 ? "," : "",
                             live->site->nodes[node].id, channel->name, first_ns - live->base_ns,
                             last_ns - live->base_ns);
    for (uint32_t i = 0; i < count; i++) {
        append_piece(out, block, channel, (uint32_t)((uint64_t)block->count * i / count),
                     (uint32_t)((uint64_t)block->count * (i + 1) / count));
    }
    (void)text_append_format(out, "]");
}

void web_live_blocks(struct web_live *live, uint32_t node, const struct channel *channels,
                     const struct block *blocks, size_t count)
{
    if (!live || !live->fresh.watched || node >= live->site->node_count) {
        return;
    }
    for (size_t i = 0; i < count; i++) {
        if (live->fresh.lanes.length > PENDING_BYTES) {
            live->fresh.missed = true;
            break;
        }
        if (blocks[i].count > 0) {
            append_block(live, node, &blocks[i], &channels[blocks[i].channel]);
        }
    }
    live_tell(live);
}

/* So that who comes, or wakes, is told what is disturbed now, however long it was away. */
static void note_disturbed(struct web_live *live, const struct disturbance *disturbance)
{
    size_t at = 0;
    while (at < live->disturbed_count &&
           (live->disturbed[at].node != disturbance->node ||
            strcmp(live->disturbed[at].quantity, disturbance->quantity_text) != 0)) {
        at++;
    }
    bool known = at < live->disturbed_count;
    if (disturbance->end_ns != 0) {
        if (known) {
            live->disturbed[at] = live->disturbed[--live->disturbed_count];
        }
        return;
    }
    if (!known && live->disturbed_count == DISTURBED_MAX) {
        return;
    }
    struct live_disturbed *disturbed = &live->disturbed[at];
    live->disturbed_count += known ? 0 : 1;
    disturbed->node = disturbance->node;
    memcpy(disturbed->quantity, disturbance->quantity_text, sizeof disturbed->quantity);
    disturbed->onset_ns = disturbance->onset_ns;
    disturbed->score = disturbance->peak_score;
}

void live_append_disturbed(const struct web_live *live, struct text *out)
{
    for (size_t i = 0; i < live->disturbed_count; i++) {
        const struct live_disturbed *disturbed = &live->disturbed[i];
        (void)text_append_format(out, "%s[\"%s\",", i > 0 ? "," : "",
                                 live->site->nodes[disturbed->node].id);
        (void)json_append_string(out, disturbed->quantity);
        (void)text_append_format(out, ",%" PRId64 ",false,%.4g]",
                                 disturbed->onset_ns - live->base_ns, disturbed->score);
    }
}

void web_live_disturbed(struct web_live *live, const struct disturbance *disturbance)
{
    if (!live || disturbance->node >= live->site->node_count) {
        return;
    }
    note_disturbed(live, disturbance);
    if (!live->fresh.watched) {
        return;
    }
    struct text *out = &live->fresh.seen;
    if (out->length > PENDING_BYTES) {
        live->fresh.missed = true;
        return;
    }
    (void)text_append_format(out, "%s[\"%s\",", out->length > 0 ? "," : "",
                             live->site->nodes[disturbance->node].id);
    (void)json_append_string(out, disturbance->quantity_text);
    (void)text_append_format(out, ",%" PRId64 ",%s,%.4g]", disturbance->onset_ns - live->base_ns,
                             disturbance->end_ns != 0 ? "true" : "false", disturbance->peak_score);
    live_tell(live);
}

void web_live_finding(struct web_live *live, const struct coincidence *coincidence)
{
    if (!live) {
        return;
    }
    struct text line = {0};
    struct text *event = live_begin_event(live, "finding");
    (void)web_answer_append_brief(event, &line, coincidence, live->site, live->base_ns);
    text_free(&line);
    live_end_event(live, event);
}

void web_live_flush(struct web_live *live)
{
    struct live_fresh *fresh = &live->fresh;
    if (fresh->lanes.length == 0 && fresh->seen.length == 0 && !fresh->missed) {
        return;
    }
    struct text *event = &fresh->ring[fresh->next % WEB_LIVE_FRESH];
    text_clear(event);
    (void)text_append_format(event, "event: fresh\ndata: {\"missed\":%s,\"lanes\":[",
                             fresh->missed || fresh->lanes.failed || fresh->seen.failed ? "true"
                                                                                        : "false");
    (void)text_append(event, fresh->lanes.bytes, fresh->lanes.failed ? 0 : fresh->lanes.length);
    (void)text_append_format(event, "],\"seen\":[");
    (void)text_append(event, fresh->seen.bytes, fresh->seen.failed ? 0 : fresh->seen.length);
    (void)text_append_format(event, "]}\n\n");
    text_clear(&fresh->lanes);
    text_clear(&fresh->seen);
    fresh->missed = false;
    fresh->next++;
}

uint64_t web_live_fresh_first(const struct web_live *live)
{
    return live->fresh.next > WEB_LIVE_FRESH ? live->fresh.next - WEB_LIVE_FRESH : 1;
}

uint64_t web_live_fresh_next(const struct web_live *live)
{
    return live->fresh.next;
}

const struct text *web_live_fresh_event(const struct web_live *live, uint64_t number)
{
    return &live->fresh.ring[number % WEB_LIVE_FRESH];
}
