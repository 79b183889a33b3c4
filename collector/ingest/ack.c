/* Commits in, retained `stored` messages out, at most five a second and node, or one for each eight
 * frames of a backlog.
 * Must never publish on the writer's thread, nor a seq that no commit named.
 * Called by the writer (one function) and, on the loop, by the intake and the session. */
#include "collector/ingest/ack.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "common/message.h"
#include "common/topic.h"

#define BOOTS_KEPT 8

struct committed {
    uint64_t boot;
    uint64_t seq;
};

/* What commits said of one node since the loop looked last. Under the mutex. */
struct fresh {
    size_t count;
    struct committed of[BOOTS_KEPT];
};

/* On the loop's thread. */
struct told {
    uint64_t boot; /* 0: nothing began */
    uint64_t seq;  /* 0: nothing of it is stored */
    bool due;
    bool ever;
    uint64_t last_ms;
    uint64_t last_seq; /* what was last published */
    size_t past_count;
    struct committed past[BOOTS_KEPT]; /* other boots, a ring */
    uint64_t asked;                    /* one of them that the node still holds; 0: none */
};

struct ack {
    struct ack_settings settings;
    uv_mutex_t mutex;
    struct fresh *fresh; /* one a node; under the mutex */
    bool failure_news;   /* under the mutex, as are the next two */
    bool failing;
    struct error failure;
    struct told *told; /* one a node */
    uv_async_t async;
    uv_timer_t timer;
    int open_handles;
    void (*on_closed)(void *context);
    void *closed_context;
};

static void note_commit(struct fresh *fresh, uint64_t boot, uint64_t seq)
{
    for (size_t i = 0; i < fresh->count; i++) {
        if (fresh->of[i].boot == boot) {
            fresh->of[i].seq = seq > fresh->of[i].seq ? seq : fresh->of[i].seq;
            return;
        }
    }
    /* More boots than fit before the loop came round: the oldest goes. The newest must not, for its
     * frames would be known as taken and never be told as stored. */
    if (fresh->count == BOOTS_KEPT) {
        fresh->count--;
        memmove(&fresh->of[0], &fresh->of[1], fresh->count * sizeof fresh->of[0]);
    }
    fresh->of[fresh->count++] = (struct committed){.boot = boot, .seq = seq};
}

void ack_on_committed(void *context, const struct night_frame_id *frames, size_t count,
                      const struct error *failure)
{
    struct ack *ack = context;
    uv_mutex_lock(&ack->mutex);
    for (size_t i = 0; i < count; i++) {
        if (frames[i].node < ack->settings.site->node_count) {
            note_commit(&ack->fresh[frames[i].node], frames[i].boot, frames[i].seq);
        }
    }
    bool failing = failure != NULL;
    if (failing != ack->failing) {
        ack->failing = failing;
        ack->failure_news = true;
        if (failing) {
            ack->failure = *failure;
        }
    }
    uv_mutex_unlock(&ack->mutex);
    (void)uv_async_send(&ack->async);
}

static struct committed *find_past(struct told *told, uint64_t boot)
{
    for (size_t i = 0; i < BOOTS_KEPT; i++) {
        if (told->past[i].boot == boot) {
            return &told->past[i];
        }
    }
    return NULL;
}

static void note_past(struct told *told, uint64_t boot, uint64_t seq)
{
    struct committed *past = find_past(told, boot);
    if (!past) {
        past = &told->past[told->past_count++ % BOOTS_KEPT];
        *past = (struct committed){.boot = boot};
    }
    past->seq = seq > past->seq ? seq : past->seq;
}

static void note_fresh(struct told *told, const struct committed *fresh)
{
    if (fresh->boot != told->boot) {
        note_past(told, fresh->boot, fresh->seq);
    } else if (fresh->seq > told->seq) {
        told->seq = fresh->seq;
        told->due = true;
    }
}

/* Takes over what the writer's thread left. */
static void collect(struct ack *ack)
{
    uv_mutex_lock(&ack->mutex);
    for (size_t node = 0; node < ack->settings.site->node_count; node++) {
        struct fresh *fresh = &ack->fresh[node];
        struct told *told = &ack->told[node];
        for (size_t i = 0; i < fresh->count; i++) {
            note_fresh(told, &fresh->of[i]);
        }
        fresh->count = 0;
    }
    bool news = ack->failure_news;
    bool failing = ack->failing;
    struct error failure = ack->failure;
    ack->failure_news = false;
    uv_mutex_unlock(&ack->mutex);
    if (news && ack->settings.disk) {
        ack->settings.disk(ack->settings.context, failing ? &failure : NULL);
    }
}

static int publish_one(struct ack *ack, size_t node, uint64_t boot, uint64_t seq)
{
    char topic[TOPIC_SIZE];
    struct text json = {0};
    const struct message_stored stored = {.boot = boot, .seq = seq};
    topic_format(TOPIC_STORED, ack->settings.site->id, ack->settings.site->nodes[node].id, topic);
    int result = message_stored_write(&stored, &json);
    if (result == 0) {
        result = ack->settings.publish(ack->settings.context, topic, json.bytes, json.length);
    }
    text_free(&json);
    return result;
}

