/* Takes each message to its reader, and keeps what is known of each node.
 * Must never keep a part of a message whose rest is wrong.
 * Called by the session; frames and SenML packs have files of their own. */
#include "collector/ingest/intake.h"

#include <stdlib.h>
#include <string.h>

#include "collector/ingest/intake_node.h"
#include "common/log.h"
#include "common/topic.h"

int64_t intake_now(const struct intake *intake)
{
    return intake->settings.site_now_ns(intake->settings.clock_context);
}

void intake_lead_to_site(const struct intake *intake, struct clock_fit *fit)
{
    if (fit->known && fit->utc) {
        struct clock_fit on = intake->settings.utc_to_site(intake->settings.clock_context);
        *fit = clock_fit_chain(fit, &on);
    }
}

const char *intake_node_id(const struct intake *intake, uint32_t node)
{
    return intake->settings.site->nodes[node].id;
}

void intake_say(struct intake *intake, struct said *said, uint32_t node, const char *what,
                const char *why)
{
    char where[IDENT_SIZE + 32];
    (void)snprintf(where, sizeof where, "%s %s", intake_node_id(intake, node), what);
    said_warn(said, intake_now(intake), where, why);
}

static void say_malformed(struct intake *intake, uint32_t node, const char *what,
                          const struct error *error)
{
    intake->counts.malformed++;
    intake_say(intake, &intake->said_malformed, node, what, error->text);
}

int intake_new(const struct intake_settings *settings, struct intake **out, struct error *error)
{
    size_t nodes = settings->site->node_count > 0 ? settings->site->node_count : 1;
    struct intake *intake = calloc(1, sizeof *intake);
    if (!intake) {
        return error_set(error, ERROR_MEMORY, "intake: out of memory");
    }
    intake->settings = *settings;
    intake->next_mark_id = 1;
    intake->nodes = calloc(nodes, sizeof(struct intake_node *));
    intake->times_ns = calloc(WIRE_SAMPLES_MAX, sizeof *intake->times_ns);
    if (!intake->nodes || !intake->times_ns) {
        intake_free(intake);
        return error_set(error, ERROR_MEMORY, "intake: out of memory");
    }
    *out = intake;
    return 0;
}

void intake_free(struct intake *intake)
{
    if (!intake) {
        return;
    }
    for (size_t i = 0; intake->nodes && i < intake->settings.site->node_count; i++) {
        if (intake->nodes[i]) {
            senml_node_free(intake->nodes[i]->senml);
            free(intake->nodes[i]);
        }
    }
    mark_book_free(&intake->marks);
    wire_arena_free(&intake->arena);
    free(intake->nodes);
    free(intake->times_ns);
    free(intake);
}

const struct intake_counts *intake_get_counts(const struct intake *intake)
{
    return &intake->counts;
}

struct intake_node *intake_get_node(struct intake *intake, uint32_t index)
{
    if (intake->nodes[index]) {
        return intake->nodes[index];
    }
    struct intake_node *node = calloc(1, sizeof *node);
    if (!node) {
        log_error("%s: out of memory", intake_node_id(intake, index));
        return NULL;
    }
    node->index = index;
    node->clock_sd_ns = -1;
    node->told_from_ns = INT64_MIN;
    cook_init(&node->cook);
    cook_init(&node->unclocked);
    gap_watch_init(&node->watch, index);
    intake->nodes[index] = node;
    return node;
}

const struct channel_list *intake_find_list(const struct intake_node *node, uint64_t boot)
{
    for (size_t i = 0; i < INTAKE_LISTS; i++) {
        if (node->lists[i].boot == boot && boot != 0) {
            return &node->lists[i];
        }
    }
    return NULL;
}

const struct channel_list *intake_newest_list(const struct intake_node *node)
{
    const struct channel_list *list =
        &node->lists[(node->list_next + INTAKE_LISTS - 1) % INTAKE_LISTS];
    return list->boot != 0 ? list : NULL;
}

void intake_add_list(struct intake_node *node, uint64_t boot, const struct channel *channels,
                     size_t count)
{
    struct channel_list *list = &node->lists[node->list_next % INTAKE_LISTS];
    node->list_next = (node->list_next + 1) % INTAKE_LISTS;
    list->boot = boot;
    list->count = count;
    memmove(list->channels, channels, count * sizeof *channels);
}

