/* A quiet spell begun or ended by hand: into the night's log with the time from which it counts,
 * and to the pipeline. Must never take effect at a time of which samples were judged already.
 * Called by intake.c. */
#include <inttypes.h>
#include <math.h>
#include <stdio.h>

#include "collector/ingest/intake.h"
#include "collector/ingest/intake_node.h"
#include "collector/model/quiet.h"
#include "common/text.h"
#include "common/timefmt.h"

/* Of a spell that is ended by hand: with less nothing can be learnt. Our choice. */
#define LEAST_NS (15 * NS_PER_S)
/* It counts from a little later, so that no node has sent samples of that time yet. */
#define SOON_NS (NS_PER_S / 2)

static int check_begin(const struct intake *intake, int64_t now_ns, struct error *error)
{
    if (intake->quiet_begun_ns != 0 && now_ns - intake->quiet_begun_ns < QUIET_APART_NS) {
        return error_set(error, ERROR_USAGE,
                         "a quiet spell began %.0f s ago: let it go on, or begin again once it has "
                         "lasted a minute",
                         fmax(0.0, (double)(now_ns - intake->quiet_begun_ns) * 1e-9));
    }
    return 0;
}

static int check_end(const struct intake *intake, int64_t now_ns, struct error *error)
{
    if (intake->quiet_begun_ns != 0 && now_ns - intake->quiet_begun_ns < LEAST_NS) {
        return error_set(error, ERROR_USAGE,
                         "only %.0f s of quiet so far: at least %d s are needed, and ten minutes "
                         "are better",
                         fmax(0.0, (double)(now_ns - intake->quiet_begun_ns) * 1e-9),
                         (int)(LEAST_NS / NS_PER_S));
    }
    if (pipeline_count_learning(intake->settings.pipeline) == 0) {
        return error_set(error, ERROR_USAGE,
                         "nothing is being learnt: every quiet spell is over, or no node is heard "
                         "yet. To learn anew: roomwake baseline --begin");
    }
    return 0;
}

static int store(struct intake *intake, const struct quiet_order *order, struct error *error)
{
    char seconds[TIMEFMT_SIZE];
    struct text json = {0};
    timefmt_seconds(order->length_ns, seconds);
    (void)text_append_format(&json, "{\"what\":\"%s\",\"length_s\":%s}",
                             order->end ? "end" : "begin", seconds);
    int result = json.failed ? error_set(error, ERROR_MEMORY, "out of memory")
                             : night_put_log(intake->settings.writer, order->from_ns,
                                             QUIET_LOG_LEVEL, json.bytes, error);
    text_free(&json);
    return result;
}

int intake_resume_quiet(struct intake *intake, const struct quiet_order *order, struct error *error)
{
    return pipeline_quiet(intake->settings.pipeline, order, error);
}

int intake_baseline(struct intake *intake, const struct message_baseline *message,
                    struct error *error)
{
    int64_t now_ns = intake_now(intake);
    int64_t reached_ns = pipeline_reached_ns(intake->settings.pipeline);
    struct quiet_order order = {.from_ns = now_ns + SOON_NS,
                                .end = message->end,
                                .length_ns = message->end ? 0 : message->length_ns};
    if (order.from_ns <= reached_ns) {
        order.from_ns = reached_ns + 1;
    }
    if ((message->end ? check_end(intake, now_ns, error) : check_begin(intake, now_ns, error)) ||
        store(intake, &order, error) || pipeline_quiet(intake->settings.pipeline, &order, error)) {
        return -1;
    }
    intake->quiet_begun_ns = message->end ? intake->quiet_begun_ns : order.from_ns;
    if (intake->settings.hooks.quiet) {
        intake->settings.hooks.quiet(intake->settings.hooks.context, &order);
    }
    return 0;
}

void intake_take_baseline(struct intake *intake, const uint8_t *payload, size_t length)
{
    struct error error;
    struct message_baseline message = {.ref = ""};
    struct message_said said = {.number = 0};
    if (message_baseline_read((const char *)payload, length, &message, &error) ||
        intake_baseline(intake, &message, &error)) {
        intake->counts.malformed++;
        said_warn(&intake->said_malformed, intake_now(intake), "baseline refused", error.text);
        (void)snprintf(said.error, sizeof said.error, "%s", error.text);
    }
    (void)snprintf(said.ref, sizeof said.ref, "%s", message.ref);
    if (intake->settings.hooks.said) {
        intake->settings.hooks.said(intake->settings.hooks.context, &said);
    }
}
