/* The lines' ring and what is known of each node.
 * Must never wait for a reader nor grow with their number. Fed by the session's hooks. */
#include "collector/web/live.h"

#include <errno.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/web/live_inside.h"
#include "common/json.h"
#include "common/timefmt.h"

int web_live_new(const struct site *site, int64_t (*now_ns)(void *context), void *context,
                 struct web_live **out, struct error *error)
{
    struct web_live *live = calloc(1, sizeof *live);
    struct live_node *nodes = calloc(site->node_count ? site->node_count : 1, sizeof *nodes);
    if (!live || !nodes) {
        free(live);
        free(nodes);
        return error_set(error, ERROR_MEMORY, "page: out of memory");
    }
    live->site = site;
    live->now_ns = now_ns;
    live->clock_context = context;
    live->begun_ns = now_ns(context);
    live->base_ns = live->begun_ns;
    live->fresh.next = 1;
    for (size_t i = 0; i < site->node_count; i++) {
        nodes[i].battery_v = NAN;
        nodes[i].battery_hours = NAN;
    }
    live->next = 1;
    live->nodes = nodes;
    *out = live;
    return 0;
}

void web_live_free(struct web_live *live)
{
    if (live) {
        for (size_t i = 0; i < WEB_LIVE_LINES; i++) {
            text_free(&live->ring[i]);
        }
        for (size_t i = 0; i < WEB_LIVE_FRESH; i++) {
            text_free(&live->fresh.ring[i]);
        }
        text_free(&live->acts);
        text_free(&live->fresh.lanes);
        text_free(&live->fresh.seen);
        free(live->nodes);
        free(live);
    }
}

void web_live_listen(struct web_live *live, void (*changed)(void *context), void *context)
{
    live->changed = changed;
    live->changed_context = context;
}

int64_t web_live_now_ns(const struct web_live *live)
{
    return live->now_ns(live->clock_context);
}

void web_live_begin(struct web_live *live, int64_t base_ns)
{
    if (live) {
        live->base_ns = base_ns;
    }
}

void live_tell(struct web_live *live)
{
    if (live->changed) {
        live->changed(live->changed_context);
    }
}

static void stand_anew(struct web_live *live)
{
    live->version++;
    live_tell(live);
}

/* How much of `text` is kept: never half a character. */
static size_t cut(const char *text)
{
    size_t length = strnlen(text, WEB_LIVE_TEXT_MAX + 1);
    if (length <= WEB_LIVE_TEXT_MAX) {
        return length;
    }
    length = WEB_LIVE_TEXT_MAX;
    while (length > 0 && ((unsigned char)text[length] & 0xc0) == 0x80) {
        length--;
    }
    return length;
}

struct text *live_begin_event(struct web_live *live, const char *kind)
{
    struct text *event = &live->ring[live->next % WEB_LIVE_LINES];
    text_clear(event);
    (void)text_append_format(
        event, "id: %" PRId64 "-%" PRIu64 "\nevent: %s\ndata: ", live->begun_ns, live->next, kind);
    return event;
}

void live_end_event(struct web_live *live, struct text *event)
{
    (void)text_append_format(event, "\n\n");
    live->next++;
    live_tell(live);
}

void web_live_line(void *context, int64_t time_ns, const char *head, const char *text)
{
    struct web_live *live = context;
    if (!live) {
        return;
    }
    char time[TIMEFMT_SIZE];
    char kept[WEB_LIVE_TEXT_MAX + 4];
    size_t length = cut(text);
    (void)snprintf(kept, sizeof kept, "%.*s%s", (int)length, text, text[length] ? "..." : "");
    timefmt_local(time_ns, time, NULL);
    time[8] = '\0'; /* to the second, as on the terminal */
    struct text *event = live_begin_event(live, "line");
    (void)text_append_format(event, "{\"time\":");
    (void)json_append_string(event, time);
    (void)text_append_format(event, ",\"head\":");
    (void)json_append_string(event, head);
    (void)text_append_format(event, ",\"text\":");
    (void)json_append_string(event, kept);
    (void)text_append_format(event, "}");
    live_end_event(live, event);
}

static struct live_node *heard(struct web_live *live, uint32_t node)
{
    struct live_node *view = &live->nodes[node];
    view->here = true;
    view->heard_ns = live->now_ns(live->clock_context);
    return view;
}

