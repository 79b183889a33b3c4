/* The small JSON messages between nodes, base station and the user's scripts.
 * Must never trust what comes in: bounded, checked, each fault named. */
#ifndef ROOMWAKE_COMMON_MESSAGE_H
#define ROOMWAKE_COMMON_MESSAGE_H

#include <stdbool.h>
#include <stdint.h>

#include "common/channel.h"
#include "common/clock_fit.h"
#include "common/error.h"
#include "common/text.h"

#define MESSAGE_TEXT_SIZE 512
#define MESSAGE_EXCHANGES_MAX 4
#define MESSAGE_JSON_MAX (64u * 1024u)

/* NODE/hello, retained: who this node is since its last boot.
 * {"version":1,"boot":"0123456789abcdef","software":"0.1.0",
 *  "channels":[{"name":"magnetic.x","unit":"T","rate_hz":250,"step":"1.5e-08","offset":"0"}]}
 * "least" and "most" are the counts at which its sensor is at its end, where the driver knows.
 * A calibrated channel has "calibration":{...} (calibration.h) in it; step and offset are with it.
 */
struct message_hello {
    uint64_t boot;
    char software[32];
    size_t channel_count;
    struct channel channels[NODE_CHANNELS_MAX];
};

/* What a channel's samples say of its sensor, since the node's boot unless told otherwise. */
struct message_sensor {
    char name[CHANNEL_NAME_SIZE];
    double rate_hz;   /* measured, over the last ten seconds or more; NaN: not yet, or on change */
    double noise;     /* rms between neighbours, in the unit, lately; NaN: not known */
    uint64_t clipped; /* samples at an end of its range */
    double stuck_s;   /* for so long the same count, which its noise would not give; 0: it moves */
    double missing_s; /* without samples, for a cause that is told as a hole */
};

/* NODE/state: how the node fares; the last will says only {"version":1,"gone":true}. */
struct message_state {
    bool gone;
    uint64_t boot;
    struct clock_fit fit;
    int64_t exchange_age_ns; /* since the last good exchange; -1 for never */
    int64_t round_trip_ns;   /* of the best recent exchange; -1 for none */
    /* The best of the last bursts, oldest first: t1 and t4 node time, t2 and t3 site time. May be
     * left out. */
    size_t exchange_count;
    struct clock_exchange exchanges[MESSAGE_EXCHANGES_MAX];
    double battery_v;     /* NaN where there is none */
    double battery_hours; /* left at the pace of its fall; NaN where that is not known */
    uint64_t spool_frames;
    uint64_t spool_bytes;
    uint64_t dropped_frames;      /* since boot: the spool was full */
    uint64_t spool_room_bytes;    /* that it may still take, by its bound and by its disk */
    double spool_rate_bytes_s;    /* at which samples fill it; 0: not known */
    char note[MESSAGE_TEXT_SIZE]; /* drivers at fault, in words; "" */
    size_t sensor_count;          /* now and then; else 0 */
    struct message_sensor sensors[NODE_CHANNELS_MAX];
};

/* NODE/stored, retained, from the collector: all frames of `boot` up to and with `seq`, and all
 * earlier boots, are on disk. */
struct message_stored {
    uint64_t boot;
    uint64_t seq;
};

/* mark: what the team did; or a change of an earlier mark. */
enum mark_what {
    MARK_NEW,
    MARK_CORRECT,  /* what is given replaces what was said */
    MARK_END,      /* a running mark ends, now or at end_ns */
    MARK_WITHDRAW, /* it was none */
    MARK_WHAT_COUNT
};
/* Fields that a message gave; of a correction the others stay. */
enum mark_given {
    MARK_GAVE_START = 1,
    MARK_GAVE_LENGTH = 2, /* the length, the end, or that it runs */
    MARK_GAVE_ROOM = 4,
    MARK_GAVE_WHO = 8,
    MARK_GAVE_TEXT = 16
};
const char *message_mark_what_text(enum mark_what what);
struct message_mark {
    enum mark_what what;
    int64_t number;   /* of the mark that is changed; 0 for a new one */
    int64_t start_ns; /* 0 means "now, by the collector's clock" */
    int64_t length_ns;
    int64_t end_ns;        /* where not 0, instead of the length */
    bool running;          /* goes on until it is ended */
    unsigned given;        /* enum mark_given; filled on reading, for corrections asked for */
    char room[IDENT_SIZE]; /* "" for the whole site */
    char who[IDENT_SIZE];  /* "" where not told */
    char text[MESSAGE_TEXT_SIZE];
    char ref[IDENT_SIZE]; /* quoted in the answer; "" for none */
};

/* baseline: a quiet spell begins, or what has been learnt is enough. */
struct message_baseline {
    bool end;
    int64_t length_ns; /* of a beginning: how long; 0: until it is ended */
    char ref[IDENT_SIZE];
};

/* said: what the base station made of a mark or a baseline. */
struct message_said {
    char ref[IDENT_SIZE];
    int64_t number;                /* the mark's; 0: refused, or none */
    char error[MESSAGE_TEXT_SIZE]; /* why it was refused and what to do; "" */
    char note[MESSAGE_TEXT_SIZE];  /* what else to know; "" */
};

/* question: one step of a question session, when it happens. */
#define MESSAGE_QUESTION_TEXT_SIZE (32u * 1024u)
enum question_what {
    QUESTION_PLAN,   /* text: what binds the seed (hex), a space, the plan as it was written */
    QUESTION_ASKED,  /* a response window begins after something was asked; text: what */
    QUESTION_SILENT, /* a response window begins after nobody asked */
    QUESTION_END,    /* text: the seed that all was drawn from */
    QUESTION_BROKEN, /* ended early; text: why */
    QUESTION_WHAT_COUNT
};
const char *message_question_what_text(enum question_what what);
struct message_question {
    char session[IDENT_SIZE];
    enum question_what what;
    uint32_t nth;      /* of the window, from 1; 0 for the others */
    int64_t length_ns; /* of the response window, from now by the collector's clock; else 0 */
    char *text;        /* at most MESSAGE_QUESTION_TEXT_SIZE with its end; caller's */
};

int message_hello_write(const struct message_hello *hello, struct text *out);
int message_hello_read(const char *json, size_t length, struct message_hello *hello,
                       struct error *error);
int message_state_write(const struct message_state *state, struct text *out);
int message_state_read(const char *json, size_t length, struct message_state *state,
                       struct error *error);
int message_stored_write(const struct message_stored *stored, struct text *out);
int message_stored_read(const char *json, size_t length, struct message_stored *stored,
                        struct error *error);
int message_mark_write(const struct message_mark *mark, struct text *out);
int message_mark_read(const char *json, size_t length, struct message_mark *mark,
                      struct error *error);
int message_baseline_write(const struct message_baseline *baseline, struct text *out);
int message_baseline_read(const char *json, size_t length, struct message_baseline *baseline,
                          struct error *error);
int message_said_write(const struct message_said *said, struct text *out);
int message_said_read(const char *json, size_t length, struct message_said *said,
                      struct error *error);
int message_question_write(const struct message_question *question, struct text *out);
/* On success question->text is allocated: free. */
int message_question_read(const char *json, size_t length, struct message_question *question,
                          struct error *error);

#endif
