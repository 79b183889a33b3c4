/* MQTT messages of the nodes -> checked -> the night and the pipeline. Knows nothing of MQTT
 * itself. Must never judge a sample, and never keep a part of a message: all of it or nothing. On
 * the loop's thread; the session feeds it. */
#ifndef ROOMWAKE_COLLECTOR_INGEST_INTAKE_H
#define ROOMWAKE_COLLECTOR_INGEST_INTAKE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/ingest/ack.h"
#include "collector/model/gap.h"
#include "collector/model/mark.h"
#include "collector/model/question.h"
#include "collector/night/writer.h"
#include "collector/pipeline/pipeline.h"
#include "common/block.h"
#include "common/error.h"
#include "common/message.h"
#include "common/site.h"

/* A node whose samples lag further behind than this is no longer waited for. */
#define INTAKE_WAIT_NS INT64_C(10000000000)
/* SenML nodes send when they like: their samples are taken as complete this long after, or longer
 * where a node is seen to send older ones, up to INTAKE_SENML_LAG_MOST_NS. */
#define INTAKE_SENML_LAG_NS INT64_C(2000000000)
#define INTAKE_SENML_LAG_MOST_NS INT64_C(9000000000)

/* Told after the night and the pipeline have it; any may be NULL. Nothing pointed to outlives the
 * call. */
struct intake_hooks {
    void *context;
    void (*hello)(void *context, uint32_t node, const struct message_hello *hello);
    void (*state)(void *context, uint32_t node, const struct message_state *state);
    /* Blocks in site time; `late`: the pipeline did not take them. */
    void (*blocks)(void *context, uint32_t node, const struct channel *channels,
                   const struct block *blocks, size_t count, bool late);
    void (*mark)(void *context, const struct mark *mark);
    /* Still not ended, now and then. */
    void (*mark_runs)(void *context, const struct mark *mark);
    /* A quiet spell was begun or ended by hand. */
    void (*quiet)(void *context, const struct quiet_order *order);
    /* The answer to a mark or a baseline that came as a message. */
    void (*said)(void *context, const struct message_said *said);
    void (*gap)(void *context, const struct gap *gap);
    void (*question)(void *context, const struct question_step *step);
    /* The node's 1-sigma clock uncertainty changed. */
    void (*clock)(void *context, uint32_t node, int64_t time_ns, int64_t clock_sd_ns);
    /* The others wait for the node again, or no longer. */
    void (*waited_for)(void *context, uint32_t node, bool waited_for);
};

/* Copied; what is pointed to must outlive the intake. */
struct intake_settings {
    const struct site *site;
    struct night_writer *writer;
    struct pipeline *pipeline;
    struct ack *ack; /* NULL where nobody waits for `stored` */
    int64_t (*site_now_ns)(void *context);
    void *clock_context;
    /* From UTC to the site's time, for nodes that keep UTC; known, with clock_context. */
    struct clock_fit (*utc_to_site)(void *context);
    int64_t night_start_ns;
    int64_t marks_from_ns; /* a mark that was over before this is refused */
    uint64_t senml_boot;   /* random, not 0: the boot that SenML nodes' frames are filed under */
    struct intake_hooks hooks;
};

struct intake_counts {
    uint64_t messages;
    uint64_t frames;
    uint64_t samples;
    uint64_t duplicates;
    uint64_t late;         /* frames stored that the pipeline could not take */
    uint64_t ahead;        /* refused: an earlier frame must come first */
    uint64_t malformed;    /* any message that did not decode or did not hold together */
    uint64_t unknown_node; /* or another site's */
    uint64_t no_hello;     /* frames refused for want of a channel list */
    uint64_t full;         /* refused: the writer's queue was full; the node sends again */
    uint64_t senml_packs;
    uint64_t senml_skipped; /* records that are no channel of the node */
};

struct intake;

int intake_new(const struct intake_settings *settings, struct intake **intake, struct error *error);
void intake_free(struct intake *intake);

/* Before the first message, for a night that is continued: what came of the node before, so that
 * nothing is taken twice and no hole across the time without a recorder goes unnamed. The node is
 * then told once more what is stored. */
struct night_left;
void intake_resume(struct intake *intake, uint32_t node, const struct night_left *left);
/* Likewise each mark of such a night, in order: it counts on. */
int intake_resume_mark(struct intake *intake, const struct mark *mark, struct error *error);
int intake_resume_quiet(struct intake *intake, const struct quiet_order *order,
                        struct error *error);
/* One message; faults are counted and logged, not returned. */
void intake_message(struct intake *intake, const char *topic, const uint8_t *payload,
                    size_t length);
/* A mark made at the base station itself, or a change of one; *mark (may be NULL) is what it
 * became, `note` (may be NULL) what else to know. Refused (ERROR_USAGE, ERROR_NOT_FOUND,
 * ERROR_RANGE) with what to do instead. */
int intake_mark(struct intake *intake, const struct message_mark *message, struct mark *mark,
                char note[MESSAGE_TEXT_SIZE], struct error *error);
/* A quiet spell begun or ended at the base station itself; refused (ERROR_USAGE) with what to do.
 */
int intake_baseline(struct intake *intake, const struct message_baseline *message,
                    struct error *error);
/* A step of a question session that is held at the base station itself. */
int intake_question(struct intake *intake, const struct message_question *said,
                    struct error *error);
/* About once a second: stops waiting for nodes that lag, advances SenML nodes. */
void intake_tick(struct intake *intake);
/* At the end, before the pipeline finishes: names the gaps that reach to end_ns. */
int intake_finish(struct intake *intake, int64_t end_ns, struct error *error);

const struct intake_counts *intake_get_counts(const struct intake *intake);

#endif