void web_live_hello(struct web_live *live, uint32_t node)
{
    if (live) {
        heard(live, node)->gone = false;
        stand_anew(live);
    }
}

void web_live_state(struct web_live *live, uint32_t node, const struct message_state *state)
{
    if (!live) {
        return;
    }
    struct live_node before = live->nodes[node];
    struct live_node *view = state->gone ? &live->nodes[node] : heard(live, node);
    view->gone = state->gone;
    if (!state->gone) {
        view->clock_known = state->fit.known;
        view->uncertainty_ns = state->fit.uncertainty_ns;
        view->battery_v = state->battery_v;
        view->battery_hours = state->battery_hours;
        view->spool_frames = state->spool_frames;
        view->dropped_frames = state->dropped_frames;
        (void)snprintf(view->note, sizeof view->note, "%s", state->note);
    }
    if (before.here != view->here || before.gone != view->gone ||
        before.clock_known != view->clock_known || before.uncertainty_ns != view->uncertainty_ns ||
        strcmp(before.note, view->note) != 0) {
        stand_anew(live);
    }
}

void web_live_noticed(struct web_live *live, uint32_t node)
{
    if (live && !live->nodes[node].watching) {
        live->nodes[node].watching = true;
        stand_anew(live);
    }
}

void web_live_waited_for(struct web_live *live, uint32_t node, bool waited_for)
{
    if (live && live->nodes[node].silent == waited_for) {
        live->nodes[node].silent = !waited_for;
        stand_anew(live);
    }
}

void web_live_disk(struct web_live *live, const struct error *failure)
{
    if (live && live->disk_failed != (failure != NULL)) {
        live->disk_failed = failure != NULL;
        (void)snprintf(live->disk_why, sizeof live->disk_why, "the disk refuses: %s",
                       failure ? failure->text : "");
        stand_anew(live);
    }
}

void web_live_broker(struct web_live *live, bool up, const char *why)
{
    if (live && (!live->broker_told || live->broker_up != up)) {
        live->broker_told = true;
        live->broker_up = up;
        (void)snprintf(live->broker_why, sizeof live->broker_why, "no broker (%s)", why);
        stand_anew(live);
    }
}

void web_live_acts(struct web_live *live, const char *json)
{
    if (live) {
        text_clear(&live->acts);
        (void)text_append_format(&live->acts, "%s", json);
        live->acts_version++;
        live_tell(live);
    }
}

uint64_t web_live_acts_version(const struct web_live *live)
{
    return live->acts_version;
}

void web_live_acts_event(const struct web_live *live, struct text *out)
{
    (void)text_append_format(out, "event: acts\ndata: ");
    (void)text_append(out, live->acts.bytes, live->acts.length);
    (void)text_append_format(out, "\n\n");
}

int64_t web_live_base_ns(const struct web_live *live)
{
    return live->base_ns;
}

void web_live_end(struct web_live *live)
{
    if (live) {
        live->ended = true;
        stand_anew(live);
    }
}

uint64_t web_live_first(const struct web_live *live)
{
    return live->next > WEB_LIVE_LINES ? live->next - WEB_LIVE_LINES : 1;
}

uint64_t web_live_next(const struct web_live *live)
{
    return live->next;
}

const struct text *web_live_event(const struct web_live *live, uint64_t number)
{
    return &live->ring[number % WEB_LIVE_LINES];
}

/* "BEGUN-NUMBER", which a browser sends back as it was; neither may be out of range. */
static bool read_id(const char *id, int64_t *begun_ns, uint64_t *number)
{
    char *rest = NULL;
    if (strspn(id, "0123456789-") != strlen(id)) {
        return false;
    }
    errno = 0;
    *begun_ns = strtoll(id, &rest, 10);
    if (rest == id || rest[0] != '-' || rest[1] == '-' || rest[1] == '\0') {
        return false;
    }
    *number = strtoull(rest + 1, &rest, 10);
    return *rest == '\0' && errno == 0;
}

bool web_live_after(const struct web_live *live, const char *id, uint64_t *number)
{
    int64_t begun_ns = 0;
    uint64_t last = 0;
    *number = web_live_first(live);
    if (!id || !id[0]) {
        return true;
    }
    if (!read_id(id, &begun_ns, &last) || begun_ns != live->begun_ns || last >= live->next ||
        last + 1 < *number) {
        return false;
    }
    *number = last + 1;
    return true;
}

uint64_t web_live_version(const struct web_live *live)
{
    return live->version;
}
