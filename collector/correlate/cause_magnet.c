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
#define STRONG 2.0      /* peak over threshold from which a shape can be told */
#define GENTLE 0.35     /* of its peak after the settling stretch at most */
#define RISE_S 0.2      /* at least, to the peak */
#define LASTS_S 0.4     /* at least */
#define APART_S 0.3     /* the nodes' peaks */
#define SLOWEST_M_S 0.2 /* carried */
#define FASTEST_M_S 3.5
#define NEAREST_M 0.1 /* closest distances that a carried thing passes at */
#define FARTHEST_M 8.0
#define USUAL_M_S 1.0  /* where a single swell leaves the speed open */
#define LAW_FACTOR 3.0 /* two estimates of a ratio of distances agree within this */

struct passage {
    const struct disturbance *members[COINCIDENCE_MEMBERS_MAX];
    size_t count;  /* nodes with a static field disturbed */
    size_t strong; /* of them */
    size_t swells; /* of the strong ones */
    struct speed speed;
    double apart_s;
};

static double over(const struct disturbance *member)
{
    return member->threshold > 0.0 ? fabs(member->peak_score) / member->threshold : 0.0;
}

static double rise_s(const struct disturbance *member)
{
    return (double)(member->peak_ns - member->onset_ns) * 1e-9;
}

static bool is_swell(const struct disturbance *member)
{
    return !member->clipped && rise_s(member) >= RISE_S &&
           fabs(member->settle_step) <= GENTLE * fabs(member->peak_value) &&
           cause_lasts_s(member, LASTS_S) >= LASTS_S;
}

/* Closest distance over speed, from the time that it took to rise. */
static double nearness_s(const struct disturbance *member)
{
    double cube_root = cbrt(over(member));
    double square = cube_root * cube_root;
    return square > 1.0 ? rise_s(member) / sqrt(square - 1.0) : 0.0;
}

static void look(const struct cause_case *question, struct passage *passage)
{
    struct path_point points[COINCIDENCE_MEMBERS_MAX];
    int64_t first_ns = INT64_MAX;
    int64_t last_ns = INT64_MIN;
    passage->count =
        cause_strongest(question->coincidence, QUANTITY_MAGNETIC, BAND_REST, passage->members);
    for (size_t i = 0; i < passage->count; i++) {
        const struct disturbance *member = passage->members[i];
        passage->strong += over(member) >= STRONG;
        passage->swells += over(member) >= STRONG && is_swell(member);
        points[i].node = member->node;
        points[i].time_ns = member->peak_ns;
        /* A peak is known to a part of its width. */
        points[i].time_sd_ns = (member->peak_ns - member->onset_ns) / 4 + member->sampling_sd_ns;
        first_ns = member->peak_ns < first_ns ? member->peak_ns : first_ns;
        last_ns = member->peak_ns > last_ns ? member->peak_ns : last_ns;
    }
    passage->apart_s = passage->count ? (double)(last_ns - first_ns) * 1e-9 : 0.0;
    cause_speed(question->site, points, passage->count, &passage->speed);
}

/* The two strongest: how many times nearer one was, by height and by duration; 0 for unknown. */
static double law_misfit(const struct passage *passage)
{
    const struct disturbance *top = cause_top(passage->members, passage->count);
    const struct disturbance *next = NULL;
    for (size_t i = 0; i < passage->count; i++) {
        if (passage->members[i] != top && over(passage->members[i]) >= 1.2 &&
            (!next || over(passage->members[i]) > over(next))) {
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
    return speed->known && speed->low_m_s <= FASTEST_M_S && speed->high_m_s >= SLOWEST_M_S;
}

static void say(const struct cause_case *question, const struct passage *passage,
                const struct disturbance *top, double nearest_m, double misfit,
                struct cause_opinion *opinion)
{
    char peak[SAY_SIZE];
    size_t size = sizeof opinion->reason;
    say_value(fabs(top->peak_value), top->unit, peak);
    say_add(opinion->reason, size, "%zu of %zu strong swells, %s at %.12s in %.1f s, %.1f m near",
            passage->swells, passage->strong, peak, question->site->nodes[top->node].id,
            rise_s(top), nearest_m);
    if (passage->count > 1) {
        say_add(opinion->reason, size, "; peaks %.1f s apart", passage->apart_s);
    }
    if (passage->speed.known) {
        say_add(opinion->reason, size, ", %.1f m/s", passage->speed.value_m_s);
    }
    if (misfit > 0.0) {
        say_add(opinion->reason, size, ", dipole law x%.1f", misfit);
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
    bool several = passage.count > 1 && passage.speed.known;
    double nearest_m = nearness_s(top) * (several ? passage.speed.value_m_s : USUAL_M_S);
    say(question, &passage, top, nearest_m, misfit, opinion);
    bool swells = passage.strong > 0 && passage.swells == passage.strong;
    bool near = nearest_m >= NEAREST_M && nearest_m <= FARTHEST_M;
    bool apart = passage.count > 1 && passage.apart_s >= APART_S && speed_fits(&passage.speed);
    bool alone = passage.count == 1 && question->coincidence->kind == COINCIDENCE_TRAVELLING;
    opinion->fits = swells && near && (apart || alone);
    opinion->likelihood = alone ? 0.35 : 0.6;
    if (misfit > 0.0) {
        opinion->likelihood += misfit <= LAW_FACTOR ? 0.25 : -0.2;
    }
}

const struct cause_test cause_magnet = {CAUSE_MOVING_MAGNET, false, judge};
