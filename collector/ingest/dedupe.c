/* Each frame of a node once and in order, over its boots.
 * Must never let a frame through over a hole that the node can still fill.
 * Called by the intake. */
#include "collector/ingest/dedupe.h"

static const uint64_t *find_past(const struct dedupe *dedupe, uint64_t boot)
{
    size_t kept = dedupe->past_count < DEDUPE_PAST_BOOTS ? dedupe->past_count : DEDUPE_PAST_BOOTS;
    for (size_t i = 0; i < kept; i++) {
        if (dedupe->past[i].boot == boot) {
            return &dedupe->past[i].taken;
        }
    }
    return NULL;
}

static enum dedupe_verdict look_at_current(const struct dedupe *dedupe, uint64_t seq,
                                           uint64_t oldest_seq, uint64_t *lost)
{
    if (seq <= dedupe->taken) {
        return DEDUPE_SEEN;
    }
    uint64_t next = dedupe->taken + 1;
    if (oldest_seq > next) {
        *lost = oldest_seq - next;
        next = oldest_seq;
    }
    return seq == next ? DEDUPE_NEXT : DEDUPE_AHEAD;
}

enum dedupe_verdict dedupe_look(const struct dedupe *dedupe, uint64_t boot, uint64_t seq,
                                uint64_t oldest_seq, uint64_t *lost)
{
    *lost = 0;
    if (dedupe->boot == boot) {
        return look_at_current(dedupe, seq, oldest_seq, lost);
    }
    const uint64_t *past = find_past(dedupe, boot);
    if (past) {
        return seq <= *past ? DEDUPE_SEEN : DEDUPE_STRAY;
    }
    bool held_back =
        dedupe->refused_boot != 0 && dedupe->refused_boot != boot && dedupe->waiting_boot != boot;
    if (seq != oldest_seq || held_back) {
        return DEDUPE_AHEAD;
    }
    /* With no earlier boot known, what came before may lie in an earlier night. */
    *lost = dedupe->boot != 0 ? oldest_seq - 1 : 0;
    return DEDUPE_NEW_BOOT;
}

void dedupe_refuse(struct dedupe *dedupe, uint64_t boot, uint64_t seq, uint64_t oldest_seq)
{
    bool later = dedupe->refused_boot != 0 && boot != dedupe->refused_boot &&
                 boot != dedupe->boot && !find_past(dedupe, boot);
    if (later) {
        if (seq == oldest_seq) {
            dedupe->waiting_boot = boot;
        }
        return;
    }
    if (boot != dedupe->refused_boot || seq > dedupe->refused_seq) {
        dedupe->refused_seq = seq;
    }
    dedupe->refused_boot = boot;
    dedupe->waiting_boot = 0;
}

/* What was refused has come, or is known not to come any more. */
static void settle_refused(struct dedupe *dedupe, uint64_t boot, uint64_t seq)
{
    if (boot == dedupe->refused_boot) {
        dedupe->waiting_boot = 0;
        if (seq >= dedupe->refused_seq) {
            dedupe->refused_boot = 0;
        }
    } else if (boot == dedupe->waiting_boot) {
        dedupe->refused_boot = 0;
        dedupe->waiting_boot = 0;
    }
}

void dedupe_take(struct dedupe *dedupe, uint64_t boot, uint64_t seq)
{
    settle_refused(dedupe, boot, seq);
    if (dedupe->boot == boot) {
        dedupe->taken = seq;
        return;
    }
    uint64_t *past = (uint64_t *)find_past(dedupe, boot);
    if (past) {
        *past = seq > *past ? seq : *past;
        return;
    }
    if (dedupe->boot != 0) {
        size_t slot = dedupe->past_count % DEDUPE_PAST_BOOTS;
        dedupe->past[slot].boot = dedupe->boot;
        dedupe->past[slot].taken = dedupe->taken;
        dedupe->past_count++;
    }
    dedupe->boot = boot;
    dedupe->taken = seq;
}
