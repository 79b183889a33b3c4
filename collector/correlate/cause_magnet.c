/* A magnet that is carried past: the static field swells and sinks at one node after another, each
 * swell as high and as long as a dipole's on a path.
 * Must never take a field that comes at once for one that comes closer. Called through causes.c.
 * A dipole's field falls with the cube of the distance (Jackson, Classical Electrodynamics, 3rd ed.
 * 1999, eq. 5.56), so on a straight path it rises from the threshold to its peak P within
 * d / v * sqrt((P / threshold)^(2/3) - 1), d the closest distance and v the speed. */
#include "collector/correlate/cause.h"
#include "collector/correlate/cause_parts.h"
#include "collector/correlate/say.h"

#include <math.h>

/* All our choices, from simulated passages. */
#define STRONG 1.3      /* peak over threshold from which a shape can be told */
#define GENTLE 0.35     /* of its peak after the settling stretch at most */
#define RISE_S 0.2      /* at least, to nine tenths of the peak */
#define LASTS_S 0.4     /* at least */
#define SHIFT_S 0.25    /* one node's swell begins and ends later than another's by as much */
#define CLEAR 3.0       /* peak over threshold from which nine tenths of it can be timed */
#define APPROACH 6.0    /* peak over threshold from which the law of approach can be told */
#define LAW_WITHIN 1.25 /* of it */
#define AROUND_S 12.0
#define SLOWEST_M_S 0.2 /* carried */
#define FASTEST_M_S 3.5
#define NEAREST_M 0.1 /* closest distances that a carried thing passes at */
#define FARTHEST_M 8.0
#define USUAL_M_S 1.0  /* where the swells leave the speed open */
#define LAW_FACTOR 3.0 /* two estimates of a ratio of distances agree within this */
/* What is carried past turns the field; what grows and fades on one spot moves it along a line. So
 * much across that line, as a part of what was along it, is a turn. */
#define TURN 0.1
#define STILL 0.05 /* so little is none */
/* A turn of so much would have been seen: one passage in four or five turns less. */
#define USUAL_TURN 0.25
#define STRAIGHT_FACTOR 0.3
#define TURN_LIKELIHOOD 0.9
#define BESIDE_LIKELIHOOD 0.6
#define WITH_SOMEBODY 0.45 /* whoever walks there carries it: that explains more */

struct passage {
    const struct disturbance *members[COINCIDENCE_MEMBERS_MAX];
    const struct disturbance *around[RECENT_MAX]; /* them and what else moved about then */
    size_t around_count;
    size_t count;       /* nodes with a static field disturbed */
    size_t strong;      /* of them */
    size_t turned;      /* whose field turned */
    size_t still;       /* whose field would have been seen to turn, and didn't */
    size_t straight;    /* whose field turned less than is usual */
    double turn;        /* the most of any */
    size_t beside;      /* weaker ones while another node's field turned */
    size_t walked;      /* nodes in whose rooms somebody moved then */
    size_t swells;      /* of the strong ones */
    bool picked_up;     /* the earliest strong one began at once: it was there already */
    double shift_s;     /* one comes and goes so much after another */
    size_t antennas;    /* nodes whose antenna swelled too: a magnet doesn't do that */
    size_t approaching; /* swells as narrow at half their height as what comes near and goes */
    struct speed speed;
};

static double rise_s(const struct disturbance *member)
{
    double told_s = member->rise_s;
    return told_s > 0.0 ? told_s : (double)(member->peak_ns - member->onset_ns) * 1e-9;
}

static bool is_swell(const struct disturbance *member)
{
    return rise_s(member) >= RISE_S &&
           fabs(member->settle_step) <= GENTLE * fabs(member->peak_value) &&
           cause_lasts_s(member, LASTS_S) >= LASTS_S;
}

/* Closest distance over speed, from the time that it took to rise. */
static double nearness_s(const struct disturbance *member)
{
    double cube_root = cbrt(cause_over(member));
    double square = cube_root * cube_root;
    return square > 1.0 ? rise_s(member) / sqrt(square - 1.0) : 0.0;
}

/* By how much the later of two begins and ends later; what comes to all at once is longer where it
 * is stronger, at both sides. */
static double shift_s(const struct disturbance *a, const struct disturbance *b)
{
    const struct disturbance *first = a->onset_ns <= b->onset_ns ? a : b;
    const struct disturbance *second = first == a ? b : a;
    double later_s =
        (double)(second->onset_ns - first->onset_ns) * 1e-9 -
        2e-9 * hypot((double)disturbance_onset_sd_ns(a), (double)disturbance_onset_sd_ns(b));
    if (!first->end_ns || !second->end_ns) {
        return 0.0;
    }
    double ends_later_s = (double)(second->end_ns - first->end_ns) * 1e-9;
    return fmax(0.0, fmin(later_s, ends_later_s));
}

/* Of what passes at distance d, half of the peak lasts 2 d / v * sqrt(2^(2/3) - 1), what is above
 * the threshold 2 d / v * sqrt(over^(2/3) - 1): what only swells at one spot is wider at half
 * height. */