static bool same_channels(const struct channel_list *list, const struct message_hello *hello)
{
    if (list->count != hello->channel_count) {
        return false;
    }
    for (size_t i = 0; i < list->count; i++) {
        if (!channel_same(&list->channels[i], &hello->channels[i])) {
            return false;
        }
    }
    return true;
}

static void take_hello(struct intake *intake, struct intake_node *node, const uint8_t *payload,
                       size_t length)
{
    struct error error;
    struct message_hello hello;
    if (message_hello_read((const char *)payload, length, &hello, &error)) {
        say_malformed(intake, node->index, "hello", &error);
        return;
    }
    const struct channel_list *known = intake_find_list(node, hello.boot);
    if (known && !same_channels(known, &hello)) {
        (void)error_set(&error, ERROR_FORMAT, "other channels than before in the same boot");
        say_malformed(intake, node->index, "hello", &error);
        return;
    }
    if (!known) {
        intake_add_list(node, hello.boot, hello.channels, hello.channel_count);
    }
    if (intake->settings.hooks.hello) {
        intake->settings.hooks.hello(intake->settings.hooks.context, node->index, &hello);
    }
}

static void take_state(struct intake *intake, struct intake_node *node, const uint8_t *payload,
                       size_t length)
{
    struct error error;
    struct message_state state;
    struct text json = {0};
    if (message_state_read((const char *)payload, length, &state, &error)) {
        say_malformed(intake, node->index, "state", &error);
        return;
    }
    intake_lead_to_site(intake, &state.fit);
    /* Written anew, so that what is stored has been understood. */
    if (message_state_write(&state, &json) ||
        night_put_state(intake->settings.writer, node->index, intake_now(intake), json.bytes,
                        &error)) {
        intake_say(intake, &node->said_full, node->index, "state", "not stored: no room");
    }
    text_free(&json);
    if (intake->settings.hooks.state) {
        intake->settings.hooks.state(intake->settings.hooks.context, node->index, &state);
    }
}

static void say_unknown(struct intake *intake, const char *topic, const char *why)
{
    char where[TOPIC_SIZE + 16];
    intake->counts.unknown_node++;
    (void)snprintf(where, sizeof where, "topic %.120s", topic);
    said_warn(&intake->said_unknown, intake_now(intake), where, why);
}

static void take_node_message(struct intake *intake, enum topic_kind kind, struct intake_node *node,
                              const uint8_t *payload, size_t length)
{
    switch (kind) {
    case TOPIC_HELLO:
        take_hello(intake, node, payload, length);
        break;
    case TOPIC_BLOCKS:
        intake_take_frame(intake, node, payload, length);
        break;
    case TOPIC_STATE:
        take_state(intake, node, payload, length);
        break;
    case TOPIC_SENML:
        intake_take_senml(intake, node, payload, length);
        break;
    case TOPIC_STORED: /* ours, as are the site's own */
    case TOPIC_ALERT:
    case TOPIC_MARK:
    case TOPIC_QUESTION:
    case TOPIC_SAID:
    case TOPIC_BASELINE:
        break;
    }
}

/* What is the site's own: from the team, or our own words coming back. */
static void take_site_message(struct intake *intake, enum topic_kind kind, const uint8_t *payload,
                              size_t length)
{
    if (kind == TOPIC_MARK) {
        intake_take_mark(intake, payload, length);
    } else if (kind == TOPIC_BASELINE) {
        intake_take_baseline(intake, payload, length);
    } else if (kind == TOPIC_QUESTION) {
        intake_take_question(intake, payload, length);
    }
}

void intake_message(struct intake *intake, const char *topic_text, const uint8_t *payload,
                    size_t length)
{
    struct error error;
    struct topic topic;
    intake->counts.messages++;
    if (topic_parse(topic_text, &topic, &error)) {
        say_unknown(intake, topic_text, error.text);
        return;
    }
    if (strcmp(topic.site, intake->settings.site->id) != 0) {
        say_unknown(intake, topic_text, "another site");
        return;
    }
    if (topic.node[0] == '\0') {
        take_site_message(intake, topic.kind, payload, length);
        return;
    }
    size_t index = site_find_node(intake->settings.site, topic.node);
    if (index == SIZE_MAX) {
        say_unknown(intake, topic_text, "no such node in the site file");
        return;
    }
    /* An empty retained message is one that was taken back. */
    struct intake_node *node = length > 0 ? intake_get_node(intake, (uint32_t)index) : NULL;
    if (node) {
        take_node_message(intake, topic.kind, node, payload, length);
    }
}
