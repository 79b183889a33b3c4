/* Mains switching: all nodes at once, and the mains frequency itself stepped at most of them.
 * Must never take a pulse's leak into the mains band for a switched load.
 * Called through the table in causes.c. */
#include "collector/correlate/cause.h"
#include "collector/correlate/cause_parts.h"
#include "collector/correlate/say.h"

#include <math.h>
#include <string.h>

#define PI 3.14159265358979323846

/* Onsets of one switching agree within three periods at 50 Hz plus their own uncertainty: fields
 * reach all rooms in under a microsecond, the rest is picking. Our choice. */
#define SPREAD_NS INT64_C(60000000)
/* Where the amplitude stepped at every node, at three or more: half of the time over which a step
 * of an amplitude is measured. Our choice. */
#define SPREAD_ALL_NS (DISTURBANCE_SETTLE_NS / 2)
#define ALL_LEAST 3u
/* The mains part of a disturbance at its node: a pulse leaks far less than this. Our choice. */
#define SHARE 0.25
/* Stays up: the level at the end of the stretch against its peak. */
#define STAYS 0.5
/* A step of the amplitude counts beyond this many of its own sigma. */
#define STEP_SIGMAS 5.0

/* A body near an antenna lends it more of the mains, for as long as it takes to walk past: what an
 * antenna alone shows must last longer. Our choice. */
#define PASSING_S 4.0
#define BODY_MOST 3 /* so many antennas at once are no body's doing */
/* Where the samples can't show the mains by itself (its alias near 0 or half the rate), a load
 * swings the reading about where it was: the mean moves by no more than a part of the peak. Or it
 * stands for seconds and goes everywhere at once. Our choices. */
#define HIDDEN_INTERVAL_S 0.025
#define STANDS_S 4.0
/* So many that can tell must have seen it where others can't. Our choice. */
#define ABLE_LEAST 2u
#define GONE_WITHIN_S 0.3
#define SWINGS 0.35
#define SWING_NODES 3
#define SWING_S 0.25
#define SWING_LIKELIHOOD 0.6
/* Where it folds to about half the rate it alternates from sample to sample, which hardly anything
 * else does: neighbouring samples are then as alike as this at most. */
#define ALTERNATES (-0.4)
#define STEADY 0.4 /* and this is no alternation */
#define ALTERNATING_NODES 2
#define ALTERNATING_LIKELIHOOD 0.9

static double settle_peak(const struct disturbance *member)
{
    return fabs(member->settle_peak_score) * member->baseline_scale;
}

/* The same quantity's other band at the same node. */
static const struct disturbance *rest_of(const struct coincidence *coincidence,
                                         const struct disturbance *mains)
{
    for (size_t i = 0; i < coincidence->member_count; i++) {
        const struct disturbance *member = &coincidence->members[i];
        if (member->node == mains->node && member->band == BAND_REST &&
            strcmp(member->quantity_text, mains->quantity_text) == 0) {
            return member;
        }
    }
    return NULL;
}

static bool mains_band_stepped(const struct coincidence *coincidence,
                               const struct disturbance *member)
{
    double peak = settle_peak(member);
    if (fabs(member->settle_step) >= STAYS * peak) {
        return true;
    }
    const struct disturbance *rest = rest_of(coincidence, member);
    return !rest || peak >= SHARE * settle_peak(rest);
}

/* Kay 1993, Fundamentals of Statistical Signal Processing I, sec. 3.11: an amplitude from N
 * samples has a variance of at least 2 sigma^2 / N; here a difference of two. */
static bool amplitude_stepped(const struct disturbance *member)
{
    if (!isfinite(member->mains_before) || !isfinite(member->mains_after)) {
        return false;
    }
    double interval_ns = (double)member->sampling_sd_ns * sqrt(12.0);
    double samples =
        interval_ns > 0.0 ? fmax(1.0, (double)DISTURBANCE_SETTLE_NS / interval_ns) : 1.0;
    double step = fabs(member->mains_after - member->mains_before);
    return step > STEP_SIGMAS * member->baseline_scale * 2.0 / sqrt(samples) &&
           step >= SHARE * settle_peak(member);
}

