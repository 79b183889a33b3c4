/* What the intake keeps of each node, shared between its files. Private to intake*.c.
 * Must never be seen outside collector/ingest. */
#ifndef ROOMWAKE_COLLECTOR_INGEST_INTAKE_NODE_H
#define ROOMWAKE_COLLECTOR_INGEST_INTAKE_NODE_H

#include "collector/ingest/cook.h"
#include "collector/ingest/dedupe.h"
#include "collector/ingest/gaps.h"
#include "collector/ingest/intake.h"
#include "collector/ingest/said.h"
#include "collector/ingest/senml_node.h"
#include "collector/model/mark_book.h"
#include "common/wire.h"

#define INTAKE_LISTS 4
#define INTAKE_GAPS_A_FRAME 8
/* A frame whose channel list does not come within this is read by the node's newest list. */
#define INTAKE_HELLO_WAIT_NS INT64_C(8000000000)

/* The channels of one boot. */
struct channel_list {
    uint64_t boot; /* 0: empty */
    size_t count;
    struct channel channels[NODE_CHANNELS_MAX];
};

/* How far a frame got before the writer's queue was full; it goes on from there when the node
 * sends it again, so that nothing is told twice. */
enum frame_stage { STAGE_CHANNELS = 1, STAGE_CLOCK = 2, STAGE_PIPELINE = 4 };

struct held_frame {
    uint64_t boot; /* 0: none */
    uint64_t seq;
    unsigned done; /* enum frame_stage */
    size_t gaps_told;
    bool late;
    struct cook cook; /* as before the frame, as are the others */
    struct cook unclocked;
    struct gap_watch watch;
};

struct intake_node {
    uint32_t index;
    struct channel_list lists[INTAKE_LISTS]; /* a ring */
    size_t list_next;
    uint64_t missing_boot; /* frames of it wait for their channel list */
    int64_t missing_since_ns;
    uint64_t told_boot; /* whose channels the night and the pipeline know */
    struct dedupe dedupe;
    struct cook cook;
    struct cook unclocked; /* for frames whose clock was never known: node time as it is */
    struct gap_watch watch;
    struct held_frame held;
    int64_t clock_sd_ns;  /* -1 before the first */
    int64_t told_from_ns; /* the gap that an earlier recorder told last; INT64_MIN: none */
    int64_t told_to_ns;
    bool advanced;
    bool waited_for;
    struct senml_node *senml; /* NULL before the first pack */
    uint64_t senml_seq;
    int64_t senml_lag_ns; /* how old its records are when they come, with room to spare */
    bool senml_lost;      /* records since the last frame that the writer could not take */
    struct said said_ahead;
    struct said said_missing;
    struct said said_full;
    struct said said_late;
    struct said said_senml;
};

struct intake {
    struct intake_settings settings;
    struct intake_counts counts;
    struct intake_node **nodes; /* made when a node is first heard */
    struct wire_arena arena;
    int64_t *times_ns; /* WIRE_SAMPLES_MAX: cooked explicit times of one frame */
    int64_t next_mark_id;
    struct mark_book marks; /* as they stand */
    int64_t quiet_begun_ns; /* the last spell by hand; 0: none */
    int64_t reminded_ns;    /* of the marks that run; 0: not yet */
    struct said said_malformed;
    struct said said_unknown;
};

/* NULL where memory ran out, which is logged. */
struct intake_node *intake_get_node(struct intake *intake, uint32_t index);
int64_t intake_now(const struct intake *intake);
/* A fit that leads to UTC is led on to the site's time; others, and unknown ones, stay. */
void intake_lead_to_site(const struct intake *intake, struct clock_fit *fit);
/* Logged at most every SAID_EVERY_NS; counted by the caller. */
void intake_say(struct intake *intake, struct said *said, uint32_t node, const char *what,
                const char *why);
const char *intake_node_id(const struct intake *intake, uint32_t node);

/* NULL where there is none of that boot. */
const struct channel_list *intake_find_list(const struct intake_node *node, uint64_t boot);
const struct channel_list *intake_newest_list(const struct intake_node *node);
void intake_add_list(struct intake_node *node, uint64_t boot, const struct channel *channels,
                     size_t count);

/* The pipeline's and the night's view of the node's clock, where it changed. */
int intake_tell_clock(struct intake *intake, struct intake_node *node, int64_t time_ns,
                      int64_t clock_sd_ns, struct error *error);
int intake_tell_gap(struct intake *intake, const struct gap *gap, struct error *error);
/* Pushes all or, where the pipeline finds them too late, none: returns whether that is so. */
bool intake_push(struct intake *intake, uint32_t node, const struct block *blocks, size_t count);
void intake_advance(struct intake *intake, struct intake_node *node, int64_t until_ns);

/* One file each. */
void intake_take_frame(struct intake *intake, struct intake_node *node, const uint8_t *payload,
                       size_t length);
void intake_take_mark(struct intake *intake, const uint8_t *payload, size_t length);
/* Now and then says which marks still run. */
void intake_remind_marks(struct intake *intake, int64_t now_ns);
void intake_take_baseline(struct intake *intake, const uint8_t *payload, size_t length);
void intake_take_question(struct intake *intake, const uint8_t *payload, size_t length);
void intake_take_senml(struct intake *intake, struct intake_node *node, const uint8_t *payload,
                       size_t length);

#endif
