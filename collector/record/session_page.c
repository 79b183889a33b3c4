/* The page of a running night: what it is fed with and what it may have done.
 * Must never hold logic of its own. Called by session_build.c. */
#include <stdio.h>

#include "collector/record/page.h"
#include "collector/record/session_parts.h"

static int make_mark(void *context, const struct message_mark *message, struct mark *mark,
                     struct error *error)
{
    struct session *session = context;
    if (!session->intake || session->stopping) {
        return error_set(error, ERROR_STATE, "mark: nothing is being recorded");
    }
    return intake_mark(session->intake, message, mark, NULL, error);
}

static int take_quiet(void *context, const struct message_baseline *order, struct error *error)
{
    struct session *session = context;
    if (!session->intake || session->stopping) {
        return error_set(error, ERROR_STATE, "quiet: nothing is being recorded");
    }
    return intake_baseline(session->intake, order, error);
}

static int take_question(void *context, const struct message_question *step, struct error *error)
{
    struct session *session = context;
    if (!session->intake || session->stopping) {
        return error_set(error, ERROR_STATE, "question: nothing is being recorded");
    }
    return intake_question(session->intake, step, error);
}

static size_t count_learning(void *context)
{
    const struct session *session = context;
    return session->pipeline ? pipeline_count_learning(session->pipeline) : 0;
}

static int64_t now_ns(void *context)
{
    return site_clock_now_ns(&((struct session *)context)->clock);
}

static int build_acts(struct session *session, struct error *error)
{
    const struct acts_settings settings = {
        .loop = &session->loop,
        .site = session->settings->site,
        .night_path = session->settings->night_path,
        .live = session->live,
        .context = session,
        .now_ns = now_ns,
        .quiet = take_quiet,
        .question = take_question,
        .learning = count_learning,
    };
    return acts_new(&settings, &session->acts, error);
}

static int do_act(void *context, const struct web_act *asked, struct text *said,
                  struct error *error)
{
    struct session *session = context;
    return acts_do(session->acts, asked, said, error);
}

static int write_night(void *context, const char *format, FILE *out,
                       const volatile sig_atomic_t *stop, struct error *error)
{
    const struct session *session = context;
    union {
        const char *constant;
        void *pointer;
    } path = {.constant = session->settings->night_path};
    return page_write_night(path.pointer, format, out, stop, error);
}

int session_page_build(struct session *session, struct error *error)
{
    const struct session_settings *settings = session->settings;
    if (settings->http_host == NULL) {
        return 0;
    }
    if (web_live_new(settings->site, site_clock_now_ns, &session->clock, &session->live, error) !=
        0) {
        return -1;
    }
    station_listen(session->station, web_live_line, session->live);
    if (build_acts(session, error) != 0) {
        return -1;
    }
    const struct web_settings web = {
        .loop = &session->loop,
        .host = settings->http_host,
        .port = settings->http_port,
        .live = session->live,
        .night_path = settings->night_path,
        .pair_always = settings->http_pair,
        .certificate = settings->http_certificate,
        .private_key = settings->http_key,
        .actions = {.context = session,
                    .mark = make_mark,
                    .act = do_act,
                    .write = write_night,
                    .format = page_format_live},
    };
    return web_server_new(&web, &session->web, error);
}

void session_page_announce(struct session *session)
{
    char text[160];
    if (!session->web) {
        return;
    }
    station_say(session->station, "The page:", web_server_address(session->web));
    if (web_server_is_open(session->web)) {
        (void)snprintf(text, sizeof text, "to look, a device is paired with %s; to mark, with %s",
                       web_server_code(session->web, WEB_RIGHT_VIEW),
                       web_server_code(session->web, WEB_RIGHT_MARK));
        printf("          pairing   %s\n", text); /* here only: never to who reads the page */
        (void)fflush(stdout);
    }
}
