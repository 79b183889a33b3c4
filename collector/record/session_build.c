/* The base station's parts, built in one column, and what each tells the others.
 * Must never hold logic of its own. Called by session.c, which tears down in the reverse order. */
#include "collector/record/session_parts.h"

#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <unistd.h>

#include "collector/night/reader.h"
#include "collector/record/running.h"
#include "common/log.h"
#include "common/service.h"

#define TICK_MS 1000u

static void on_told(void *context, const struct coincidence *coincidence, const char *line)
{
    struct session *session = context;
    station_say(session->station, "finding", line);
    web_live_finding(session->live, coincidence);
}

static void on_withdrawn(void *context, const struct coincidence *coincidence, const char *line)
{
    struct session *session = context;
    station_say(session->station, "explained", line);
    web_live_finding(session->live, coincidence);
}

static void on_alert(void *context, const struct alert *alert)
{
    struct session *session = context;
    station_say(session->station, "ALERT", alert->line);
    web_live_finding(session->live, alert->coincidence);
    for (size_t i = 0; i < OUTLET_COUNT; i++) {
        if (session->outlets[i]) {
            outlet_raise(session->outlets[i], alert);
        }
    }
}

static void on_noticed(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                       const char *text)
{
    (void)quantity;
    (void)time_ns;
    (void)text;
    struct session *session = context;
    station_noticed(session->station, node);
    web_live_noticed(session->live, node);
}

static void on_disturbed(void *context, const struct disturbance *disturbance)
{
    web_live_disturbed(((struct session *)context)->live, disturbance);
}

static void on_blocks(void *context, uint32_t node, const struct channel *channels,
                      const struct block *blocks, size_t count, bool late)
{
    (void)late;
    web_live_blocks(((struct session *)context)->live, node, channels, blocks, count);
}

static void on_hello(void *context, uint32_t node, const struct message_hello *hello)
{
    struct session *session = context;
    station_hello(session->station, node, hello);
    web_live_hello(session->live, node);
}

static void on_state(void *context, uint32_t node, const struct message_state *state)
{
    struct session *session = context;
    station_state(session->station, node, state);
    web_live_state(session->live, node, state);
}

static void on_mark(void *context, const struct mark *mark)
{
    station_mark(((struct session *)context)->station, mark);
}

static void on_mark_runs(void *context, const struct mark *mark)
{
    station_mark_runs(((struct session *)context)->station, mark);
}

static void on_quiet(void *context, const struct quiet_order *order)
{
    struct session *session = context;
    station_quiet(session->station, order);
    acts_take_quiet(session->acts, order);
}

static void on_said(void *context, const struct message_said *said)
{
    session_publish_said(context, said);
}

static void on_question(void *context, const struct question_step *step)
{
    struct session *session = context;
    station_question(session->station, step);
    acts_take_question(session->acts, step);
}

static void on_gap(void *context, const struct gap *gap)
{
    station_gap(((struct session *)context)->station, gap);
}

static void on_waited_for(void *context, uint32_t node, bool waited_for)
{
    struct session *session = context;
    station_waited_for(session->station, node, waited_for);
    web_live_waited_for(session->live, node, waited_for);
}

static void on_disk(void *context, const struct error *failure)
{
    struct session *session = context;
    station_disk(session->station, failure);
    web_live_disk(session->live, failure);
}

static void on_tick(uv_timer_t *timer)
{
    struct session *session = timer->data;
    service_alive();
    if (!session->writer) {
        return; /* the night is being closed */
    }
    session_clock_look(session);
    intake_tick(session->intake);
    session_say_seal(session);
}

static void on_held_up(void *context, int64_t busy_ns, int64_t own_ns)
{
    struct session *session = context;
    if (!session->stopping) {
        station_held_up(session->station, busy_ns, own_ns);
    }
}

static void on_signal(uv_signal_t *signal, int number)
{
    struct session *session = signal->data;
    if (session->closing.waiting) {
        session->closing.give_up = true;
        return;
    }
    if (session->stopping) {
        log_error("signal %d again: ended at once; the night is not closed", number);
        _exit(1);
    }
    session_stop(session);
}

