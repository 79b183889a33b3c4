/* What the software did, into the night: the station's lines, and its own warnings and errors.
 * Must never fill a night: after a burst, one line in ten seconds, and how many were left out.
 * Called by session_build.c and session.c. */
#include "collector/record/session_parts.h"

#include <stdio.h>
#include <string.h>

#include "common/log.h"

#define BURST 400
#define ONE_EVERY_NS (10 * NS_PER_S)
#define LINE_SIZE 1024

/* Whether there is room for one more line; a line earns its room back in ONE_EVERY_NS. */
static bool may_put(struct session_log *log, int64_t now_ns)
{
    int64_t earned = (now_ns - log->earned_ns) / ONE_EVERY_NS;
    if (earned > 0) {
        log->earned_ns += earned * ONE_EVERY_NS;
        log->used = earned < log->used ? log->used - (int)earned : 0;
    }
    return log->used < BURST;
}

static void put(struct session *session, int64_t now_ns, const char *level, const char *text)
{
    struct error ignored; /* a full queue is told already, and this is no sample */
    if (night_put_log(session->writer, now_ns, level, text, &ignored) != 0) {
        session->log.left_out++;
    } else {
        session->log.used++;
    }
}

static void put_line(struct session *session, int64_t now_ns, const char *level, const char *text)
{
    struct session_log *log = &session->log;
    if (!session->writer || !may_put(log, now_ns)) {
        log->left_out++;
        return;
    }
    if (log->left_out > 0) {
        char left_out[64];
        (void)snprintf(left_out, sizeof left_out, "%llu lines before this were left out",
                       (unsigned long long)log->left_out);
        log->left_out = 0;
        put(session, now_ns, "info", left_out);
    }
    put(session, now_ns, level, text);
}

static void on_said(void *context, int64_t time_ns, const char *head, const char *text)
{
    struct session *session = context;
    char line[LINE_SIZE];
    bool bad = strcmp(head, "NOT RECORDING") == 0 || strcmp(head, "SILENT") == 0 ||
               strcmp(head, "SLOW") == 0;
    (void)snprintf(line, sizeof line, "%s: %s", head, text);
    put_line(session, time_ns, bad ? "warning" : "info", line);
}

/* Other threads' lines are few, and those that matter reach the station. */
static void on_logged(void *context, enum log_level level, const char *line)
{
    struct session *session = context;
    uv_thread_t self = uv_thread_self();
    if (level <= LOG_LEVEL_WARNING && uv_thread_equal(&self, &session->log.thread)) {
        put_line(session, site_clock_now_ns(&session->clock),
                 level == LOG_LEVEL_ERROR ? "error" : "warning", line);
    }
}

void session_log_open(struct session *session)
{
    session->log = (struct session_log){.thread = uv_thread_self(),
                                        .earned_ns = site_clock_now_ns(&session->clock)};
    station_listen(session->station, on_said, session);
    log_set_sink(on_logged, session);
}

void session_log_close(struct session *session)
{
    log_set_sink(NULL, NULL);
    if (session->writer && session->log.earned_ns != 0) {
        put(session, site_clock_now_ns(&session->clock), "info", "recording ended in order");
    }
}
