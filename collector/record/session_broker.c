/* A session's own broker: open on this machine alone, else with the site's keys.
 * Must never open a broker beyond this machine unasked. Called by session_build.c. */
#include <stdio.h>

#include "collector/enrol/addresses.h"
#include "collector/record/session_parts.h"
#include "common/log.h"

static void on_users(void *context, const struct enrol_broker *users)
{
    struct session *session = context;
    struct error error;
    char text[128];
    if (broker_child_reload(session->broker, users, &error) != 0) {
        log_error("%s", error.text);
        return;
    }
    (void)snprintf(text, sizeof text, "enrolled now: %zu node%s", users->node_count,
                   users->node_count == 1 ? "" : "s");
    station_say(session->station, "broker", text);
}

static void on_users_unread(void *context, const char *why)
{
    (void)context;
    log_error("who is enrolled can't be read again: %s", why);
}

int session_broker_start(struct session *session, struct error *error)
{
    const struct session_settings *settings = session->settings;
    const struct session_keys_hooks hooks = {
        .context = session, .changed = on_users, .failed = on_users_unread};
    const struct enrol_broker *keys = NULL;
    if (settings->enrolled_only) {
        if (session_keys_new(&session->loop, settings->site->id, settings->listen_host, &hooks,
                             &session->keys, error) != 0) {
            return -1;
        }
        keys = session_keys_broker(session->keys);
    }
    return broker_child_start(&session->loop, settings->listen_host, settings->listen_port, keys,
                              &session->broker, error);
}

void session_broker_say(struct session *session)
{
    char text[256];
    if (session->keys) {
        size_t count = session_keys_broker(session->keys)->node_count;
        (void)snprintf(
            text, sizeof text, "TLS, and a password for everybody; %zu node%s enrolled%s", count,
            count == 1 ? "" : "s", count == 0 ? ": roomwake enrol --site FILE NODE" : "");
        station_say(session->station, "broker", text);
    } else if (!session->settings->broker_url &&
               !addresses_is_loopback(session->settings->listen_host)) {
        station_say(
            session->station, "caution",
            "the broker is open: anybody on the network can read along, and pass for a node");
    }
}