static bool approaches(const struct disturbance *member)
{
    double over = cause_over(member);
    double lasts_s = cause_lasts_s(member, 0.0);
    if (over < APPROACH || !(lasts_s > 0.0) || !(member->half_s > 0.0)) {
        return false;
    }
    double part = sqrt((cbrt(4.0) - 1.0) / (cbrt(over * over) - 1.0));
    /* What was there at once and leaves is half of a passage: its law is the same. */
    return member->half_s <= LAW_WITHIN * part * lasts_s;
}

/* When each reached nine tenths of its peak: at once where all feel the same. */
static double risen_apart_s(const struct disturbance *a, const struct disturbance *b)
{
    if (cause_over(a) < CLEAR || cause_over(b) < CLEAR) {
        return 0.0;
    }
    return fabs((double)(a->onset_ns - b->onset_ns) * 1e-9 + rise_s(a) - rise_s(b));
}

static bool overlap(const struct disturbance *a, const struct disturbance *b)
{
    return (b->end_ns == 0 || a->onset_ns <= b->end_ns) &&
           (a->end_ns == 0 || b->onset_ns <= a->end_ns);
}

/* One magnet is felt at several nodes, at most of them too weakly to see more than that. */
static bool felt_beside(const struct passage *passage, const struct disturbance *member)
{
    for (size_t i = 0; i < passage->around_count; i++) {
        const struct disturbance *other = passage->around[i];
        if (other->node != member->node && cause_over(other) >= CLEAR &&
            cause_turn(other) >= TURN && fabs(other->peak_value) > fabs(member->peak_value) &&
            overlap(other, member)) {
            return true;
        }
    }
    return false;
}

static void look_at_turns(const struct cause_case *question, struct passage *passage)
{
    for (size_t i = 0; i < passage->count; i++) {
        const struct disturbance *member = passage->members[i];
        passage->turned += cause_turn(member) >= TURN;
        passage->still += cause_over(member) >= STRONG && cause_turned_less(member, STILL);
        passage->straight +=
            cause_turn(member) < TURN && member->across_least < USUAL_TURN * member->along_score;
        passage->turn = fmax(passage->turn, cause_turn(member));
        passage->beside += felt_beside(passage, member);
        passage->walked += cause_somebody_there(question, member);
    }
}

static void look_at_shapes(struct passage *passage)
{
    const struct disturbance *earliest = NULL;
    for (size_t i = 0; i < passage->count; i++) {
        const struct disturbance *member = passage->members[i];
        bool strong = cause_over(member) >= STRONG;
        passage->strong += strong;
        passage->swells += strong && is_swell(member);
        if (strong && (!earliest || member->onset_ns < earliest->onset_ns)) {
            earliest = member;
        }
        for (size_t j = 0; j < passage->around_count; j++) {
            const struct disturbance *other = passage->around[j];
            if (other->node != member->node) {
                double apart_s = fmax(shift_s(other, member), risen_apart_s(other, member));
                passage->shift_s = fmax(passage->shift_s, apart_s);
            }
        }
        passage->approaching += approaches(member);
    }
    passage->picked_up = earliest && !is_swell(earliest);
}

/* Antennas that moved about as slowly while a swell of the field was there. */
static void look_at_antennas(const struct cause_case *question, struct passage *passage)
{
    const struct disturbance *antennas[COINCIDENCE_MEMBERS_MAX];
    size_t count = cause_strongest(question->coincidence, QUANTITY_ELECTRIC, BAND_REST, antennas);
    for (size_t i = 0; i < passage->count; i++) {
        for (size_t j = 0; j < count; j++) {
            passage->antennas += antennas[j]->node == passage->members[i]->node &&
                                 cause_over(antennas[j]) >= STRONG && is_swell(antennas[j]);
        }
    }
}

static void look(const struct cause_case *question, struct passage *passage)
{
    struct path_point points[COINCIDENCE_MEMBERS_MAX];
    passage->count =
        cause_strongest(question->coincidence, QUANTITY_MAGNETIC, BAND_REST, passage->members);
    passage->around_count =
        cause_around(question, QUANTITY_MAGNETIC, BAND_REST, AROUND_S, AROUND_S, passage->around);
    size_t count = 0;
    for (size_t i = 0; i < passage->count; i++) {
        const struct disturbance *member = passage->members[i];
        if (cause_over(member) < STRONG) {
            continue;
        }
        points[count].node = member->node;
        points[count].time_ns = member->peak_ns;
        /* A peak is known to a part of its width. */
        points[count++].time_sd_ns =
            (member->peak_ns - member->onset_ns) / 4 + member->sampling_sd_ns;
    }
    look_at_shapes(passage);
    look_at_turns(question, passage);
    look_at_antennas(question, passage);
    cause_speed(question->site, points, count, &passage->speed);
}

