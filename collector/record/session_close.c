/* The end of a recorded night: the page, the night, then all that still has a handle on the loop.
 * Must never wait on the loop's thread: the disk, and whoever still reads the night, are waited for
 * on another. Called by session.c. */
#include "collector/record/session_parts.h"

#include <stdio.h>

#include "collector/night/night_fold.h"
#include "common/log.h"

/* Another program that reads the night is waited for so long. */
#define WAIT_MS 30000u
#define PAUSE_MS 250u

static void on_nothing(void *context)
{
    (void)context;
}

void session_close_page(struct session *session)
{
    web_live_end(session->live);
    web_server_close(session->web);
    acts_close(session->acts);
}

/* What was never built is skipped. */
static void close_handles(struct session *session)
{
    if (session->timers_open) {
        uv_close((uv_handle_t *)&session->tick, NULL);
        uv_close((uv_handle_t *)&session->interrupt, NULL);
        uv_close((uv_handle_t *)&session->terminate, NULL);
        session->timers_open = false;
    }
    loop_watch_stop(&session->watch);
    for (size_t i = 0; i < OUTLET_COUNT; i++) {
        outlet_close(session->outlets[i], on_nothing, NULL);
    }
    if (session->ack) {
        ack_close(session->ack, on_nothing, NULL);
    }
    if (session->time_server) {
        time_server_close(session->time_server, NULL, NULL);
    }
    session_keys_close(session->keys);
    session->keys = NULL;
    if (session->broker) {
        broker_child_stop(session->broker, on_nothing, NULL);
    }
}

static void close_rest(struct session *session)
{
    uv_close((uv_handle_t *)&session->closing.pause, NULL);
    close_handles(session);
}

static void fail(struct session *session)
{
    session->failure = session->closing.error;
    session->writer_failed = true;
    close_rest(session);
}

static void fold(uv_work_t *work)
{
    struct session *session = work->data;
    struct session_closing *closing = &session->closing;
    closing->outcome =
        night_fold(session->settings->night_path, 0, &closing->whole, &closing->error);
}

static void on_folded(uv_work_t *work, int status);

static void fold_again(uv_timer_t *pause)
{
    struct session *session = pause->data;
    (void)uv_queue_work(&session->loop, &session->closing.work, fold, on_folded);
}

static void wait_for_reader(struct session *session)
{
    struct session_closing *closing = &session->closing;
    if (!closing->waiting) {
        char text[256];
        closing->waiting = true;
        closing->since_ms = uv_now(&session->loop);
        (void)snprintf(text, sizeof text,
                       "all is stored and sealed, but another program still has the night open: "
                       "close it. Waiting for at most %u s; Ctrl-C ends the wait",
                       WAIT_MS / 1000);
        station_say(session->station, "closing", text);
    }
    if (closing->give_up || uv_now(&session->loop) - closing->since_ms >= WAIT_MS) {
        closing->left_open = true;
        close_rest(session);
        return;
    }
    (void)uv_timer_start(&closing->pause, fold_again, PAUSE_MS, 0);
}

static void on_folded(uv_work_t *work, int status)
{
    struct session *session = work->data;
    struct session_closing *closing = &session->closing;
    (void)status;
    if (closing->outcome == 0) {
        close_rest(session);
    } else if (closing->error.code == ERROR_BUSY) {
        wait_for_reader(session);
    } else {
        (void)error_wrap(&closing->error, "not closed; all samples are stored");
        fail(session);
    }
}

static void end_night(uv_work_t *work)
{
    struct session *session = work->data;
    struct session_closing *closing = &session->closing;
    closing->outcome = night_writer_end(closing->writer, session->end_ns, &closing->error);
    closing->writer = NULL;
}

static void on_night_ended(uv_work_t *work, int status)
{
    struct session *session = work->data;
    (void)status;
    if (session->closing.outcome != 0) {
        fail(session);
    } else {
        fold_again(&session->closing.pause);
    }
}

void session_close(void *context)
{
    struct session *session = context;
    struct session_closing *closing = &session->closing;
    session_close_page(session);
    session_log_close(session);
    if (!session->writer) {
        close_handles(session);
        return;
    }
    closing->writer = session->writer;
    session->writer = NULL;
    closing->work.data = session;
    closing->pause.data = session;
    (void)uv_timer_init(&session->loop, &closing->pause);
    (void)uv_queue_work(&session->loop, &closing->work, end_night, on_night_ended);
}

void session_close_late(struct session *session)
{
    const char *night = session->settings->night_path;
    struct error error;
    bool whole = false;
    if (!session->closing.left_open || night_fold(night, 0, &whole, &error) == 0) {
        return;
    }
    log_warning("%s: another program still has it open. The night is closed and sealed, %s%s%s; "
                "when that program has ended, make it one file: sqlite3 %s 'PRAGMA "
                "journal_mode=delete'",
                night,
                whole ? "and whole in this one file; what lies beside it is empty"
                      : "but a part of it lies in ",
                whole ? "" : night, whole ? "" : "-wal: keep both together", night);
}
