/* Somebody who walks: motion in one room after another, at a walking speed.
 * Must never call it walking without a motion sensor. Called through the table in causes.c.
 * Speeds: Bohannon 1997, Age and Ageing 26:15-19. */
#include "collector/correlate/cause.h"
#include "collector/correlate/cause_parts.h"
#include "collector/correlate/gate.h"
#include "collector/correlate/path.h"
#include "collector/correlate/say.h"

#define ROOMS_SAID 5
/* Thresholds that a carried piece of steel shows at least, to stand for a motion sensor. Our
 * choice. */
#define CARRIED 1.5
#define CARRIED_TURN 0.1
/* A motion sensor sees a body this far off (common practice, no source): each end of a way may be
 * so much nearer to the door. */
#define REACH_M 5.0
#define REACH_LIKELIHOOD 0.6
/* What moves the field where motion sensors answer, in one room after another: about then. */
#define ABOUT_S 15.0
#define CARRIES_LIKELIHOOD 0.6

static size_t room_of(const struct cause_case *question, uint32_t node)
{
    return question->site->nodes[node].room;
}

/* The motion onsets in order, one for each change of room: sensors of one room see the same body at
 * once. */
static size_t motion_points(const struct cause_case *question, struct path_point *points)
{
    const struct coincidence *coincidence = question->coincidence;
    size_t count = 0;
    for (size_t i = 0; i < coincidence->member_count; i++) {
        const struct disturbance *member = &coincidence->members[i];
        if (member->quantity == QUANTITY_MOTION &&
            (count == 0 ||
             room_of(question, points[count - 1].node) != room_of(question, member->node))) {
            points[count].node = member->node;
            points[count].time_ns = member->onset_ns;
            points[count++].time_sd_ns = disturbance_onset_sd_ns(member);
        }
    }
    return count;
}

/* In another room, unless it would have been seen to turn, as what is carried past does. */
static bool magnetic_elsewhere(const struct cause_case *question, uint32_t node)
{
    const struct coincidence *coincidence = question->coincidence;
    for (size_t i = 0; i < coincidence->member_count; i++) {
        const struct disturbance *member = &coincidence->members[i];
        if (member->quantity == QUANTITY_MAGNETIC && member->band == BAND_REST &&
            cause_over(member) >= CARRIED && !cause_turned_less(member, CARRIED_TURN) &&
            room_of(question, member->node) != room_of(question, node)) {
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

static size_t motion_nodes(const struct coincidence *coincidence)
{
    const struct disturbance *members[COINCIDENCE_MEMBERS_MAX];
    return cause_strongest(coincidence, QUANTITY_MOTION, BAND_REST, members);
}

/* Whether somebody could have walked it at all: seen from afar the way is shorter, and so is the
 * time. */
static bool walkable(const struct site *site, const struct path_point *points, size_t count)
{
    double way_m = 0.0;
    for (size_t i = 1; i < count; i++) {
        double hop_m = site_node_walk_m(site, points[i - 1].node, points[i].node);
        way_m +=
            hop_m >= 0.0 ? hop_m : site_node_distance_m(site, points[i - 1].node, points[i].node);
    }
    double time_s = (double)(points[count - 1].time_ns - points[0].time_ns) * 1e-9;
    return time_s * GATE_WALK_FASTEST_M_S >= way_m - REACH_M &&
           time_s * GATE_WALK_SLOWEST_M_S <= way_m + REACH_M;
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
        if (!opinion->fits && walkable(question->site, points, count)) {
            say_add(opinion->reason, sizeof opinion->reason,
                    ", within what sensors of %.0f m reach leave open", REACH_M);
            opinion->fits = true;
            opinion->likelihood = REACH_LIKELIHOOD;
        }
        return;
    }
    /* One body in view of several sensors. */
    say_add(opinion->reason, sizeof opinion->reason, "motion at several nodes of one room, ");
    say_rooms(question->site, steps, rooms, opinion);
    opinion->fits = all_in_room(question, steps[0].room);
    opinion->likelihood = 0.5;
}

/* Rooms in which somebody moved about then. */
static size_t rooms_walked(const struct cause_case *question)
{
    const struct disturbance *around[RECENT_MAX];
    size_t count = cause_around(question, QUANTITY_MOTION, BAND_REST, ABOUT_S, ABOUT_S, around);
    size_t rooms = 0;
    for (size_t i = 0; i < count; i++) {
        bool before = false;
        for (size_t j = 0; j < i && !before; j++) {
            before = room_of(question, around[j]->node) == room_of(question, around[i]->node);
        }
        rooms += !before;
    }
    return rooms;
}

/* No motion in it, but at each node where the field moved somebody was seen: what he carries. */
static void judge_carried(const struct cause_case *question, struct cause_opinion *opinion)
{
    const struct disturbance *fields[COINCIDENCE_MEMBERS_MAX];
    size_t count = cause_strongest(question->coincidence, QUANTITY_MAGNETIC, BAND_REST, fields);
    size_t walked = 0;
    for (size_t i = 0; i < count; i++) {
        walked += cause_somebody_there(question, fields[i]);
    }
    size_t rooms = rooms_walked(question);
    say_add(opinion->reason, sizeof opinion->reason, "no motion sensor took part");
    if (rooms > 0) {
        say_add(
            opinion->reason, sizeof opinion->reason,
            "; somebody moved in %zu room%s about then, at %zu of %zu nodes where the field did",
            rooms, rooms == 1 ? "" : "s", walked, count);
    }
    opinion->fits = count > 0 && walked == count && rooms > 1;
    opinion->likelihood = CARRIES_LIKELIHOOD;
}

static void judge(const struct cause_case *question, struct cause_opinion *opinion)
{
    const struct coincidence *coincidence = question->coincidence;
    struct path_point points[COINCIDENCE_MEMBERS_MAX];
    size_t count = motion_points(question, points);
    size_t size = sizeof opinion->reason;
    bool carried = count == 1 && magnetic_elsewhere(question, points[0].node);
    if (count == 0) {
        judge_carried(question, opinion);
    } else if (count > 1 || (motion_nodes(coincidence) > 1 && !carried)) {
        judge_motion(question, points, count, opinion);
    } else if (coincidence->kind == COINCIDENCE_TRAVELLING && carried) {
        say_add(opinion->reason, size, "motion and magnetic in ");
        say_rooms(question->site, coincidence->path, coincidence->path_count, opinion);
        judge_speed(&coincidence->speed, opinion);
    } else {
        say_add(opinion->reason, size, "motion at one node only");
    }
}

const struct cause_test cause_walking = {CAUSE_PERSON_WALKING, judge};
