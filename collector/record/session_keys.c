/* The site's keys, watched.
 * Must never read them on the loop's thread once it runs. Called by session_build.c, session.c. */
#include "collector/record/session_keys.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "collector/enrol/keys.h"
#include "common/ident.h"

#define SETTLE_MS 100u /* enrolling writes several files */

struct session_keys {
    struct enrol_broker broker;
    char site[IDENT_SIZE];
    struct session_keys_hooks hooks;
    uv_fs_event_t watch;
    uv_timer_t settle;
    uv_work_t work;
    bool working;
    bool again; /* changed while it was being read */
    bool closing;
    int open_handles;
    struct enrol_broker users;
    int outcome;
    struct error error;
};

static void release(struct session_keys *keys)
{
    if (keys->closing && keys->open_handles == 0 && !keys->working) {
        enrol_broker_free(&keys->broker);
        free(keys);
    }
}

static void on_closed(uv_handle_t *handle)
{
    struct session_keys *keys = handle->data;
    keys->open_handles--;
    release(keys);
}

static void on_work(uv_work_t *work)
{
    struct session_keys *keys = work->data;
    keys->outcome = enrol_broker_reload(keys->site, &keys->users, &keys->error);
}

static void on_settled(uv_timer_t *timer);

static void on_read(uv_work_t *work, int status)
{
    struct session_keys *keys = work->data;
    (void)status;
    keys->working = false;
    if (!keys->closing && keys->outcome == 0) {
        keys->hooks.changed(keys->hooks.context, &keys->users);
    } else if (!keys->closing) {
        keys->hooks.failed(keys->hooks.context, keys->error.text);
    }
    enrol_broker_free(&keys->users);
    if (keys->again && !keys->closing) {
        (void)uv_timer_start(&keys->settle, on_settled, SETTLE_MS, 0);
    }
    keys->again = false;
    release(keys);
}

static void on_settled(uv_timer_t *timer)
{
    struct session_keys *keys = timer->data;
    if (keys->working) {
        keys->again = true;
    } else if (uv_queue_work(timer->loop, &keys->work, on_work, on_read) == 0) {
        keys->working = true;
    }
}

static void on_change(uv_fs_event_t *watch, const char *name, int events, int status)
{
    struct session_keys *keys = watch->data;
    (void)events;
    if (status == 0 && name && strcmp(name, KEYS_PASSWORDS) == 0) {
        (void)uv_timer_start(&keys->settle, on_settled, SETTLE_MS, 0);
    }
}

int session_keys_new(uv_loop_t *loop, const char *site, const char *host,
                     const struct session_keys_hooks *hooks, struct session_keys **out,
                     struct error *error)
{
    struct session_keys *keys = calloc(1, sizeof *keys);
    if (!keys) {
        return error_set(error, ERROR_MEMORY, "keys: out of memory");
    }
    if (enrol_broker_load(site, host, &keys->broker, error) != 0) {
        free(keys);
        return -1;
    }
    (void)strncpy(keys->site, site, sizeof keys->site - 1);
    keys->hooks = *hooks;
    (void)uv_fs_event_init(loop, &keys->watch);
    (void)uv_timer_init(loop, &keys->settle);
    keys->watch.data = keys;
    keys->settle.data = keys;
    keys->work.data = keys;
    keys->open_handles = 2;
    *out = keys;
    int result = uv_fs_event_start(&keys->watch, on_change, keys->broker.folder, 0);
    return result == 0 ? 0
                       : error_set(error, ERROR_IO, "%s: can't be watched: %s", keys->broker.folder,
                                   uv_strerror(result));
}

const struct enrol_broker *session_keys_broker(const struct session_keys *keys)
{
    return &keys->broker;
}

void session_keys_close(struct session_keys *keys)
{
    if (keys && !keys->closing) {
        keys->closing = true;
        uv_close((uv_handle_t *)&keys->watch, on_closed);
        uv_close((uv_handle_t *)&keys->settle, on_closed);
    }
}
