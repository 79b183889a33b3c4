/* One `blocks` message: checked, cooked, put into the night, pushed into the pipeline.
 * Must never count a frame as taken before the writer has it, nor tell anything twice when the node
 * sends it again. Called by intake.c. */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "collector/ingest/intake_node.h"
#include "common/clock.h"
#include "common/log.h"

/* Site times outside of this round the night are kept, but not believed. */
#define EARLIEST_BEFORE_NIGHT_NS (NS_PER_S * 7 * 86400)
#define LATEST_AHEAD_NS (60 * NS_PER_S)

/* One frame on its way. */
struct passage {
    struct intake *intake;
    struct intake_node *node;
    const struct frame *frame;
    const struct channel_list *list;
    enum dedupe_verdict verdict;
    uint64_t lost;
    bool in_order; /* it moves the node on: not stray, clock known, time believable */
    bool late;
    struct block blocks[NODE_CHANNELS_MAX];
    int64_t node_t0_ns[NODE_CHANNELS_MAX];
    size_t count; /* blocks with samples */
    int64_t first_ns;
    int64_t last_ns;
    int64_t until_ns;
    struct gap gaps[INTAKE_GAPS_A_FRAME];
    size_t gap_count;
};

/* The channels that the frame's blocks count in, or NULL: not known yet. */
static const struct channel_list *find_list(struct intake *intake, struct intake_node *node,
                                            uint64_t boot)
{
    const struct channel_list *list = intake_find_list(node, boot);
    if (list) {
        return list;
    }
    int64_t now = intake_now(intake);
    if (node->missing_boot != boot) {
        node->missing_boot = boot;
        node->missing_since_ns = now;
    }
    const struct channel_list *newest = intake_newest_list(node);
    if (!newest || now - node->missing_since_ns < INTAKE_HELLO_WAIT_NS) {
        intake->counts.no_hello++;
        intake_say(intake, &node->said_missing, node->index, "blocks",
                   "refused: its channels are not known yet (no hello of this boot)");
        return NULL;
    }
    log_warning("%s: no hello of boot %016" PRIx64 " came: its blocks are read by the channels of "
                "the node's newest hello",
                intake_node_id(intake, node->index), boot);
    intake_add_list(node, boot, newest->channels, newest->count);
    return intake_find_list(node, boot);
}

static int check_numbers(const struct frame *frame, struct error *error)
{
    if (frame->boot == 0 || frame->seq == 0 || frame->oldest_seq == 0 ||
        frame->oldest_seq > frame->seq || frame->seq == UINT64_MAX) {
        return error_set(error, ERROR_RANGE, "boot and seq do not hold together");
    }
    return 0;
}

static int check_blocks(const struct frame *frame, const struct channel_list *list,
                        struct error *error)
{
    const struct block none = {.count = 0};
    if (cook_check(&frame->fit, &none, frame->until_node_ns, error)) {
        return -1;
    }
    for (size_t i = 0; i < frame->block_count; i++) {
        if (frame->blocks[i].channel >= list->count) {
            return error_set(error, ERROR_RANGE, "channel %u where the node has %zu",
                             frame->blocks[i].channel, list->count);
        }
        if (cook_check(&frame->fit, &frame->blocks[i], frame->until_node_ns, error)) {
            return -1;
        }
    }
    return 0;
}

/* Fills blocks and times by way of `cook`. */
static void cook_all(struct passage *passage, struct cook *cook)
{
    const struct frame *frame = passage->frame;
    int64_t *times = passage->intake->times_ns;
    passage->count = 0;
    passage->first_ns = INT64_MAX;
    passage->last_ns = INT64_MIN;
    for (size_t i = 0; i < frame->block_count; i++) {
        const struct block *raw = &frame->blocks[i];
        if (raw->count == 0) {
            continue;
        }
        struct block *block = &passage->blocks[passage->count];
        cook_block(cook, &frame->fit, raw, times, block);
        times += raw->period_ps > 0 ? 0 : raw->count;
        passage->node_t0_ns[passage->count++] = block_time_ns(raw, 0);
        int64_t first = block_time_ns(block, 0);
        int64_t last = block_time_ns(block, block->count - 1);
        passage->first_ns = first < passage->first_ns ? first : passage->first_ns;
        passage->last_ns = last > passage->last_ns ? last : passage->last_ns;
    }
    passage->until_ns = cook_until(cook, &frame->fit, frame->until_node_ns);
    if (passage->count == 0) {
        passage->first_ns = passage->until_ns;
        passage->last_ns = passage->until_ns;
    }
}

/* Believable by the fit alone: within the night's reach and not ahead of the site's clock. */
static bool is_believable(const struct passage *passage)
{
    const struct frame *frame = passage->frame;
    int64_t until = clock_fit_site_ns(&frame->fit, frame->until_node_ns);
    bool believable = until - intake_now(passage->intake) < LATEST_AHEAD_NS;
    for (size_t i = 0; believable && i < frame->block_count; i++) {
        const struct block *block = &frame->blocks[i];
        if (block->count > 0) {
            int64_t first = clock_fit_site_ns(&frame->fit, block_time_ns(block, 0));
            int64_t last = clock_fit_site_ns(&frame->fit, block_time_ns(block, block->count - 1));
            believable =
                first > passage->intake->settings.night_start_ns - EARLIEST_BEFORE_NIGHT_NS &&
                last - intake_now(passage->intake) < LATEST_AHEAD_NS;
        }
    }
    return believable;
}

