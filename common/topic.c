/* Topics of one site, made and taken apart.
 * Must never let a wildcard, a slash or an empty level through as a name.
 * Called by both sides' MQTT code. */
#include "common/topic.h"

#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#define ROOT "roomwake/"

static const struct {
    const char *word;
    bool of_node;
} kinds[] = {
    [TOPIC_HELLO] = {"hello", true}, [TOPIC_BLOCKS] = {"blocks", true},
    [TOPIC_STATE] = {"state", true}, [TOPIC_STORED] = {"stored", true},
    [TOPIC_SENML] = {"senml", true}, [TOPIC_ALERT] = {"alert", false},
    [TOPIC_MARK] = {"mark", false},  [TOPIC_QUESTION] = {"question", false},
    [TOPIC_SAID] = {"said", false},  [TOPIC_BASELINE] = {"baseline", false},
};

#define KIND_COUNT (sizeof kinds / sizeof kinds[0])

static int malformed(const char *text, const char *why, struct error *error)
{
    return error_set(error, ERROR_FORMAT, "topic \"%.*s\": %s", TOPIC_SIZE, text, why);
}

/* Takes one level that is a name; returns what follows its slash, or NULL. */
static const char *take_name(const char *at, char out[IDENT_SIZE])
{
    size_t length = strcspn(at, "/");
    if (!ident_valid(at, length) || at[length] != '/') {
        return NULL;
    }
    memcpy(out, at, length);
    out[length] = '\0';
    return at + length + 1;
}

static bool find_kind(const char *word, bool of_node, enum topic_kind *kind)
{
    for (size_t i = 0; i < KIND_COUNT; i++) {
        if (kinds[i].of_node == of_node && strcmp(kinds[i].word, word) == 0) {
            *kind = (enum topic_kind)i;
            return true;
        }
    }
    return false;
}

int topic_parse(const char *text, struct topic *topic, struct error *error)
{
    *topic = (struct topic){0};
    if (strncmp(text, ROOT, strlen(ROOT)) != 0) {
        return malformed(text, "does not start with " ROOT, error);
    }
    const char *rest = take_name(text + strlen(ROOT), topic->site);
    if (!rest) {
        return malformed(text, "no valid site", error);
    }
    bool of_node = strchr(rest, '/') != NULL;
    if (of_node) {
        rest = take_name(rest, topic->node);
        if (!rest) {
            return malformed(text, "no valid node", error);
        }
    }
    if (!find_kind(rest, of_node, &topic->kind)) {
        return malformed(text, "unknown kind", error);
    }
    return 0;
}

static bool valid(const char *name)
{
    return ident_valid(name, strlen(name));
}

void topic_format(enum topic_kind kind, const char *site, const char *node, char text[TOPIC_SIZE])
{
    text[0] = '\0';
    if (!valid(site) || (kinds[kind].of_node && (!node || !valid(node)))) {
        return;
    }
    if (kinds[kind].of_node) {
        (void)snprintf(text, TOPIC_SIZE, ROOT "%.32s/%.32s/%s", site, node, kinds[kind].word);
    } else {
        (void)snprintf(text, TOPIC_SIZE, ROOT "%.32s/%s", site, kinds[kind].word);
    }
}

void topic_format_filter(enum topic_kind kind, const char *site, char text[TOPIC_SIZE])
{
    text[0] = '\0';
    if (valid(site)) {
        (void)snprintf(text, TOPIC_SIZE, ROOT "%.32s/%s%s", site, kinds[kind].of_node ? "+/" : "",
                       kinds[kind].word);
    }
}