static bool body_at_antenna(const struct coincidence *coincidence, const struct disturbance *member)
{
    const struct disturbance *antennas[COINCIDENCE_MEMBERS_MAX];
    return member->quantity == QUANTITY_ELECTRIC && cause_lasts_s(member, PASSING_S) < PASSING_S &&
           cause_strongest(coincidence, QUANTITY_ELECTRIC, BAND_MAINS, antennas) < BODY_MOST;
}

static bool mains_seen(const struct coincidence *coincidence)
{
    for (size_t i = 0; i < coincidence->member_count; i++) {
        if (coincidence->members[i].band == BAND_MAINS) {
            return true;
        }
    }
    return false;
}

static bool mains_hidden(const struct disturbance *member)
{
    double interval_s = (double)member->sampling_sd_ns * 1e-9 * sqrt(12.0);
    return interval_s < HIDDEN_INTERVAL_S && !isfinite(member->mains_before);
}

/* It swings about where it was, or it is there at once, for long, and gone at once. */
static bool like_a_load(const struct disturbance *member, int64_t end_ns)
{
    double lasts_s = cause_lasts_s(member, SWING_S);
    double off_s = fabs((double)(member->end_ns - end_ns)) * 1e-9;
    bool swings = cause_level_share(member) <= SWINGS && lasts_s >= SWING_S;
    bool stands = lasts_s >= STANDS_S && off_s <= GONE_WITHIN_S;
    return swings || stands;
}

/* The mains as this member's rate shows it: neighbouring samples of a cosine of f at a rate r are
 * alike by cos(2 pi f / r). */
static bool folds_to_alternation(const struct cause_case *question,
                                 const struct disturbance *member)
{
    double interval_s = (double)member->sampling_sd_ns * 1e-9 * sqrt(12.0);
    return cos(2.0 * PI * question->site->mains_hz * interval_s) <= 2.0 * ALTERNATES;
}

struct swinging {
    size_t nodes;       /* that swing about where they were, from the first onset on */
    size_t alternating; /* of them, as the mains would at their rates */
};

static struct swinging nodes_swinging(const struct cause_case *question)
{
    const struct disturbance *members[COINCIDENCE_MEMBERS_MAX];
    const struct coincidence *coincidence = question->coincidence;
    size_t count = cause_strongest(coincidence, QUANTITY_MAGNETIC, BAND_REST, members);
    struct swinging swinging = {0, 0};
    if (mains_seen(coincidence)) {
        return swinging;
    }
    for (size_t i = 0; i < count; i++) {
        int64_t late_ns =
            members[i]->onset_ns - coincidence->start_ns - 2 * disturbance_onset_sd_ns(members[i]);
        if (!mains_hidden(members[i]) || late_ns > SPREAD_NS) {
            continue;
        }
        bool folds = folds_to_alternation(question, members[i]);
        bool alternates = folds && members[i]->alike <= ALTERNATES;
        bool steady = folds && members[i]->alike >= STEADY;
        swinging.alternating += alternates;
        swinging.nodes += alternates || (!steady && like_a_load(members[i], coincidence->end_ns));
    }
    return swinging;
}

static bool stepped(const struct coincidence *coincidence, const struct disturbance *member)
{
    if (body_at_antenna(coincidence, member)) {
        return false;
    }
    return member->band == BAND_MAINS ? mains_band_stepped(coincidence, member)
                                      : amplitude_stepped(member);
}

/* How far the nodes' onsets lie apart beyond twice their joint uncertainty; *spread_ns as it is. */
static int64_t unexplained_spread_ns(const struct coincidence *coincidence, int64_t *spread_ns)
{
    int64_t beyond_ns = 0;
    *spread_ns = 0;
    for (size_t i = 0; i < coincidence->order_count; i++) {
        for (size_t j = i + 1; j < coincidence->order_count; j++) {
            const struct order_entry *a = &coincidence->order[i];
            const struct order_entry *b = &coincidence->order[j];
            int64_t gap_ns = b->onset_ns - a->onset_ns;
            double joint = hypot((double)a->onset_sd_ns, (double)b->onset_sd_ns);
            int64_t excess_ns = gap_ns - (int64_t)llround(2.0 * joint);
            *spread_ns = gap_ns > *spread_ns ? gap_ns : *spread_ns;
            beyond_ns = excess_ns > beyond_ns ? excess_ns : beyond_ns;
        }
    }
    return beyond_ns;
}