static void cook_frame(struct passage *passage)
{
    struct intake_node *node = passage->node;
    bool known = passage->frame->fit.known;
    passage->in_order = known && passage->verdict != DEDUPE_STRAY && is_believable(passage);
    if (passage->in_order) {
        cook_all(passage, &node->cook);
    } else if (!known) {
        cook_all(passage, &node->unclocked);
    } else {
        struct cook apart;
        cook_init(&apart);
        cook_all(passage, &apart);
    }
    passage->late = !passage->in_order;
}

/* Adds a hole, or widens the one that it overlaps. */
static void add_gap(struct passage *passage, const struct gap *gap)
{
    for (size_t i = 0; i < passage->gap_count; i++) {
        struct gap *old = &passage->gaps[i];
        bool full = passage->gap_count == INTAKE_GAPS_A_FRAME && i + 1 == passage->gap_count;
        if (full || (gap->start_ns <= old->end_ns && gap->end_ns >= old->start_ns)) {
            old->start_ns = gap->start_ns < old->start_ns ? gap->start_ns : old->start_ns;
            old->end_ns = gap->end_ns > old->end_ns ? gap->end_ns : old->end_ns;
            return;
        }
    }
    passage->gaps[passage->gap_count++] = *gap;
}

/* What the node itself knows of stretches without samples. */
static void add_told_holes(struct passage *passage)
{
    const struct frame *frame = passage->frame;
    for (size_t i = 0; i < frame->hole_count; i++) {
        const struct hole *hole = &frame->holes[i];
        struct gap gap = {.node = passage->node->index,
                          .start_ns = clock_fit_site_ns(&frame->fit, hole->start_ns),
                          .end_ns = clock_fit_site_ns(&frame->fit, hole->end_ns)};
        if (hole->channel < passage->list->count && gap.end_ns > gap.start_ns) {
            (void)snprintf(gap.reason, sizeof gap.reason, "%s: %s",
                           passage->list->channels[hole->channel].name, hole->reason);
            add_gap(passage, &gap);
        }
    }
}

/* `before`: the node as it was before this frame was cooked. */
static void find_gaps(struct passage *passage, const struct cook *before)
{
    struct gap gap;
    const struct gap_frame seen = {
        .clock_known = passage->frame->fit.known,
        .new_boot = passage->verdict == DEDUPE_NEW_BOOT,
        .why = passage->frame->hole_count > 0 ? passage->frame->holes[0].reason : NULL,
        .lost = passage->lost,
        .first_ns = passage->first_ns,
        .last_ns = passage->last_ns};
    if (!passage->in_order && passage->frame->fit.known) {
        return;
    }
    if (gap_watch_frame(&passage->node->watch, &seen, &gap)) {
        add_gap(passage, &gap);
        return;
    }
    if (passage->in_order) {
        add_told_holes(passage);
    }
    int64_t last[NODE_CHANNELS_MAX];
    memcpy(last, before->last_ns, sizeof last);
    for (size_t i = 0; passage->in_order && i < passage->count; i++) {
        const struct block *block = &passage->blocks[i];
        if (gap_between(passage->node->index, &passage->list->channels[block->channel],
                        last[block->channel], block_time_ns(block, 0), &gap)) {
            add_gap(passage, &gap);
        }
        last[block->channel] = block_time_ns(block, block->count - 1);
    }
}

static int put_channels(struct passage *passage, struct error *error)
{
    struct intake *intake = passage->intake;
    struct intake_node *node = passage->node;
    const struct channel_list *list = passage->list;
    if (node->told_boot == list->boot) {
        return 0;
    }
    if (night_put_channels(intake->settings.writer, node->index, list->boot, list->channels,
                           list->count, error)) {
        return -1;
    }
    if (passage->verdict == DEDUPE_STRAY) {
        return 0;
    }
    node->told_boot = list->boot;
    return pipeline_set_channels(intake->settings.pipeline, node->index, list->channels,
                                 list->count, error);
}

static int put_clock(struct passage *passage, struct error *error)
{
    if (!passage->in_order) {
        return 0;
    }
    int64_t sd = clock_fit_uncertainty_ns(&passage->frame->fit, passage->frame->until_node_ns);
    return intake_tell_clock(passage->intake, passage->node, passage->first_ns,
                             cook_round_uncertainty(sd), error);
}

static void push(struct passage *passage)
{
    if (!passage->in_order) {
        return;
    }
    passage->late =
        intake_push(passage->intake, passage->node->index, passage->blocks, passage->count);
    intake_advance(passage->intake, passage->node, passage->until_ns);
}

