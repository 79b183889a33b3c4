/* Takes up a night whose recorder died: marks go on counting, nodes go on where they were.
 * Must never change what is in the night. Called by session_build.c. */
#include "collector/record/session_parts.h"

#include "collector/night/reader.h"

struct resuming {
    struct session *session;
    struct error *error;
};

static int resume_mark(void *context, const struct mark *mark)
{
    const struct resuming *resuming = context;
    return intake_resume_mark(resuming->session->intake, mark, resuming->error);
}

static int resume_quiet(void *context, const struct quiet_order *order)
{
    const struct resuming *resuming = context;
    return intake_resume_quiet(resuming->session->intake, order, resuming->error);
}

int session_resume_marks(struct session *session, struct error *error)
{
    struct night_reader *reader = NULL;
    if (night_reader_open(session->settings->night_path, &reader, error) != 0) {
        return -1;
    }
    struct resuming resuming = {session, error};
    int result = night_each_mark(reader, resume_mark, &resuming, error) != 0
                     ? -1
                     : night_each_quiet(reader, resume_quiet, &resuming, error);
    night_reader_close(reader);
    return result;
}

int session_resume_nodes(struct session *session, struct error *error)
{
    struct night_reader *reader = NULL;
    if (night_reader_open(session->settings->night_path, &reader, error) != 0) {
        return -1;
    }
    int result = 0;
    for (uint32_t node = 0; result == 0 && node < session->settings->site->node_count; node++) {
        struct night_left left;
        result = night_read_left(reader, node, &left, error);
        if (result == 0) {
            intake_resume(session->intake, node, &left);
        }
    }
    night_reader_close(reader);
    return result;
}
