/* A night being recorded: run on one loop, torn down in the reverse order of session_build.c.
 * Must never hold logic of its own. Called by cmd_record.c. */
#include "collector/record/session.h"

#include <stdlib.h>
#include <string.h>

#include "collector/record/analyse.h"
#include "collector/record/final_fit.h"
#include "collector/record/running.h"
#include "collector/record/session_parts.h"
#include "common/log.h"
#include "common/service.h"
#include "common/timefmt.h"

void session_stop(struct session *session)
{
    struct error error;
    acts_stop(session->acts);
    session->end_ns = site_clock_now_ns(&session->clock);
    if (intake_finish(session->intake, session->end_ns, &error) != 0 ||
        pipeline_finish(session->pipeline, &error) != 0 ||
        night_writer_flush(session->writer, &error) != 0) {
        log_error("%s", error.text);
    }
    station_pace(session->station, &session->watch.lag);
    service_ending();
    ack_flush(session->ack);
    session->stopping = true;
    mqtt_uv_stop(session->mqtt, session_close, session);
}

static void free_parts(struct session *session)
{
    if (session->running_written) {
        running_remove(session->settings->site->id);
    }
    intake_free(session->intake);
    pipeline_free(session->pipeline);
    findings_free(session->findings);
    for (size_t i = 0; i < OUTLET_COUNT; i++) {
        outlet_free(session->outlets[i]);
    }
    if (session->mqtt) {
        mqtt_uv_free(session->mqtt);
    }
    free(session->mqtt_storage);
    time_server_free(session->time_server);
    if (session->ack) {
        ack_free(session->ack);
    }
    broker_child_free(session->broker);
    web_server_free(session->web);
    acts_free(session->acts);
    web_live_free(session->live);
    station_free(session->station);
}

/* A session that could not be built: no night is left behind unless it was there before. */
static void unwind(struct session *session)
{
    session->stopping = true;
    session_close_page(session);
    if (session->writer && session->continued) {
        struct error ignored;
        (void)night_writer_close(session->writer, 0, &ignored);
    } else if (session->writer) {
        night_writer_abandon(session->writer);
    }
    session->writer = NULL;
    if (session->mqtt) {
        mqtt_uv_stop(session->mqtt, session_close, session);
    } else {
        session_close(session);
    }
    (void)uv_run(&session->loop, UV_RUN_DEFAULT);
}

/* What came too late for the live pipeline joins now. */
static int analyse_again(struct session *session, struct session_result *result,
                         struct error *error)
{
    const char *why = NULL;
    if (session->continued) {
        why = "the night was continued after its recorder had died";
    } else if (result->late_frames > 0) {
        why = "samples came too late for the live analysis";
    } else if (result->findings.unstored > 0) {
        why = "not every live finding could be stored";
    }
    if (!why) {
        return 0;
    }
    station_say(session->station, "analysing", why);
    return analyse_night(session->settings->night_path, NULL, why, NULL, &result->findings,
                         &result->analysis, error);
}

/* The night is safe already: what fails here is told, and can be had by hand later. */
static void fit_again(struct session *session)
{
    struct final_fit end;
    struct error error;
    char most[TIMEFMT_SIZE];
    char text[256];
    station_say(session->station, "clocks", "being fitted again from the whole night");
    if (final_fit_make(session->settings->night_path, &end, &error) != 0) {
        log_warning("%s: the clocks are not fitted again; roomwake reanalyse --refit does it",
                    error.text);
        return;
    }
    if (end.analysis == 0) {
        return;
    }
    timefmt_duration(end.most_ns, most);
    (void)snprintf(
        text, sizeof text, "fitted again: no time moved by more than %s; %s (analysis %d)", most,
        end.stands ? "the findings stand as they are" : "roomwake review tells what that changed",
        end.analysis);
    station_say(session->station, "clocks", text);
}

static int run(struct session *session, struct session_result *result, struct error *error)
{
    if (session_build(session, error) != 0) {
        unwind(session);
        return -1;
    }
    result->start_ns = session->clock.start_utc_ns;
    (void)uv_run(&session->loop, UV_RUN_DEFAULT);
    const struct intake_counts *counts = intake_get_counts(session->intake);
    result->samples = counts->samples;
    result->late_frames = counts->late;
    result->findings = *findings_get_counts(session->findings);
    result->analysis = session->analysis;
    result->end_ns = session->end_ns;
    if (session->writer_failed) {
        *error = session->failure;
        return -1;
    }
    if (session_read_root(session, result->root, error) != 0) {
        return -1;
    }
    if (analyse_again(session, result, error) != 0) {
        return -1;
    }
    fit_again(session);
    session_close_late(session);
    return 0;
}

int session_run(const struct session_settings *settings, struct session_result *result,
                struct error *error)
{
    struct session *session = calloc(1, sizeof *session);
    memset(result, 0, sizeof *result);
    if (!session) {
        return error_set(error, ERROR_MEMORY, "session: out of memory");
    }
    session->settings = settings;
    site_clock_init(&session->clock, settings->clock);
    utc_line_init(&session->utc, kernel_clock_system());
    int outcome = -1;
    if (uv_loop_init(&session->loop) != 0) {
        (void)error_set(error, ERROR_MEMORY, "session: no event loop");
    } else if (station_new(settings->site, &session->clock, &session->station, error) == 0) {
        outcome = run(session, result, error);
        free_parts(session);
        if (uv_loop_close(&session->loop) != 0) {
            log_error("session: a handle was left open");
        }
    }
    free(session);
    return outcome;
}
