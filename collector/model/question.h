/* One step of a question session as the night keeps it: its plan, a window in which something was
 * asked or nothing was, its end. Must never be altered after it was stored: steps are only added.
 */
#ifndef ROOMWAKE_COLLECTOR_MODEL_QUESTION_H
#define ROOMWAKE_COLLECTOR_MODEL_QUESTION_H

#include <stdint.h>

#include "common/message.h"

/* The level under which the night's log keeps the steps. */
#define QUESTION_LOG_LEVEL "question"

struct question_step {
    int64_t time_ns; /* site time; of a window its start */
    struct message_question said;
};

#endif
