/* The body of a request for an act: preflight, walk test, quiet spell, question session.
 * Must never know what an act does, nor act on it. Called by post.c. */
#include <stdlib.h>
#include <string.h>

#include "collector/web/body.h"
#include "common/json.h"

/* The commands' own bounds and defaults. */
#define HOURS_DEFAULT 8.0
#define WAIT_DEFAULT_S 120.0
#define LOOK_DEFAULT_S 30.0
#define QUIET_DEFAULT_S 30.0
#define LIMIT_DEFAULT_S 300.0
#define FOR_LEAST_S 20.0
#define FOR_MOST_S 86400.0

static int read_word(const cJSON *root, const char *field, const char *const *words, size_t count,
                     size_t *which, struct error *error)
{
    char word[16];
    if (json_get_text(root, "", field, word, sizeof word, error) != 0) {
        return -1;
    }
    for (size_t i = 0; i < count; i++) {
        if (strcmp(word, words[i]) == 0) {
            *which = i;
            return 0;
        }
    }
    return error_set(error, ERROR_FORMAT, "%s: \"%s\" is none of those that there are", field,
                     word);
}

static int read_kind(const cJSON *root, struct web_act *act, struct error *error)
{
    static const char *const kinds[WEB_ACT_COUNT] = {"preflight", "walk", "quiet", "ask"};
    static const char *const whats[WEB_ACT_WHAT_COUNT] = {"begin", "end", "check"};
    size_t kind = 0;
    size_t what = 0;
    if (read_word(root, "act", kinds, WEB_ACT_COUNT, &kind, error) != 0 ||
        read_word(root, "do", whats, WEB_ACT_WHAT_COUNT, &what, error) != 0) {
        return -1;
    }
    act->kind = (enum web_act_kind)kind;
    act->what = (enum web_act_what)what;
    return 0;
}

static int read_rooms(const cJSON *root, struct web_act *act, struct error *error)
{
    const cJSON *list = cJSON_GetObjectItemCaseSensitive(root, "rooms");
    const cJSON *item = NULL;
    if (list && !cJSON_IsArray(list)) {
        return error_set(error, ERROR_FORMAT, "rooms: is no list");
    }
    cJSON_ArrayForEach(item, list)
    {
        if (act->room_count == SITE_ROOMS_MAX) {
            return error_set(error, ERROR_RANGE, "rooms: more than %d", SITE_ROOMS_MAX);
        }
        if (!cJSON_IsString(item) || !ident_valid(item->valuestring, strlen(item->valuestring))) {
            return error_set(error, ERROR_FORMAT, "rooms[%zu]: is no room's id", act->room_count);
        }
        memcpy(act->rooms[act->room_count++], item->valuestring, strlen(item->valuestring) + 1);
    }
    return 0;
}

static int read_numbers(const cJSON *root, struct web_act *act, struct error *error)
{
    return json_get_number_or(root, "", "hours", 0.1, 1000.0, HOURS_DEFAULT, &act->hours, error) !=
                       0 ||
                   json_get_number_or(root, "", "wait_s", 1.0, 3600.0, WAIT_DEFAULT_S, &act->wait_s,
                                      error) != 0 ||
                   json_get_number_or(root, "", "look_s", 10.0, 600.0, LOOK_DEFAULT_S, &act->look_s,
                                      error) != 0 ||
                   json_get_number_or(root, "", "quiet_s", 0.0, 600.0, QUIET_DEFAULT_S,
                                      &act->quiet_s, error) != 0 ||
                   json_get_number_or(root, "", "limit_s", 1.0, 3600.0, LIMIT_DEFAULT_S,
                                      &act->limit_s, error) != 0 ||
                   (cJSON_GetObjectItemCaseSensitive(root, "for_s") &&
                    json_get_number(root, "", "for_s", FOR_LEAST_S, FOR_MOST_S, &act->for_s,
                                    error) != 0)
               ? -1
               : 0;
}

/* As it was written, since its seed is bound to its bytes. */
static int read_plan(const cJSON *root, struct web_act *act, struct error *error)
{
    const cJSON *plan = cJSON_GetObjectItemCaseSensitive(root, "plan");
    if (!plan) {
        return 0;
    }
    if (!cJSON_IsString(plan)) {
        return error_set(error, ERROR_FORMAT, "plan: is no text");
    }
    act->plan = strdup(plan->valuestring);
    return act->plan ? 0 : error_set(error, ERROR_MEMORY, "plan: out of memory");
}

int web_body_act(const struct text *body, struct web_act *act, struct error *error)
{
    static const char *const fields[] = {"act",     "do",      "rooms", "hours", "wait_s", "look_s",
                                         "quiet_s", "limit_s", "for_s", "plan",  NULL};
    cJSON *root = NULL;
    memset(act, 0, sizeof *act);
    if (json_parse(body->bytes, body->length, "act", &root, error) != 0) {
        return -1;
    }
    bool good = json_check_fields(root, "", fields, error) == 0 &&
                read_kind(root, act, error) == 0 && read_rooms(root, act, error) == 0 &&
                read_numbers(root, act, error) == 0 && read_plan(root, act, error) == 0;
    cJSON_Delete(root);
    if (!good) {
        web_act_clear(act);
        return -1;
    }
    return 0;
}

void web_act_clear(struct web_act *act)
{
    free(act->plan);
    act->plan = NULL;
}