/* A night that is there already is continued if its recorder died, refused if it was finished. */
static int look_at_night(struct session *session, struct error *error)
{
    const char *path = session->settings->night_path;
    session->analysis = NIGHT_ANALYSIS_LIVE;
    if (access(path, F_OK) != 0) {
        return 0;
    }
    struct night_reader *reader = NULL;
    struct night_info info;
    if (night_reader_open(path, &reader, error) != 0) {
        return -1;
    }
    int result = night_read_info(reader, &info, error);
    night_reader_close(reader);
    if (result != 0) {
        return -1;
    }
    if (info.end_ns != 0) {
        return error_set(error, ERROR_BUSY,
                         "%s: is a finished night; name another file to record into", path);
    }
    session->continued = true;
    session->begun_ns = info.start_ns;
    web_live_begin(session->live, info.start_ns);
    session->analysis = info.analysis + 1;
    return 0;
}

static int open_night(struct session *session, struct error *error)
{
    const struct session_settings *settings = session->settings;
    if (look_at_night(session, error) != 0) {
        return -1;
    }
    const struct night_settings night = {
        .path = settings->night_path,
        .site = settings->site,
        .site_text = settings->site_text,
        .start_ns = site_clock_now_ns(&session->clock),
        .origin = "recorded",
        .reopen = session->continued,
        .clock = settings->clock,
    };
    if (!session->continued) {
        session->begun_ns = night.start_ns;
        acts_begin_night(session->acts, night.start_ns);
        web_live_begin(session->live, night.start_ns);
    }
    if (night_writer_open(&night, ack_on_committed, session->ack, &session->writer, error) != 0) {
        return -1;
    }
    session_log_open(session);
    if (session->continued) {
        station_say(session->station, "night", "continued: its recorder had died");
    }
    return night_put_analysis(session->writer, session->analysis, settings->site,
                              session->continued ? "live, continued" : "live", error);
}

static int build_findings(struct session *session, struct error *error)
{
    const struct session_settings *settings = session->settings;
    const struct findings_hooks hooks = {.context = session,
                                         .told = on_told,
                                         .alert = on_alert,
                                         .withdrawn = on_withdrawn,
                                         .disturbed = on_disturbed,
                                         .noticed = on_noticed};
    if (findings_new(settings->site, session->writer, session->analysis, false, &hooks,
                     &session->findings, error) != 0) {
        return -1;
    }
    const struct finding_sink sink = findings_sink(session->findings);
    return pipeline_new(settings->site, &sink, &session->pipeline, error);
}

static int build_intake(struct session *session, struct error *error)
{
    uint64_t boot = 0;
    while (boot == 0) {
        if (getrandom(&boot, sizeof boot, 0) != (ssize_t)sizeof boot) {
            return error_set(error, ERROR_IO, "getrandom: %s", strerror(errno));
        }
    }
    const struct intake_settings settings = {
        .site = session->settings->site,
        .writer = session->writer,
        .pipeline = session->pipeline,
        .ack = session->ack,
        .site_now_ns = session_clock_now_ns,
        .utc_to_site = session_clock_utc_to_site,
        .clock_context = session,
        .night_start_ns = site_clock_now_ns(&session->clock),
        .marks_from_ns = session->begun_ns,
        .senml_boot = boot,
        .hooks = {.context = session,
                  .hello = on_hello,
                  .state = on_state,
                  .blocks = on_blocks,
                  .mark = on_mark,
                  .mark_runs = on_mark_runs,
                  .quiet = on_quiet,
                  .said = on_said,
                  .question = on_question,
                  .gap = on_gap,
                  .waited_for = on_waited_for},
    };
    if (intake_new(&settings, &session->intake, error) != 0) {
        return -1;
    }
    if (!session->continued) {
        return 0;
    }
    return session_resume_marks(session, error) != 0 ? -1 : session_resume_nodes(session, error);
}