/* Each stage once, over however many attempts it takes. */
static int put_all(struct passage *passage, struct held_frame *held, struct error *error)
{
    struct intake *intake = passage->intake;
    if (!(held->done & STAGE_CHANNELS) && put_channels(passage, error)) {
        return -1;
    }
    held->done |= STAGE_CHANNELS;
    for (; held->gaps_told < passage->gap_count; held->gaps_told++) {
        if (intake_tell_gap(intake, &passage->gaps[held->gaps_told], error)) {
            return -1;
        }
    }
    if (!(held->done & STAGE_CLOCK) && put_clock(passage, error)) {
        return -1;
    }
    held->done |= STAGE_CLOCK;
    if (!(held->done & STAGE_PIPELINE)) {
        push(passage);
        held->late = passage->late;
    }
    held->done |= STAGE_PIPELINE;
    passage->late = held->late;
    const struct night_frame_id id = {passage->node->index, passage->frame->boot,
                                      passage->frame->seq};
    return night_put_frame(intake->settings.writer, &id, &passage->frame->fit, passage->blocks,
                           passage->node_t0_ns, passage->count, passage->late, error);
}

static void count_taken(struct passage *passage)
{
    struct intake *intake = passage->intake;
    struct intake_node *node = passage->node;
    intake->counts.frames++;
    for (size_t i = 0; i < passage->count; i++) {
        intake->counts.samples += passage->blocks[i].count;
    }
    if (passage->late) {
        intake->counts.late++;
        intake_say(intake, &node->said_late, node->index, "blocks",
                   "stored, but too late or too odd in time to be judged live");
    }
    if (intake->settings.hooks.blocks) {
        intake->settings.hooks.blocks(intake->settings.hooks.context, node->index,
                                      passage->list->channels, passage->blocks, passage->count,
                                      passage->late);
    }
}

static void take(struct passage *passage)
{
    struct intake *intake = passage->intake;
    struct intake_node *node = passage->node;
    const struct frame *frame = passage->frame;
    struct held_frame *held = &node->held;
    struct error error;
    if (held->boot == frame->boot && held->seq == frame->seq) {
        node->cook = held->cook;
        node->unclocked = held->unclocked;
        node->watch = held->watch;
    } else {
        *held = (struct held_frame){.boot = frame->boot,
                                    .seq = frame->seq,
                                    .cook = node->cook,
                                    .unclocked = node->unclocked,
                                    .watch = node->watch};
    }
    cook_frame(passage);
    find_gaps(passage, &held->cook);
    if (put_all(passage, held, &error)) {
        node->cook = held->cook;
        node->unclocked = held->unclocked;
        node->watch = held->watch;
        dedupe_refuse(&node->dedupe, frame->boot, frame->seq, frame->oldest_seq);
        intake->counts.full++;
        intake_say(intake, &node->said_full, node->index, "blocks refused", error.text);
        return;
    }
    held->boot = 0;
    dedupe_take(&node->dedupe, frame->boot, frame->seq);
    if (intake->settings.ack && passage->verdict == DEDUPE_NEW_BOOT) {
        ack_begin_boot(intake->settings.ack, node->index, frame->boot);
    }
    count_taken(passage);
}

void intake_take_frame(struct intake *intake, struct intake_node *node, const uint8_t *payload,
                       size_t length)
{
    struct error error;
    struct frame frame;
    struct passage passage = {.intake = intake, .node = node, .frame = &frame};
    if (wire_decode(payload, length, &intake->arena, &frame, &error) ||
        check_numbers(&frame, &error)) {
        intake->counts.malformed++;
        intake_say(intake, &intake->said_malformed, node->index, "blocks", error.text);
        return;
    }
    intake_lead_to_site(intake, &frame.fit);
    passage.verdict =
        dedupe_look(&node->dedupe, frame.boot, frame.seq, frame.oldest_seq, &passage.lost);
    if (passage.verdict == DEDUPE_SEEN) {
        intake->counts.duplicates++;
        if (intake->settings.ack) {
            ack_repeat(intake->settings.ack, node->index, frame.boot);
        }
        return;
    }
    if (passage.verdict == DEDUPE_AHEAD) {
        dedupe_refuse(&node->dedupe, frame.boot, frame.seq, frame.oldest_seq);
        intake->counts.ahead++;
        intake_say(intake, &node->said_ahead, node->index, "blocks",
                   "refused: an earlier frame is missing and comes first");
        if (intake->settings.ack) {
            ack_repeat(intake->settings.ack, node->index, frame.boot);
        }
        return;
    }
    passage.list = find_list(intake, node, frame.boot);
    if (!passage.list) {
        dedupe_refuse(&node->dedupe, frame.boot, frame.seq, frame.oldest_seq);
        return;
    }
    if (check_blocks(&frame, passage.list, &error)) {
        dedupe_refuse(&node->dedupe, frame.boot, frame.seq, frame.oldest_seq);
        intake->counts.malformed++;
        intake_say(intake, &intake->said_malformed, node->index, "blocks", error.text);
        return;
    }
    take(&passage);
}
