/* The acts' parts, shared by acts.c and its files for each kind.
 * Must never be included by anything else. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_ACTS_INSIDE_H
#define ROOMWAKE_COLLECTOR_RECORD_ACTS_INSIDE_H

#include <stdbool.h>

#include "collector/questions/holding.h"
#include "collector/record/acts.h"
#include "collector/record/errand.h"
#include "collector/record/preflight_watch.h"
#include "collector/record/walk_watch.h"

enum act_state { ACT_NONE, ACT_RUNNING, ACT_OVER, ACT_LEFT, ACT_FAILED };

struct act_preflight {
    enum act_state state;
    struct preflight_watch *watch;
    struct error error;
};

struct act_walk {
    enum act_state state;
    struct walk_watch *watch;
    struct walk_wishes wishes;
    struct error error;
};

struct act_quiet {
    enum act_state state;
    bool first; /* the night's own */
    int64_t from_ns;
    int64_t length_ns; /* 0: until it is ended */
    int64_t ended_ns;  /* by hand; 0: not */
    bool longer;       /* it goes on beyond its length */
    bool summary_due;
    struct text summary;
};

struct act_ask {
    enum act_state state;
    struct question_plan *plan; /* of the session that is held from the page */
    struct holding *holding;
    struct holding_step step;
    char said[HOLDING_TEXT_SIZE]; /* the last that the team was told */
    int64_t until_ns;
    char why[256];
    uv_timer_t timer;
    /* The session that the night has been told of last, whoever holds it. */
    char open_id[IDENT_SIZE];
    int64_t open_ns; /* 0: none is open */
    double open_length_s;
    uint32_t open_window;
    int64_t answers_ns; /* when the answers are to be counted; 0: not */
    struct text answers;
};

/* What the thread is sent for; its own until it is back. */
struct act_look {
    int64_t now_ns;
    bool preflight;
    bool walk;
    bool summary;
    bool answers;
    struct error preflight_error;
    struct error walk_error;
    struct text summary_text;
    struct text answers_text;
};

struct acts {
    struct acts_settings settings;
    struct errand *errand;
    uv_timer_t tick;
    bool closing; /* nothing is begun any more */
    bool closed;
    struct act_look look;
    struct act_preflight preflight;
    struct act_walk walk;
    struct act_quiet quiet;
    struct act_ask ask;
    struct text json; /* as it was told last */
};

int64_t acts_now_ns(const struct acts *acts);
/* Tells all pages how the acts stand, where that is something new. */
void acts_tell(struct acts *acts);
/* Refuses while a question session is being held, by whomever. */
int acts_refuse_session(const struct acts *acts, struct error *error);

/* acts_before.c */
int acts_preflight(struct acts *acts, const struct web_act *asked, struct text *said,
                   struct error *error);
int acts_walk(struct acts *acts, const struct web_act *asked, struct text *said,
              struct error *error);
void acts_before_look(struct acts *acts); /* on the thread */
void acts_before_back(struct acts *acts); /* on the loop, after it */
void acts_before_free(struct acts *acts);

/* acts_quiet.c */
int acts_quiet(struct acts *acts, const struct web_act *asked, struct text *said,
               struct error *error);
void acts_quiet_tick(struct acts *acts);
void acts_quiet_look(struct acts *acts);
void acts_quiet_back(struct acts *acts);

/* acts_ask.c */
int acts_ask(struct acts *acts, const struct web_act *asked, struct text *said,
             struct error *error);
void acts_ask_break(struct acts *acts, const char *why);
void acts_ask_look(struct acts *acts);
void acts_ask_back(struct acts *acts);
void acts_ask_free(struct acts *acts);

/* acts_tell.c: all of it as JSON; times count from the night's start. */
void acts_write(const struct acts *acts, struct text *out);

#endif
