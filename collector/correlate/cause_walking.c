/* Somebody who walks: motion in one room after another, at a walking speed.
 * Must never call it walking without a motion sensor. Called through the table in causes.c.
 * Speeds: Bohannon 1997, Age and Ageing 26:15-19. */
#include "collector/correlate/cause.h"
#include "collector/correlate/gate.h"
#include "collector/correlate/path.h"
#include "collector/correlate/say.h"

#define ROOMS_SAID 5

/* The motion onsets in order, one for each change of node. */
static size_t motion_points(const struct coincidence *coincidence, struct path_point *points)
{
    size_t count = 0;
    for (size_t i = 0; i < coincidence->member_count; i++) {
        const struct disturbance *member = &coincidence->members[i];
        if (member->quantity == QUANTITY_MOTION &&
            (count == 0 || points[count - 1].node != member->node)) {
            points[count].node = member->node;
            points[count].time_ns = member->onset_ns;
            points[count++].time_sd_ns = disturbance_onset_sd_ns(member);
        }
    }
    return count;
}

static bool magnetic_elsewhere(const struct coincidence *coincidence, uint32_t node)
{
    for (size_t i = 0; i < coincidence->member_count; i++) {
        const struct disturbance *member = &coincidence->members[i];
        if (member->quantity == QUANTITY_MAGNETIC && member->node != node) {
            return true;
        }
    }
    return false;
}

static void say_rooms(const struct site *site, const struct path_step *steps, size_t count,
                      struct cause_opinion *opinion)
{
    size_t size = sizeof opinion->reason;
    for (size_t i = 0; i < count && i < ROOMS_SAID; i++) {
        say_add(opinion->reason, size, "%s%.16s", i ? ", " : "", site->rooms[steps[i].room].id);
    }
    if (count > ROOMS_SAID) {
        say_add(opinion->reason, size, " and %zu more", count - ROOMS_SAID);
    }
}

static void judge_speed(const struct speed *speed, struct cause_opinion *opinion)
{
    size_t size = sizeof opinion->reason;
    if (!speed->known) {
        say_add(opinion->reason, size, ", no speed to be told");
        return;
    }
    say_add(opinion->reason, size, " at %.1f m/s (%.1f to %.1f)", speed->value_m_s, speed->low_m_s,
            speed->high_m_s);
    opinion->fits =
        speed->low_m_s <= GATE_WALK_FASTEST_M_S && speed->high_m_s >= GATE_WALK_SLOWEST_M_S;
    bool inside =
        speed->value_m_s <= GATE_WALK_FASTEST_M_S && speed->value_m_s >= GATE_WALK_SLOWEST_M_S;
    opinion->likelihood = inside ? 0.9 : 0.5;
}

static bool all_in_room(const struct cause_case *question, uint32_t room)
{
    for (size_t i = 0; i < question->coincidence->order_count; i++) {
        if (question->site->nodes[question->coincidence->order[i].node].room != room) {
            return false;
        }
    }
    return true;
}

/* Motion at two nodes or more. */
static void judge_motion(const struct cause_case *question, const struct path_point *points,
                         size_t count, struct cause_opinion *opinion)
{
    struct path_step steps[COINCIDENCE_MEMBERS_MAX];
    size_t rooms = path_trace(question->site, points, count, steps, COINCIDENCE_MEMBERS_MAX);
    if (rooms > 1) {
        struct speed speed;
        path_fit_speed(question->site, points, count, &speed);
        say_add(opinion->reason, sizeof opinion->reason, "motion in ");
        say_rooms(question->site, steps, rooms, opinion);
        judge_speed(&speed, opinion);
        return;
    }
    /* One body in view of several sensors. */
    say_add(opinion->reason, sizeof opinion->reason, "motion at several nodes of one room, ");
    say_rooms(question->site, steps, rooms, opinion);
    opinion->fits = all_in_room(question, steps[0].room);
    opinion->likelihood = 0.5;
}

static void judge(const struct cause_case *question, struct cause_opinion *opinion)
{
    const struct coincidence *coincidence = question->coincidence;
    struct path_point points[COINCIDENCE_MEMBERS_MAX];
    size_t count = motion_points(coincidence, points);
    size_t size = sizeof opinion->reason;
    if (count == 0) {
        say_add(opinion->reason, size, "no motion sensor took part");
    } else if (count > 1) {
        judge_motion(question, points, count, opinion);
    } else if (coincidence->kind == COINCIDENCE_TRAVELLING &&
               magnetic_elsewhere(coincidence, points[0].node)) {
        say_add(opinion->reason, size, "motion and magnetic in ");
        say_rooms(question->site, coincidence->path, coincidence->path_count, opinion);
        judge_speed(&coincidence->speed, opinion);
    } else {
        say_add(opinion->reason, size, "motion at one node only");
    }
}

const struct cause_test cause_walking = {CAUSE_PERSON_WALKING, false, judge};
