/* Every read of a night that there is, as typed cursors. Read-only; must never write, checkpoint,
 * or hold a statement open longer than its cursor lives. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_READER_H
#define ROOMWAKE_COLLECTOR_NIGHT_READER_H

#include <stdbool.h>
#include <stdint.h>

#include "collector/model/coincidence.h"
#include "collector/model/gap.h"
#include "collector/model/mark.h"
#include "collector/model/question.h"
#include "collector/model/quiet.h"
#include "common/block.h"
#include "common/error.h"
#include "common/site.h"
#include "common/text.h"

struct night_reader;

/* ERROR_NOT_FOUND, ERROR_FORMAT (no night, or a damaged one), ERROR_VERSION (made by a newer
 * Roomwake). A night that is being recorded, or was left by a crash, opens too. */
int night_reader_open(const char *path, struct night_reader **reader, struct error *error);
void night_reader_close(struct night_reader *reader);
/* As night_reader_open, but a night that is cut short or damaged opens too, as far as it can be
 * read: a read then fails where its part is lost, and numbers of nodes and rooms may be out of
 * range. For review and verify. */
int night_reader_open_damaged(const char *path, struct night_reader **reader, struct error *error);
/* What is wrong with a night that opened as a damaged one; NULL for a sound one. */
const char *night_reader_damage(const struct night_reader *reader);

/* From here to the release all reads see the night as it is now, and none asks for it anew: quick,
 * for reads that take seconds. (Meanwhile the log of a night that is being recorded is not folded,
 * so never for longer.) */
int night_reader_hold(struct night_reader *reader, struct error *error);
void night_reader_release(struct night_reader *reader);

/* The root that the night's samples were sealed with at its end, as hex; "" where there is none, or
 * its signature does not hold. The rows are not looked at. */
int night_read_root(struct night_reader *reader, char root[65], struct error *error);

/* The public key of the last seal, as hex; "" where there is none. */
int night_read_key(struct night_reader *reader, char key[65], struct error *error);

/* What the seal says of the night, as far as that is quickly looked at: all of a small night; of a
 * large one everything but its samples. */
enum night_seal_state {
    NIGHT_SEAL_HOLDS,
    NIGHT_SEAL_BROKEN,
    NIGHT_SEAL_OPEN /* the night was not closed: what there is of seals holds */
};
struct night_seal {
    enum night_seal_state state;
    bool whole; /* the samples were looked at too */
    char root[65];
};
/* `analysis` is the one whose findings are looked at. */
int night_read_seal(struct night_reader *reader, int analysis, struct night_seal *seal,
                    struct error *error);

struct night_info {
    char id[IDENT_SIZE * 2]; /* "SITE-YYYYMMDDTHHMMSSZ" */
    char origin[256];
    int64_t start_ns;
    int64_t end_ns; /* 0 while it is being recorded or was not closed */
    int analysis;   /* whose findings are looked at: the newest, or the one that was chosen */
    bool refitted;  /* its times are those of clocks that were fitted again from the whole night */
    int refit;      /* the one made so at the night's end, later than `analysis`; 0: none */
};

/* Why an analysis was made whose clocks were fitted again at the night's end. It stands beside the
 * others: where none is chosen, it is passed over. */
#define NIGHT_WHY_FITTED_AGAIN "clocks fitted again from the whole night"

/* From here on `analysis` 0 means this one; ERROR_NOT_FOUND. */
int night_choose_analysis(struct night_reader *reader, int analysis, struct error *error);

int night_read_info(struct night_reader *reader, struct night_info *info, struct error *error);
/* The site as of this analysis (reanalyse --set may have changed it); 0 takes the newest. Caller
 * frees. */
int night_read_site(struct night_reader *reader, int analysis, struct site **site,
                    struct error *error);

/* The site file as it was when the night began; appended to *text. */
int night_read_site_text(struct night_reader *reader, struct text *text, struct error *error);

/* A node's channels as of its last boot; returns the count in *count. */
int night_read_channels(struct night_reader *reader, uint32_t node, struct channel *channels,
                        size_t size, size_t *count, struct error *error);

/* How many samples a second an evenly timed channel really gave, in site time, over all of the
 * night's blocks and none of its holes; NaN where there is too little to tell. */
int night_read_rate(struct night_reader *reader, uint32_t node, const char *channel,
                    double *rate_hz, struct error *error);

/* Every channel of every boot, by boot and place in its list. A non-zero return of `each` stops and
 * is returned. */
int night_each_channel(struct night_reader *reader,
                       int (*each)(void *context, uint32_t node, const struct channel *channel),
                       void *context, struct error *error);

