/* What happens to this machine's clocks while a night is recorded: told, and kept out of the night.
 * Must never let the site's time step: order and durations rest on it. Called by session_build.c.
 */
#include <inttypes.h>
#include <stdio.h>
#include <unistd.h>

#include "collector/night/reader.h"
#include "collector/record/running.h"
#include "collector/record/session_parts.h"
#include "common/log.h"
#include "common/timefmt.h"

/* The newest sample of all nodes; INT64_MIN where there is none. */
static int find_newest(const struct session *session, int64_t *newest_ns, struct error *error)
{
    struct night_reader *reader = NULL;
    if (night_reader_open(session->settings->night_path, &reader, error) != 0) {
        return -1;
    }
    int result = 0;
    *newest_ns = INT64_MIN;
    for (uint32_t node = 0; result == 0 && node < session->settings->site->node_count; node++) {
        struct night_left left;
        result = night_read_left(reader, node, &left, error);
        if (result == 0 && left.clocked && left.last_ns > *newest_ns) {
            *newest_ns = left.last_ns;
        }
    }
    night_reader_close(reader);
    return result;
}

int session_clock_take_up(struct session *session, struct error *error)
{
    struct running left;
    struct error none;
    int64_t newest_ns = INT64_MIN;
    if (access(session->settings->night_path, F_OK) != 0) {
        return 0;
    }
    if (find_newest(session, &newest_ns, error) != 0) {
        return -1;
    }
    if (running_find_left(session->settings->site->id, &left, &none) == 0) {
        site_clock_resume(&session->clock, left.site_less_mono_ns, left.clock_set_ns);
    }
    if (newest_ns > site_clock_now_ns(&session->clock)) {
        log_warning("this machine's clock says a time before the night's last sample: the night's "
                    "own time goes on from there");
        site_clock_set(&session->clock, newest_ns + NS_PER_S);
    }
    return 0;
}

static void say_sleep(struct session *session, int64_t slept_ns)
{
    char length[TIMEFMT_SIZE];
    char text[256];
    timefmt_duration(slept_ns, length);
    (void)snprintf(text, sizeof text,
                   "this machine was suspended for %s: nodes kept what they sampled, but the time "
                   "from before to after may be off by a second",
                   length);
    station_say(session->station, "clock", text);
    time_server_set_started(session->time_server, session->clock.set_ns,
                            session->clock.utc_error_ns);
}

static void say_step(struct session *session, int64_t step_ns)
{
    char length[TIMEFMT_SIZE];
    char text[256];
    timefmt_duration(step_ns < 0 ? -step_ns : step_ns, length);
    (void)snprintf(text, sizeof text,
                   "this machine's clock was set %s by %s: the night's own time goes on as it was",
                   step_ns < 0 ? "back" : "forward", length);
    station_say(session->station, "clock", text);
}

int64_t session_clock_now_ns(void *session)
{
    return site_clock_now_ns(&((struct session *)session)->clock);
}

struct clock_fit session_clock_utc_to_site(void *context)
{
    const struct session *session = context;
    return utc_line_to_site(&session->utc, &session->clock);
}

void session_clock_look(struct session *session)
{
    struct site_clock_news news;
    bool any = site_clock_look(&session->clock, &news);
    utc_line_look(&session->utc, &session->clock);
    if (!any) {
        return;
    }
    if (news.slept_ns > 0) {
        say_sleep(session, news.slept_ns);
    } else {
        say_step(session, news.wall_step_ns);
    }
}
