/* The team itself: a mark covers all onsets.
 * Must never let a mark of another room explain it. Called through the table in causes.c. */
#include "collector/correlate/cause.h"
#include "collector/correlate/say.h"

#include <string.h>

#include "collector/correlate/away.h"

static bool covers_time(const struct mark *mark, int64_t onset_ns)
{
    int64_t end_ns =
        mark->end_ns == MARK_RUNNING_NS ? MARK_RUNNING_NS : mark->end_ns + AWAY_GRACE_NS;
    return !mark->withdrawn && onset_ns >= mark->start_ns - AWAY_GRACE_NS && onset_ns <= end_ns;
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

/* The first mark at this onset, of all or of those whose room took part. */
static const struct mark *find_mark(const struct cause_case *question, int64_t onset_ns,
                                    bool any_room)
{
    for (size_t i = 0; i < question->mark_count; i++) {
        const struct mark *mark = question->marks[i];
        if (covers_time(mark, onset_ns) && (any_room || covers_room(mark, question))) {
            return mark;
        }
    }
    return NULL;
}

/* Every onset under some mark: one person's way may need several. The first onset's, or NULL. */
static const struct mark *find_cover(const struct cause_case *question, bool any_room)
{
    const struct coincidence *coincidence = question->coincidence;
    const struct mark *first = NULL;
    for (size_t i = 0; i < coincidence->member_count; i++) {
        const struct mark *mark = find_mark(question, coincidence->members[i].onset_ns, any_room);
        if (!mark) {
            return NULL;
        }
        first = first ? first : mark;
    }
    return first;
}

static void judge(const struct cause_case *question, struct cause_opinion *opinion)
{
    const struct mark *found = find_cover(question, false);
    size_t standing = 0;
    size_t near = 0;
    for (size_t i = 0; i < question->mark_count; i++) {
        standing += !question->marks[i]->withdrawn;
        near += covers_time(question->marks[i], question->coincidence->start_ns);
    }
    size_t size = sizeof opinion->reason;
    if (found) {
        opinion->fits = true;
        opinion->likelihood = 1.0;
        opinion->mark_id = mark_number(found);
        say_add(opinion->reason, size,
                "mark %lld (%s%s%s) covers all %zu onsets: no alert, and not counted in any chance",
                (long long)mark_number(found), found->room[0] ? found->room : "the whole site",
                found->who[0] ? ", " : "", found->who, question->coincidence->member_count);
    } else if (find_cover(question, true)) {
        say_add(opinion->reason, size, "%zu of %zu marks cover the time, but in other rooms", near,
                standing);
    } else if (standing == 0) {
        say_add(opinion->reason, size, "no mark was made");
    } else {
        say_add(opinion->reason, size, "none of %zu marks covers all onsets", standing);
    }
}

const struct cause_test cause_team = {CAUSE_TEAM, judge};
