/* The parts of a running session, shared by session.c (run and tear down), session_build.c and
 * session_link.c (the broker's side). Must never be included by anything else. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_SESSION_PARTS_H
#define ROOMWAKE_COLLECTOR_RECORD_SESSION_PARTS_H

#include <stdbool.h>
#include <uv.h>

#include "collector/alert/outlet.h"
#include "collector/ingest/ack.h"
#include "collector/ingest/intake.h"
#include "collector/ingest/time_server.h"
#include "collector/night/writer.h"
#include "collector/pipeline/pipeline.h"
#include "collector/record/acts.h"
#include "collector/record/broker_child.h"
#include "collector/record/findings.h"
#include "collector/record/loop_watch.h"
#include "collector/record/running.h"
#include "collector/record/session.h"
#include "collector/record/session_keys.h"
#include "collector/record/site_clock.h"
#include "collector/record/utc_line.h"
#include "collector/record/station.h"
#include "collector/web/live.h"
#include "collector/web/server.h"
#include "common/mqtt_uv.h"

enum { OUTLET_PRINT, OUTLET_MQTT, OUTLET_COMMAND, OUTLET_COUNT };

/* How much of it may go into the night; see session_log.c. */
struct session_log {
    uv_thread_t thread; /* the loop's */
    int64_t earned_ns;  /* 0: not open */
    int used;
    uint64_t left_out;
};

/* The night's end, which may have to wait for another program that reads it; see session_close.c.
 * Between a work's start and its end all but `give_up` is the other thread's. */
struct session_closing {
    uv_work_t work;
    uv_timer_t pause;
    struct night_writer *writer;
    uint64_t since_ms; /* the loop's time at which waiting began */
    bool waiting;
    bool give_up;   /* the team has pressed again */
    bool left_open; /* it was not waited for any longer */
    bool whole;     /* as night_fold tells it */
    int outcome;
    struct error error;
};

struct session {
    const struct session_settings *settings;
    uv_loop_t loop;
    struct site_clock clock;
    struct utc_line utc;
    struct station *station;
    struct web_live *live; /* NULL: no page */
    struct web_server *web;
    struct acts *acts; /* NULL: no page */
    struct night_writer *writer;
    bool writer_failed;
    struct error failure; /* of the end, told when the loop is over */
    struct findings *findings;
    struct pipeline *pipeline;
    struct ack *ack;
    struct intake *intake;
    struct time_server *time_server;
    struct broker_child *broker;
    struct mqtt_uv *mqtt;
    char *mqtt_storage;
    char url[RUNNING_URL_SIZE];       /* with the base station's password: not for people's eyes */
    char broker_at[RUNNING_URL_SIZE]; /* for people's eyes */
    struct session_keys *keys;        /* NULL: an open broker, or one of somebody else's */
    struct outlet *outlets[OUTLET_COUNT];
    struct loop_watch watch;
    uv_timer_t tick;
    uv_signal_t interrupt;
    uv_signal_t terminate;
    bool timers_open;
    bool stopping;
    bool was_up;      /* the broker, at least once */
    int analysis;     /* what live findings are filed under */
    int64_t begun_ns; /* the night */
    bool continued;   /* an earlier recorder died on this night */
    bool running_written;
    struct session_log log;
    struct session_closing closing;
    int64_t seal_told; /* the last seal whose root was said */
    int64_t end_ns;
};

/* Builds the column that session.c takes down in reverse. */
int session_build(struct session *session, struct error *error);
/* Findings first, then the disk, then the nodes are told, then the link, then the rest. */
void session_stop(struct session *session);
/* The page first of all: whoever still reads the night would keep it from being one file. */
void session_close_page(struct session *session);
/* The page, the night, then everything that has a handle on the loop. `context` is the session. */
void session_close(void *context);
/* Once nothing else is to be done with the night: one more try, else what to do is told. */
void session_close_late(struct session *session);
/* From here on what is said goes into the night too; until the close, before the writer's. */
void session_log_open(struct session *session);
void session_log_close(struct session *session);
/* A night that is continued: its marks and quiet spells, and what each node has in it already. */
int session_resume_marks(struct session *session, struct error *error);
int session_resume_nodes(struct session *session, struct error *error);
/* An earlier recorder's site clock goes on where it was; and what happens to the machine's clocks,
 * once a second. */
int session_clock_take_up(struct session *session, struct error *error);
void session_clock_look(struct session *session);
/* For the intake: `session` is a struct session. */
int64_t session_clock_now_ns(void *session);
struct clock_fit session_clock_utc_to_site(void *session);
/* The broker of its own, and what is said of it at the start, where it can still be changed. */
int session_broker_start(struct session *session, struct error *error);
void session_broker_say(struct session *session);
/* The MQTT client, its subscriptions and what comes in; and the publishing that others need. */
int session_link_start(struct session *session, struct error *error);
/* The page: built first, so that what is said reaches it; told of where it is at the end. */
int session_page_build(struct session *session, struct error *error);
void session_page_announce(struct session *session);
/* Whose key seals the night, at the start; then each root as it is sealed; at the end, the last. */
int session_say_key(struct session *session, struct error *error);
void session_say_seal(struct session *session);
int session_read_root(const struct session *session, uint8_t root[32], struct error *error);
int session_publish_stored(void *session, const char *topic, const char *payload, size_t length);
/* The answer to a mark or a baseline, to whoever sent it. */
void session_publish_said(struct session *session, const struct message_said *said);
int session_publish_alert(void *session, const char *topic, const void *payload, size_t length);

#endif