/* Blocks in the order of t0 (then node, channel, frame), site time, those with a sample in from
 * (inclusive) to (exclusive); INT64_MIN and INT64_MAX for all. node SIZE_MAX: all nodes. Late
 * frames are among them.
 *
 * A frame whose clock was never known is kept with its node's own times, which count from the
 * node's start, and told as the gap "clock never known". From INT64_MIN therefore means: from
 * NIGHT_BEFORE_START_NS before the night's start. */
#define NIGHT_BEFORE_START_NS (INT64_C(7) * 24 * 3600 * 1000000000)
struct night_blocks;
struct night_block_row {
    uint32_t node;
    uint64_t boot;
    uint64_t seq;
    struct block block; /* valid until the next step */
    struct channel channel;
    int64_t node_t0_ns;
};
int night_blocks_open(struct night_reader *reader, size_t node, int64_t from_ns, int64_t to_ns,
                      struct night_blocks **cursor, struct error *error);
/* 1: a row, 0: the end, -1: error. */
int night_blocks_next(struct night_blocks *cursor, struct night_block_row *row,
                      struct error *error);
void night_blocks_close(struct night_blocks *cursor);

/* Every change of a node's clock uncertainty, in time order (then node). Each reader below calls
 * `each` for every row; a non-zero return stops and is returned. */
int night_each_clock(struct night_reader *reader,
                     int (*each)(void *context, uint32_t node, int64_t time_ns,
                                 int64_t clock_sd_ns),
                     void *context, struct error *error);
/* Gaps by start, marks by id, findings by id, notices and log lines as they came. `analysis` 0
 * takes the newest. */
int night_each_gap(struct night_reader *reader, int (*each)(void *context, const struct gap *gap),
                   void *context, struct error *error);
int night_each_mark(struct night_reader *reader,
                    int (*each)(void *context, const struct mark *mark), void *context,
                    struct error *error);
/* Each mark as it stands after its corrections, by its number (mark->id), without those taken back;
 * what was never ended ends with the night. */
int night_each_standing_mark(struct night_reader *reader,
                             int (*each)(void *context, const struct mark *mark), void *context,
                             struct error *error);
int night_each_disturbance(struct night_reader *reader, int analysis,
                           int (*each)(void *context, const struct disturbance *disturbance),
                           void *context, struct error *error);
int night_each_coincidence(struct night_reader *reader, int analysis,
                           int (*each)(void *context, const struct coincidence *coincidence),
                           void *context, struct error *error);
int night_each_notice(struct night_reader *reader, int analysis,
                      int (*each)(void *context, uint32_t node, const char *quantity,
                                  int64_t time_ns, const char *text),
                      void *context, struct error *error);
int night_each_log(struct night_reader *reader,
                   int (*each)(void *context, int64_t time_ns, const char *level, const char *text),
                   void *context, struct error *error);

/* The steps of the night's question sessions, in the order in which they came; `step` is valid for
 * the call. */
int night_each_question(struct night_reader *reader,
                        int (*each)(void *context, const struct question_step *step), void *context,
                        struct error *error);
/* The quiet spells by hand, in the order in which they were told. */
int night_each_quiet(struct night_reader *reader,
                     int (*each)(void *context, const struct quiet_order *order), void *context,
                     struct error *error);

/* Samples stored of a node, over all its channels; 0 in first_ns and last_ns where there are none.
 */
struct night_node_summary {
    uint64_t samples;
    uint64_t frames;
    uint64_t late_frames;
    int64_t first_ns;
    int64_t last_ns;
    int64_t clock_sd_ns; /* median of what was told; -1 where never told */
};
int night_read_node_summary(struct night_reader *reader, uint32_t node,
                            struct night_node_summary *summary, struct error *error);

/* Where a night that was left without an end stops for a node, so that its recording goes on from
 * there: its boots, the newest first, each with the highest message number stored. */
#define NIGHT_LEFT_BOOTS 16
struct night_left {
    size_t boot_count;
    struct {
        uint64_t boot;
        uint64_t seq;
    } boots[NIGHT_LEFT_BOOTS];
    bool clocked;   /* last_ns and channel_last_ns are known */
    bool unclocked; /* after that came frames whose clock was never known */
    int64_t last_ns;
    int64_t channel_last_ns[NODE_CHANNELS_MAX]; /* by place; INT64_MIN: not among the last frames */
    int64_t gap_start_ns;                       /* of the gap told last; INT64_MIN: none */
    int64_t gap_end_ns;
};
int night_read_left(struct night_reader *reader, uint32_t node, struct night_left *left,
                    struct error *error);

#endif
