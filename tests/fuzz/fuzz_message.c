/* Any bytes as each of the JSON messages: an error in words, or what is written again and read
 * again as the same. Must never be linked into a product; libFuzzer calls it. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "common/message.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void require(int holds)
{
    if (!holds) {
        abort();
    }
}

static void require_told(const struct error *error)
{
    require(error->code != ERROR_NONE && error->text[0]);
}

/* Reads, writes, reads what was written, and writes that: both texts are the same. */
#define GO_ROUND(type, kind)                                                                       \
    static void kind##_goes_round(const char *json, size_t length)                                 \
    {                                                                                              \
        type *message = malloc(sizeof *message);                                                   \
        struct text once = {0};                                                                    \
        struct text twice = {0};                                                                   \
        struct error error = {0};                                                                  \
        require(message != NULL);                                                                  \
        if (message_##kind##_read(json, length, message, &error) != 0) {                           \
            require_told(&error);                                                                  \
        } else {                                                                                   \
            require(message_##kind##_write(message, &once) == 0);                                  \
            require(message_##kind##_read(once.bytes, once.length, message, &error) == 0);         \
            require(message_##kind##_write(message, &twice) == 0);                                 \
            require(strcmp(once.bytes, twice.bytes) == 0);                                         \
        }                                                                                          \
        free(message);                                                                             \
        text_free(&once);                                                                          \
        text_free(&twice);                                                                         \
    }

GO_ROUND(struct message_hello, hello)
GO_ROUND(struct message_state, state)
GO_ROUND(struct message_stored, stored)
GO_ROUND(struct message_mark, mark)
GO_ROUND(struct message_baseline, baseline)
GO_ROUND(struct message_said, said)

static void question_goes_round(const char *json, size_t length)
{
    struct message_question question;
    struct text once = {0};
    struct error error = {0};
    if (message_question_read(json, length, &question, &error) != 0) {
        require_told(&error);
        return;
    }
    require(strlen(question.text) < MESSAGE_QUESTION_TEXT_SIZE);
    require(message_question_write(&question, &once) == 0);
    free(question.text);
    require(message_question_read(once.bytes, once.length, &question, &error) == 0);
    free(question.text);
    text_free(&once);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const char *json = (const char *)data;
    hello_goes_round(json, size);
    state_goes_round(json, size);
    stored_goes_round(json, size);
    mark_goes_round(json, size);
    baseline_goes_round(json, size);
    said_goes_round(json, size);
    question_goes_round(json, size);
    return 0;
}