static int build_time_server(struct session *session, struct error *error)
{
    const struct time_server_settings settings = {
        .loop = &session->loop,
        .address = session->settings->time_host,
        .port = (uint16_t)session->settings->time_port,
        .site_now_ns = site_clock_now_ns,
        .context = &session->clock,
        .started_ns = session->clock.set_ns,
        .root_dispersion_ns = session->clock.utc_error_ns,
    };
    return time_server_new(&settings, &session->time_server, error);
}

static int build_outlets(struct session *session, struct error *error)
{
    const struct session_settings *settings = session->settings;
    if (outlet_mqtt_new(settings->site, session_publish_alert, session,
                        &session->outlets[OUTLET_MQTT], error) != 0) {
        return -1;
    }
    return settings->on_alert ? outlet_command_new(&session->loop, settings->on_alert,
                                                   &session->outlets[OUTLET_COMMAND], error)
                              : 0;
}

static int build_timers(struct session *session, struct error *error)
{
    (void)uv_timer_init(&session->loop, &session->tick);
    (void)uv_signal_init(&session->loop, &session->interrupt);
    (void)uv_signal_init(&session->loop, &session->terminate);
    session->tick.data = session;
    session->interrupt.data = session;
    session->terminate.data = session;
    session->timers_open = true;
    if (uv_timer_start(&session->tick, on_tick, TICK_MS, TICK_MS) != 0 ||
        uv_signal_start(&session->interrupt, on_signal, SIGINT) != 0 ||
        uv_signal_start(&session->terminate, on_signal, SIGTERM) != 0) {
        return error_set(error, ERROR_IO, "signals: can't be watched");
    }
    return loop_watch_start(&session->watch, &session->loop, on_held_up, session, error);
}

static int build_ack(struct session *session, struct error *error)
{
    const struct ack_settings settings = {
        .loop = &session->loop,
        .site = session->settings->site,
        .context = session,
        .publish = session_publish_stored,
        .disk = on_disk,
    };
    return ack_new(&settings, &session->ack, error);
}

static int announce(struct session *session, struct error *error)
{
    const struct session_settings *settings = session->settings;
    struct running running = {.pid = (int)getpid(),
                              .site_less_mono_ns = site_clock_less_mono_ns(&session->clock),
                              .clock_set_ns = session->clock.set_ns};
    char text[PATH_MAX + 512];
    (void)snprintf(running.site, sizeof running.site, "%s", settings->site->id);
    (void)snprintf(running.broker, sizeof running.broker, "%s", session->url);
    char whole[PATH_MAX];
    if (realpath(settings->night_path, whole) != NULL) {
        (void)snprintf(running.night, sizeof running.night, "%s", whole);
    }
    if (running_write(&running, error) != 0) {
        return -1;
    }
    session->running_written = true;
    (void)snprintf(text, sizeof text, "site %s into %s; broker %s; time server %s port %u",
                   settings->site->id, settings->night_path, session->broker_at,
                   settings->time_host, (unsigned)time_server_port(session->time_server));
    station_say(session->station, "recording", text);
    session_broker_say(session);
    session_page_announce(session);
    if (session_say_key(session, error) != 0) {
        return -1;
    }
    station_say(session->station, "caution",
                "permission, two people, a torch each, a certified carbon monoxide alarm; mains "
                "wiring is for licensed people (README, Cautions)");
    return 0;
}

int session_build(struct session *session, struct error *error)
{
    const struct session_settings *settings = session->settings;
    if (session_clock_take_up(session, error) != 0 || session_page_build(session, error) != 0) {
        return -1;
    }
    if (settings->broker_url == NULL && session_broker_start(session, error) != 0) {
        return -1;
    }
    if (build_time_server(session, error) != 0 || build_ack(session, error) != 0 ||
        open_night(session, error) != 0 || build_findings(session, error) != 0 ||
        build_intake(session, error) != 0 || build_outlets(session, error) != 0 ||
        build_timers(session, error) != 0 || session_link_start(session, error) != 0) {
        return -1;
    }
    return announce(session, error);
}