/* The two strongest: how many times nearer one was, by height and by duration; 0 for unknown. */
static double law_misfit(const struct passage *passage)
{
    const struct disturbance *top = cause_top(passage->members, passage->count);
    const struct disturbance *next = NULL;
    for (size_t i = 0; i < passage->count; i++) {
        if (passage->members[i] != top && cause_over(passage->members[i]) >= 1.2 &&
            (!next || cause_over(passage->members[i]) > cause_over(next))) {
            next = passage->members[i];
        }
    }
    if (!next || !(nearness_s(next) > 0.0) || !(nearness_s(top) > 0.0)) {
        return 0.0;
    }
    double by_height = cbrt(fabs(top->peak_value) / fabs(next->peak_value));
    double by_time = nearness_s(next) / nearness_s(top);
    return fmax(by_height / by_time, by_time / by_height);
}

static bool speed_fits(const struct speed *speed)
{
    return !speed->known || (speed->low_m_s <= FASTEST_M_S && speed->high_m_s >= SLOWEST_M_S);
}

static void say(const struct cause_case *question, const struct passage *passage,
                const struct disturbance *top, double nearest_m, double misfit,
                struct cause_opinion *opinion)
{
    char peak[SAY_SIZE];
    size_t size = sizeof opinion->reason;
    say_value(fabs(top->peak_value), top->unit, peak);
    say_add(opinion->reason, size, "%zu of %zu strong swells%s, %s at %.12s in %.1f s, %.1f m near",
            passage->swells, passage->strong,
            passage->picked_up ? " (the first was there at once)" : "", peak,
            question->site->nodes[top->node].id, rise_s(top), nearest_m);
    if (passage->turned + passage->straight > 0) {
        say_add(opinion->reason, size,
                "; the field turned at %zu of them, by up to %.0f %%, kept to a line at %zu",
                passage->turned, 100.0 * passage->turn, passage->straight);
    }
    if (passage->beside > 0) {
        say_add(opinion->reason, size, "; %zu while a stronger one turned elsewhere",
                passage->beside);
    }
    if (passage->walked > 0) {
        say_add(opinion->reason, size, "; somebody moved at %zu", passage->walked);
    }
    if (passage->around_count > 1) {
        say_add(opinion->reason, size, "; one comes and goes %.1f s after another",
                passage->shift_s);
    }
    if (passage->approaching > 0) {
        say_add(opinion->reason, size, ", %zu as narrow as what comes near and goes",
                passage->approaching);
    }
    if (passage->antennas > 0) {
        say_add(opinion->reason, size, ", but %zu antennas swelled too", passage->antennas);
    }
    if (passage->speed.known) {
        say_add(opinion->reason, size, ", %.1f m/s", passage->speed.value_m_s);
    }
    if (misfit > 0.0) {
        say_add(opinion->reason, size, ", dipole law x%.1f", misfit);
    }
}

/* What is too weak or too short to show a turn: by how it rises and sinks, here and there. */
static void judge_shapes(const struct cause_case *question, const struct passage *passage,
                         double nearest_m, double misfit, struct cause_opinion *opinion)
{
    size_t expected = passage->strong - (passage->picked_up ? 1 : 0);
    bool moved = passage->swells > 0 || passage->approaching > 0;
    bool swells = passage->strong > 0 && passage->swells == expected && moved;
    bool near = nearest_m >= NEAREST_M && nearest_m <= FARTHEST_M;
    bool passes =
        passage->around_count > 1 && passage->shift_s >= SHIFT_S && speed_fits(&passage->speed);
    bool comes_near = passage->approaching > 0;
    bool alone = passage->count == 1 && question->coincidence->kind == COINCIDENCE_TRAVELLING;
    opinion->fits = swells && passage->antennas == 0 && nearest_m <= FARTHEST_M &&
                    (passes || comes_near || (near && alone));
    opinion->likelihood = passes || comes_near ? 0.6 : 0.35;
    if (misfit > 0.0) {
        opinion->likelihood += misfit <= LAW_FACTOR ? 0.25 : -0.2;
    }
    if (passage->straight > 0) {
        opinion->likelihood *= STRAIGHT_FACTOR;
    }
}

static void judge(const struct cause_case *question, struct cause_opinion *opinion)
{
    struct passage passage = {.count = 0};
    look(question, &passage);
    const struct disturbance *top = cause_top(passage.members, passage.count);
    if (!top) {
        say_add(opinion->reason, sizeof opinion->reason, "the static field stayed");
        return;
    }
    double misfit = law_misfit(&passage);
    bool several =
        passage.count > 1 && passage.speed.known && passage.speed.value_m_s <= FASTEST_M_S;
    double nearest_m = nearness_s(top) * (several ? passage.speed.value_m_s : USUAL_M_S);
    say(question, &passage, top, nearest_m, misfit, opinion);
    if (passage.turned + passage.still > 0) {
        opinion->fits = passage.turned > 0 && passage.turned >= passage.still &&
                        passage.turned >= passage.straight;
        opinion->likelihood = TURN_LIKELIHOOD;
    } else if (passage.beside > 0) {
        opinion->fits = true;
        opinion->likelihood = BESIDE_LIKELIHOOD;
    } else {
        judge_shapes(question, &passage, nearest_m, misfit, opinion);
    }
    if (passage.walked == passage.count) {
        opinion->likelihood = fmin(opinion->likelihood, WITH_SOMEBODY);
    }
}

const struct cause_test cause_magnet = {CAUSE_MOVING_MAGNET, judge};
