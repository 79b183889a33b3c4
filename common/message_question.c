/* The steps of a question session as a message.
 * Must never take a step that names no session. Called by the ask command, intake and reader. */
#include "common/message.h"

#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "common/clock.h"
#include "common/json.h"
#include "common/message_fields.h"
#include "common/timefmt.h"

#define LENGTH_MAX_S 3600.0
#define NTH_MAX 100000.0

const char *message_question_what_text(enum question_what what)
{
    static const char *const texts[QUESTION_WHAT_COUNT] = {[QUESTION_PLAN] = "plan",
                                                           [QUESTION_ASKED] = "asked",
                                                           [QUESTION_SILENT] = "silent",
                                                           [QUESTION_END] = "end",
                                                           [QUESTION_BROKEN] = "broken-off"};
    return what < QUESTION_WHAT_COUNT ? texts[what] : "";
}

int message_question_write(const struct message_question *question, struct text *out)
{
    char seconds[TIMEFMT_SIZE];
    timefmt_seconds(question->length_ns, seconds);
    (void)text_append_format(
        out, "{\"version\":%d,\"session\":\"%s\",\"what\":\"%s\",\"nth\":%" PRIu32, MESSAGE_VERSION,
        question->session, message_question_what_text(question->what), question->nth);
    (void)text_append_format(out, ",\"length_s\":%s,\"text\":", seconds);
    (void)json_append_string(out, question->text ? question->text : "");
    (void)text_append_format(out, "}");
    return message_finish(out);
}

static int read_what(const cJSON *root, enum question_what *what, struct error *error)
{
    char word[16];
    if (json_get_text(root, "question", "what", word, sizeof word, error) != 0) {
        return -1;
    }
    for (*what = 0; *what < QUESTION_WHAT_COUNT; (*what)++) {
        if (strcmp(word, message_question_what_text(*what)) == 0) {
            return 0;
        }
    }
    return error_set(error, ERROR_FORMAT, "question.what: \"%s\" is no step of a session", word);
}

static int read_question(const cJSON *root, struct message_question *question, struct error *error)
{
    double nth = 0;
    double length_s = 0;
    if (message_read_version(root, "question", error) != 0 ||
        json_get_text(root, "question", "session", question->session, IDENT_SIZE, error) != 0 ||
        read_what(root, &question->what, error) != 0 ||
        json_get_number(root, "question", "nth", 0, NTH_MAX, &nth, error) != 0 ||
        json_get_number(root, "question", "length_s", 0, LENGTH_MAX_S, &length_s, error) != 0 ||
        json_get_text(root, "question", "text", question->text, MESSAGE_QUESTION_TEXT_SIZE,
                      error) != 0) {
        return -1;
    }
    if (!ident_valid(question->session, strlen(question->session))) {
        return error_set(error, ERROR_FORMAT,
                         "question.session: \"%s\" is not made of 1 to 32 of a-z, 0-9 and -",
                         question->session);
    }
    question->nth = (uint32_t)nth;
    question->length_ns = llround(length_s * (double)NS_PER_S);
    return 0;
}

int message_question_read(const char *json, size_t length, struct message_question *question,
                          struct error *error)
{
    static const char *const fields[] = {"version",  "session", "what", "nth",
                                         "length_s", "text",    NULL};
    cJSON *root = NULL;
    if (message_parse(json, length, "question", fields, &root, error) != 0) {
        return -1;
    }
    struct message_question read = {.text = malloc(MESSAGE_QUESTION_TEXT_SIZE)};
    int failed = read.text ? read_question(root, &read, error)
                           : error_set(error, ERROR_MEMORY, "question: out of memory");
    cJSON_Delete(root);
    if (failed != 0) {
        free(read.text);
        return -1;
    }
    *question = read;
    return 0;
}
