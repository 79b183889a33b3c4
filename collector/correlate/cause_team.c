/* The team itself: a mark covers all onsets.
 * Must never let a mark of another room explain it. Called through the table in causes.c. */
#include "collector/correlate/cause.h"
#include "collector/correlate/say.h"

#include <string.h>

/* Nobody presses the button to the second. Our choice. */
#define GRACE_NS INT64_C(2000000000)

static bool covers_times(const struct mark *mark, const struct coincidence *coincidence)
{
    for (size_t i = 0; i < coincidence->member_count; i++) {
        int64_t onset_ns = coincidence->members[i].onset_ns;
        if (onset_ns < mark->start_ns - GRACE_NS || onset_ns > mark->end_ns + GRACE_NS) {
            return false;
        }
    }
    return true;
}

static bool covers_room(const struct mark *mark, const struct cause_case *question)
{
    if (mark->room[0] == '\0') {
        return true;
    }
    for (size_t i = 0; i < question->coincidence->order_count; i++) {
        const struct site_node *node = &question->site->nodes[question->coincidence->order[i].node];
        if (strcmp(question->site->rooms[node->room].id, mark->room) == 0) {
            return true;
        }
    }
    return false;
}

static void judge(const struct cause_case *question, struct cause_opinion *opinion)
{
    const struct mark *found = NULL;
    size_t near = 0;
    for (size_t i = 0; i < question->mark_count; i++) {
        const struct mark *mark = question->marks[i];
        if (!covers_times(mark, question->coincidence)) {
            continue;
        }
        near++;
        if (covers_room(mark, question) && (!found || mark->id < found->id)) {
            found = mark;
        }
    }
    size_t size = sizeof opinion->reason;
    if (found) {
        opinion->fits = true;
        opinion->likelihood = 1.0;
        opinion->mark_id = found->id;
        say_add(opinion->reason, size, "mark %lld (%s) covers all %zu onsets", (long long)found->id,
                found->room[0] ? found->room : "the whole site",
                question->coincidence->member_count);
    } else if (near > 0) {
        say_add(opinion->reason, size, "%zu of %zu marks cover the time, but in other rooms", near,
                question->mark_count);
    } else if (question->mark_count == 0) {
        say_add(opinion->reason, size, "no mark was made");
    } else {
        say_add(opinion->reason, size, "none of %zu marks covers all onsets", question->mark_count);
    }
}

const struct cause_test cause_team = {CAUSE_TEAM, true, judge};
