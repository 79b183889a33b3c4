/* What an earlier recorder of this night knew of a node, learnt again from the night.
 * Must never claim a frame that is not in the night. Called by the session. */
#include "collector/ingest/intake_node.h"
#include "collector/night/reader.h"

static void resume_times(struct intake_node *node, const struct night_left *left)
{
    for (size_t i = 0; i < NODE_CHANNELS_MAX; i++) {
        node->cook.last_ns[i] = left->channel_last_ns[i];
    }
    node->cook.until_ns = left->last_ns + 1;
    node->watch.heard = true;
    node->watch.last_ns = left->last_ns;
}

static void resume_ack(struct intake *intake, uint32_t node, const struct night_left *left)
{
    struct ack *ack = intake->settings.ack;
    for (size_t i = left->boot_count; ack && i > 0; i--) {
        const struct night_frame_id id = {node, left->boots[i - 1].boot, left->boots[i - 1].seq};
        ack_begin_boot(ack, node, id.boot);
        ack_on_committed(ack, &id, 1, NULL);
    }
}

void intake_resume(struct intake *intake, uint32_t index, const struct night_left *left)
{
    struct intake_node *node = left->boot_count > 0 ? intake_get_node(intake, index) : NULL;
    if (!node) {
        return;
    }
    for (size_t i = left->boot_count; i > 0; i--) {
        dedupe_take(&node->dedupe, left->boots[i - 1].boot, left->boots[i - 1].seq);
    }
    if (left->clocked) {
        resume_times(node, left);
    }
    node->watch.unclocked = left->unclocked;
    node->told_from_ns = left->gap_start_ns;
    node->told_to_ns = left->gap_end_ns;
    resume_ack(intake, index, left);
}