/* An earlier boot that the node asked for goes first, so that the newest is what the broker keeps.
 */
static int publish_node(struct ack *ack, size_t node, struct told *told)
{
    const struct committed *past = told->asked != 0 ? find_past(told, told->asked) : NULL;
    if (past && publish_one(ack, node, past->boot, past->seq) != 0) {
        return -1;
    }
    told->asked = 0;
    return told->seq > 0 ? publish_one(ack, node, told->boot, told->seq) : 0;
}

static void on_timer(uv_timer_t *timer);

/* Publishes what is due; what was told a moment ago, or could not leave, waits for the timer. */
static void publish_due(struct ack *ack, bool at_once)
{
    uint64_t now = uv_now(ack->settings.loop);
    bool rest = false;
    for (size_t node = 0; node < ack->settings.site->node_count; node++) {
        struct told *told = &ack->told[node];
        if (!told->due) {
            continue;
        }
        bool too_soon = !at_once && told->ever && now - told->last_ms < ACK_EVERY_MS &&
                        told->seq < told->last_seq + ACK_FRAMES;
        if (too_soon || publish_node(ack, node, told)) {
            rest = true;
            continue;
        }
        told->due = false;
        told->ever = true;
        told->last_ms = now;
        told->last_seq = told->seq;
    }
    if (rest && !uv_is_closing((uv_handle_t *)&ack->timer) &&
        !uv_is_active((uv_handle_t *)&ack->timer)) {
        (void)uv_timer_start(&ack->timer, on_timer, ACK_EVERY_MS, 0);
    }
}

static void on_timer(uv_timer_t *timer)
{
    struct ack *ack = timer->data;
    collect(ack);
    publish_due(ack, false);
}

static void on_async(uv_async_t *async)
{
    struct ack *ack = async->data;
    collect(ack);
    publish_due(ack, false);
}

void ack_begin_boot(struct ack *ack, uint32_t node, uint64_t boot)
{
    struct told *told = &ack->told[node];
    if (told->boot != boot) {
        if (told->seq > 0) {
            note_past(told, told->boot, told->seq);
        }
        told->boot = boot;
        told->seq = 0;
        told->last_seq = 0;
        told->due = false;
    }
}

void ack_repeat(struct ack *ack, uint32_t node, uint64_t boot)
{
    struct told *told = &ack->told[node];
    if (boot != told->boot && find_past(told, boot)) {
        told->asked = boot;
    }
    told->due = told->seq > 0 || told->asked != 0;
    publish_due(ack, false);
}

void ack_repeat_all(struct ack *ack)
{
    for (size_t node = 0; node < ack->settings.site->node_count; node++) {
        ack->told[node].due = ack->told[node].seq > 0;
    }
    publish_due(ack, false);
}

void ack_flush(struct ack *ack)
{
    collect(ack);
    publish_due(ack, true);
}

static int open_handles(struct ack *ack, struct error *error)
{
    int result = uv_async_init(ack->settings.loop, &ack->async, on_async);
    if (result) {
        return error_set(error, ERROR_IO, "stored messages: %s", uv_strerror(result));
    }
    ack->async.data = ack;
    (void)uv_timer_init(ack->settings.loop, &ack->timer); /* can't fail */
    ack->timer.data = ack;
    ack->open_handles = 2;
    return 0;
}

int ack_new(const struct ack_settings *settings, struct ack **out, struct error *error)
{
    size_t nodes = settings->site->node_count > 0 ? settings->site->node_count : 1;
    struct ack *ack = calloc(1, sizeof *ack);
    if (!ack) {
        return error_set(error, ERROR_MEMORY, "stored messages: out of memory");
    }
    ack->settings = *settings;
    ack->fresh = calloc(nodes, sizeof *ack->fresh);
    ack->told = calloc(nodes, sizeof *ack->told);
    if (!ack->fresh || !ack->told) {
        (void)error_set(error, ERROR_MEMORY, "stored messages: out of memory");
        goto fail_memory;
    }
    if (uv_mutex_init(&ack->mutex)) {
        (void)error_set(error, ERROR_MEMORY, "stored messages: no mutex");
        goto fail_memory;
    }
    if (open_handles(ack, error)) {
        goto fail_mutex;
    }
    *out = ack;
    return 0;
fail_mutex:
    uv_mutex_destroy(&ack->mutex);
fail_memory:
    free(ack->fresh);
    free(ack->told);
    free(ack);
    return -1;
}

static void on_handle_closed(uv_handle_t *handle)
{
    struct ack *ack = handle->data;
    ack->open_handles--;
    if (ack->open_handles == 0 && ack->on_closed) {
        ack->on_closed(ack->closed_context);
    }
}

void ack_close(struct ack *ack, void (*on_closed)(void *context), void *context)
{
    ack->on_closed = on_closed;
    ack->closed_context = context;
    uv_close((uv_handle_t *)&ack->async, on_handle_closed);
    uv_close((uv_handle_t *)&ack->timer, on_handle_closed);
}

void ack_free(struct ack *ack)
{
    if (!ack) {
        return;
    }
    uv_mutex_destroy(&ack->mutex);
    free(ack->fresh);
    free(ack->told);
    free(ack);
}