/* The node where the mains amplitude changed most, in its own unit. */
static void say_strongest(const struct cause_case *question, const struct disturbance *strongest,
                          struct cause_opinion *opinion)
{
    size_t size = sizeof opinion->reason;
    const char *node = question->site->nodes[strongest->node].id;
    if (isfinite(strongest->mains_before) && isfinite(strongest->mains_after)) {
        char before[SAY_SIZE];
        char after[SAY_SIZE];
        say_value(strongest->mains_before, strongest->unit, before);
        say_value(strongest->mains_after, strongest->unit, after);
        say_add(opinion->reason, size, ", most at %.20s: %s to %s", node, before, after);
    } else {
        say_add(opinion->reason, size, ", most at %.20s: score %.3g", node,
                fabs(strongest->settle_peak_score));
    }
}

static bool node_in_mains(const struct coincidence *coincidence, uint32_t node,
                          const struct disturbance **strongest)
{
    bool found = false;
    for (size_t i = 0; i < coincidence->member_count; i++) {
        const struct disturbance *member = &coincidence->members[i];
        if (member->node != node || !stepped(coincidence, member)) {
            continue;
        }
        found = true;
        if (!*strongest ||
            fabs(member->settle_peak_score) > fabs((*strongest)->settle_peak_score)) {
            *strongest = member;
        }
    }
    return found;
}

/* It saw something, at a rate that can't tell whether it was the mains. */
static bool node_cannot_tell(const struct coincidence *coincidence, uint32_t node)
{
    for (size_t i = 0; i < coincidence->member_count; i++) {
        const struct disturbance *member = &coincidence->members[i];
        bool fast_field =
            member->quantity == QUANTITY_MAGNETIC || member->quantity == QUANTITY_ELECTRIC;
        bool hidden = fast_field && member->band == BAND_REST && mains_hidden(member);
        if (member->node == node && !hidden) {
            return false;
        }
    }
    return true;
}

static void judge(const struct cause_case *question, struct cause_opinion *opinion)
{
    const struct coincidence *coincidence = question->coincidence;
    const struct disturbance *strongest = NULL;
    size_t nodes = 0;
    size_t able = 0;
    for (size_t i = 0; i < coincidence->order_count; i++) {
        nodes += node_in_mains(coincidence, coincidence->order[i].node, &strongest);
        able += !node_cannot_tell(coincidence, coincidence->order[i].node);
    }
    int64_t spread_ns = 0;
    int64_t beyond_ns = unexplained_spread_ns(coincidence, &spread_ns);
    char spread[SAY_SIZE];
    say_span(spread_ns, spread);
    say_add(opinion->reason, sizeof opinion->reason,
            "onsets within %s, mains amplitude stepped at %zu of %zu nodes", spread, nodes,
            able > 0 ? able : coincidence->order_count);
    if (strongest) {
        say_strongest(question, strongest, opinion);
    }
    bool all = nodes == coincidence->order_count && nodes >= ALL_LEAST;
    bool at_once =
        coincidence->kind == COINCIDENCE_PROMPT && beyond_ns <= (all ? SPREAD_ALL_NS : SPREAD_NS);
    struct swinging swinging = nodes_swinging(question);
    bool most = 2 * nodes > able && (able == coincidence->order_count || nodes >= ABLE_LEAST);
    opinion->fits = at_once && most;
    opinion->likelihood =
        coincidence->order_count ? (double)nodes / (double)coincidence->order_count : 0.0;
    if (swinging.nodes > 0) {
        say_add(opinion->reason, sizeof opinion->reason,
                "; the mains can't be told apart at this sample rate, %zu are like a load's, %zu"
                " alternate as it would",
                swinging.nodes, swinging.alternating);
    }
    bool alternating = swinging.alternating >= ALTERNATING_NODES &&
                       2 * swinging.alternating > coincidence->order_count;
    bool swings = swinging.nodes >= SWING_NODES && 2 * swinging.nodes > coincidence->order_count;
    if (!opinion->fits && at_once && (alternating || swings)) {
        opinion->fits = true;
        opinion->likelihood = alternating ? ALTERNATING_LIKELIHOOD : SWING_LIKELIHOOD;
    }
}

const struct cause_test cause_mains = {CAUSE_MAINS_SWITCHING, judge};
