/* The JSON bodies of the page's requests, each field within its bounds.
 * Must never know the library that brought them, nor act on them. Called by post.c. */
#include "collector/web/body.h"

#include <string.h>

#include "common/ident.h"
#include "common/json.h"

#define MARK_MOST_S 86400.0
#define MARK_NUMBER_MOST 1e9
#define NS_PER_SECOND 1e9

int web_body_pairing(const struct text *body, char code[WEB_GUESS_SIZE], struct error *error)
{
    static const char *const fields[] = {"code", NULL};
    cJSON *root = NULL;
    if (json_parse(body->bytes, body->length, "pairing", &root, error) != 0) {
        return -1;
    }
    bool good = json_check_fields(root, "", fields, error) == 0 &&
                json_get_text(root, "", "code", code, WEB_GUESS_SIZE, error) == 0;
    cJSON_Delete(root);
    return good ? 0 : -1;
}

/* Which mark is changed, and how; a new one where none is named. */
static int read_what(const cJSON *root, struct message_mark *mark, struct error *error)
{
    static const struct {
        const char *name;
        enum mark_what what;
    } changes[] = {{"correct", MARK_CORRECT}, {"end", MARK_END}, {"withdraw", MARK_WITHDRAW}};
    for (size_t i = 0; i < sizeof changes / sizeof *changes; i++) {
        double number = 0;
        if (!cJSON_GetObjectItemCaseSensitive(root, changes[i].name)) {
            continue;
        }
        if (mark->what != MARK_NEW) {
            return error_set(error, ERROR_FORMAT, "mark: only one of correct, end and withdraw");
        }
        if (json_get_number_or(root, "", changes[i].name, 1, MARK_NUMBER_MOST, 0, &number, error) !=
            0) {
            return -1;
        }
        mark->what = changes[i].what;
        mark->number = (int64_t)number;
        if ((double)mark->number != number) {
            return error_set(error, ERROR_FORMAT, "mark: %s is no whole number", changes[i].name);
        }
    }
    return 0;
}

/* Of a correction: what was said anew. */
static unsigned read_given(const cJSON *root)
{
    static const struct {
        const char *name;
        unsigned given;
    } fields[] = {{"text", MARK_GAVE_TEXT},   {"room", MARK_GAVE_ROOM},
                  {"who", MARK_GAVE_WHO},     {"for_s", MARK_GAVE_LENGTH},
                  {"ago_s", MARK_GAVE_START}, {"running", MARK_GAVE_LENGTH}};
    unsigned given = 0;
    for (size_t i = 0; i < sizeof fields / sizeof *fields; i++) {
        given |= cJSON_GetObjectItemCaseSensitive(root, fields[i].name) ? fields[i].given : 0u;
    }
    return given;
}

static int check_mark(const struct message_mark *mark, struct error *error)
{
    bool needs_text = mark->what == MARK_NEW || (mark->given & MARK_GAVE_TEXT);
    if ((needs_text && mark->text[0] == '\0') ||
        (mark->room[0] && !ident_valid(mark->room, strlen(mark->room))) ||
        (mark->who[0] && !ident_valid(mark->who, strlen(mark->who)))) {
        return error_set(error, ERROR_FORMAT, "mark: a text is needed; room and who are ids");
    }
    return 0;
}

int web_body_mark(const struct text *body, struct message_mark *mark, double *ago_s,
                  struct error *error)
{
    static const char *const fields[] = {"text",    "room", "who",      "for_s",   "ago_s",
                                         "correct", "end",  "withdraw", "running", NULL};
    cJSON *root = NULL;
    double for_s = 0;
    memset(mark, 0, sizeof *mark);
    if (json_parse(body->bytes, body->length, "mark", &root, error) != 0) {
        return -1;
    }
    int result =
        json_check_fields(root, "", fields, error) != 0 || read_what(root, mark, error) != 0 ||
                json_get_text_or(root, "", "text", "", mark->text, sizeof mark->text, error) != 0 ||
                json_get_text_or(root, "", "room", "", mark->room, sizeof mark->room, error) != 0 ||
                json_get_text_or(root, "", "who", "", mark->who, sizeof mark->who, error) != 0 ||
                json_get_number_or(root, "", "for_s", 0, MARK_MOST_S, 60, &for_s, error) != 0 ||
                json_get_number_or(root, "", "ago_s", 0, MARK_MOST_S, 0, ago_s, error) != 0 ||
                json_get_bool_or(root, "", "running", false, &mark->running, error) != 0
            ? -1
            : 0;
    mark->given = read_given(root);
    mark->length_ns = (int64_t)(for_s * NS_PER_SECOND);
    cJSON_Delete(root);
    return result == 0 ? check_mark(mark, error) : -1;
}
