/* What live.c, live_words.c and live_fresh.c share.
 * Must never be included by anything else. */
#ifndef ROOMWAKE_COLLECTOR_WEB_LIVE_INSIDE_H
#define ROOMWAKE_COLLECTOR_WEB_LIVE_INSIDE_H

#include "collector/web/live.h"

#define WHY_SIZE 640
/* What begins beyond so many at once is told as it comes, and not again. */
#define DISTURBED_MAX 64u

struct live_node {
    bool here; /* it said hello or its state */
    bool gone;
    bool silent;
    bool watching;
    bool clock_known;
    int64_t uncertainty_ns;
    int64_t heard_ns;
    double battery_v;     /* NaN: there is none */
    double battery_hours; /* left; NaN: not known */
    uint64_t spool_frames;
    uint64_t dropped_frames;
    char note[MESSAGE_TEXT_SIZE];
};

/* What is too much to keep for everybody: who is late gets none of it, and is told so. */
struct live_fresh {
    bool watched; /* somebody reads */
    struct text lanes;
    struct text seen;
    bool missed; /* more came than is sent at once */
    uint64_t next;
    struct text ring[WEB_LIVE_FRESH];
};

/* What left its baseline and has not returned. */
struct live_disturbed {
    uint32_t node;
    char quantity[IDENT_SIZE];
    int64_t onset_ns;
    double score;
};

struct web_live {
    const struct site *site;
    int64_t (*now_ns)(void *context);
    void *clock_context;
    void (*changed)(void *context);
    void *changed_context;
    int64_t begun_ns; /* tells this night's ids from another's */
    int64_t base_ns;  /* the night's start: times in events count from it */
    uint64_t next;
    struct text ring[WEB_LIVE_LINES];
    uint64_t version;
    struct text acts;
    uint64_t acts_version; /* 0: nothing was told */
    bool broker_told;
    bool broker_up;
    bool disk_failed;
    bool ended;
    char broker_why[WHY_SIZE];
    char disk_why[WHY_SIZE];
    struct live_node *nodes;
    struct live_disturbed disturbed[DISTURBED_MAX];
    size_t disturbed_count;
    struct live_fresh fresh;
};

/* Tells who listens. */
void live_tell(struct web_live *live);
/* Begins an event of the ring that is kept, with its id; live_end_event ends and tells it. */
struct text *live_begin_event(struct web_live *live, const char *kind);
void live_end_event(struct web_live *live, struct text *event);
/* What is disturbed now, as a list's entries. */
void live_append_disturbed(const struct web_live *live, struct text *out);

#endif
