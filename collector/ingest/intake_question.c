/* The steps of a question session into the night's log, as they come.
 * Must never store a step that was not understood. Called by intake.c. */
#include <stdlib.h>

#include "collector/ingest/intake.h"
#include "collector/ingest/intake_node.h"
#include "collector/model/question.h"

static int store(struct intake *intake, const struct question_step *step, struct error *error)
{
    struct text json = {0};
    int result = message_question_write(&step->said, &json) != 0
                     ? error_set(error, ERROR_MEMORY, "question: out of memory")
                     : night_put_log(intake->settings.writer, step->time_ns, QUESTION_LOG_LEVEL,
                                     json.bytes, error);
    text_free(&json);
    return result;
}

int intake_question(struct intake *intake, const struct message_question *said, struct error *error)
{
    const struct question_step step = {.time_ns = intake_now(intake), .said = *said};
    if (store(intake, &step, error) != 0) {
        return -1;
    }
    if (intake->settings.hooks.question) {
        intake->settings.hooks.question(intake->settings.hooks.context, &step);
    }
    return 0;
}

void intake_take_question(struct intake *intake, const uint8_t *payload, size_t length)
{
    struct error error;
    struct message_question said = {.text = NULL};
    if (message_question_read((const char *)payload, length, &said, &error) != 0 ||
        intake_question(intake, &said, &error) != 0) {
        intake->counts.malformed++;
        said_warn(&intake->said_malformed, intake_now(intake), "refused", error.text);
    }
    free(said.text);
}
