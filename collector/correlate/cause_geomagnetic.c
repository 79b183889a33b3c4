/* The earth's own field: the same slow deviation at all nodes alike, over minutes.
 * Must never take a field of one place for one of the whole earth. Called through causes.c.
 * Tens of nT within minutes on a lively day, up to 500 nT (Bartels 1939, from memory). */
#include "collector/correlate/cause.h"
#include "collector/correlate/cause_parts.h"
#include "collector/correlate/say.h"

#include <math.h>

/* Our choices. */
#define LEAST_NODES 3
#define ALIKE 1.6        /* highest peak over lowest */
#define NOISE_SIGMAS 2.5 /* of a long stretch the noise's largest is part of the peak */
/* Two are enough where each swells for so long, and no other could have seen as much. */
#define FEWEST_NODES 2
#define LONG_S 10.0
#define KNOWN_S 7200.0 /* a node's threshold is known by its own disturbances within this */
#define FEW_LIKELIHOOD 0.6
#define ALIKE_T 2.5e-7   /* or no further apart than this: what noise adds to a weak one */
#define SLOW_S 5.0       /* the longest lasts at least, or the onsets lie this far apart */
#define GENTLE 0.5       /* of the peak after the settling stretch at most */
#define HIGHEST_T 2e-6   /* a great storm */
#define FAINT 1.0        /* thresholds */
#define AROUND_S 90.0    /* nodes cross their thresholds so far apart */
#define AT_ONCE_S 0.3    /* a switch or a pulse reaches all of them within this */
#define SUDDEN 0.6       /* of the peak after the settling stretch already */
#define CLEAR 2.0        /* peak over threshold from which its height is not mostly noise */
#define FASTEST_T_S 5e-8 /* several times what a great storm does (our memory: some 10 nT/s) */
#define LEAST_PART 0.3   /* of the nodes that have a magnetometer */

struct swell {
    const struct disturbance *members[RECENT_MAX]; /* of all that is around, one a node */
    double spans_s[RECENT_MAX];                    /* from its first onset to its last end */
    size_t count;
    double low;
    double high;
    double least; /* the highest of what is left without each one's noise */
    double longest_s;
    double briefest_s;
    size_t blind; /* nodes that could not have seen as much */
    size_t gentle;
    size_t at_once;
    size_t sudden;
    size_t fast; /* higher than the earth's field gets to in that time */
    double apart_s;
};

/* The highest of each node. */
static void keep_highest(const struct disturbance *const *around, size_t count, struct swell *swell)
{
    for (size_t i = 0; i < count; i++) {
        size_t at = 0;
        while (at < swell->count && swell->members[at]->node != around[i]->node) {
            at++;
        }
        if (at == swell->count) {
            swell->members[swell->count++] = around[i];
        } else if (fabs(around[i]->peak_value) > fabs(swell->members[at]->peak_value)) {
            swell->members[at] = around[i];
        }
    }
}

/* A weak swell passes the threshold again and again. */
static double span_s(const struct disturbance *const *around, size_t count, uint32_t node)
{
    int64_t first_ns = INT64_MAX;
    int64_t last_ns = INT64_MIN;
    for (size_t i = 0; i < count; i++) {
        if (around[i]->node == node) {
            int64_t end_ns = around[i]->end_ns ? around[i]->end_ns : around[i]->peak_ns;
            first_ns = around[i]->onset_ns < first_ns ? around[i]->onset_ns : first_ns;
            last_ns = around[i]->peak_ns > last_ns ? around[i]->peak_ns : last_ns;
            last_ns = end_ns > last_ns ? end_ns : last_ns;
        }
    }
    return (double)(last_ns - first_ns) * 1e-9;
}

static void measure(struct swell *swell)
{
    int64_t first_ns = INT64_MAX;
    int64_t last_ns = INT64_MIN;
    swell->low = INFINITY;
    swell->briefest_s = INFINITY;
    for (size_t i = 0; i < swell->count; i++) {
        const struct disturbance *member = swell->members[i];
        double peak = fabs(member->peak_value);
        size_t near = 0;
        for (size_t j = 0; j < swell->count; j++) {
            near +=
                fabs((double)(swell->members[j]->onset_ns - member->onset_ns)) <= AT_ONCE_S * 1e9;
        }
        swell->at_once = near > swell->at_once ? near : swell->at_once;
        swell->low = fmin(swell->low, peak);
        swell->high = fmax(swell->high, peak);
        swell->least = fmax(swell->least, peak - NOISE_SIGMAS * member->baseline_scale);
        double rises_s = (double)(member->peak_ns - member->onset_ns) * 1e-9;
        swell->longest_s = fmax(swell->longest_s, fmax(rises_s, cause_lasts_s(member, 0.0)));
        swell->briefest_s = fmin(swell->briefest_s, swell->spans_s[i]);
        swell->sudden += fabs(member->settle_peak_score) > SUDDEN * fabs(member->peak_score) &&
                         cause_over(member) > ALIKE;
        swell->fast += cause_over(member) >= CLEAR && peak > FASTEST_T_S * rises_s;
        /* Noise makes a step of what is no higher than itself. */
        swell->gentle += fabs(member->settle_step) <= GENTLE * peak || cause_over(member) < FAINT;
        first_ns = member->onset_ns < first_ns ? member->onset_ns : first_ns;
        last_ns = member->onset_ns > last_ns ? member->onset_ns : last_ns;
    }
    swell->apart_s = swell->count ? (double)(last_ns - first_ns) * 1e-9 : 0.0;
}

static bool is_there(const struct swell *swell, size_t node)
{
    for (size_t i = 0; i < swell->count; i++) {
        if (swell->members[i]->node == node) {
            return true;
        }
    }
    return false;
}

/* Whether what the node told within some hours shows that its threshold lies above `level`. Of whom
 * nothing is known it does not. */
static bool is_blind(const struct disturbance *const *around, size_t count, size_t node,
                     double level)
{
    double lowest = INFINITY;
    for (size_t i = 0; i < count; i++) {
        if (around[i]->node == node) {
            lowest = fmin(lowest, around[i]->threshold * around[i]->baseline_scale);
        }
    }
    return isfinite(lowest) && lowest > level;
}

static void count_blind(const struct cause_case *question, struct swell *swell)
{
    const struct disturbance *around[RECENT_MAX];
    size_t count = cause_around(question, QUANTITY_MAGNETIC, BAND_REST, KNOWN_S, KNOWN_S, around);
    for (size_t node = 0; node < question->site->node_count; node++) {
        swell->blind += !is_there(swell, node) && is_blind(around, count, node, swell->low);
    }
}

/* Two that swelled for long, alone among those that could see it. */
static bool are_enough(const struct swell *swell, size_t all)
{
    if (swell->count >= LEAST_NODES) {
        return (double)swell->count >= LEAST_PART * (double)(all - swell->blind);
    }
    return swell->count == FEWEST_NODES && swell->briefest_s >= LONG_S &&
           swell->count + swell->blind >= all;
}

static bool looks_so(const struct swell *swell, size_t all)
{
    bool alike = swell->high <= ALIKE * swell->low || swell->high <= swell->low + ALIKE_T ||
                 swell->least <= swell->low;
    bool slow = swell->longest_s >= SLOW_S || swell->apart_s >= SLOW_S;
    bool sharp = 2 * swell->at_once > swell->count && 2 * swell->sudden > swell->count;
    return are_enough(swell, all) && swell->gentle == swell->count && swell->fast == 0 && alike &&
           slow && !sharp && swell->high <= HIGHEST_T;
}

static void judge(const struct cause_case *question, struct cause_opinion *opinion)
{
    const struct disturbance *around[RECENT_MAX];
    const struct disturbance *own[COINCIDENCE_MEMBERS_MAX];
    struct swell swell = {.count = 0};
    size_t size = sizeof opinion->reason;
    size_t all = cause_nodes_having(question->site, QUANTITY_MAGNETIC);
    size_t own_count = cause_strongest(question->coincidence, QUANTITY_MAGNETIC, BAND_REST, own);
    size_t count = cause_around(question, QUANTITY_MAGNETIC, BAND_REST, AROUND_S, AROUND_S, around);
    keep_highest(around, count, &swell);
    for (size_t i = 0; i < swell.count; i++) {
        swell.spans_s[i] = span_s(around, count, swell.members[i]->node);
    }
    if (own_count < 2 || swell.count < 2) {
        say_add(opinion->reason, size, "the static field moved at %zu of %zu nodes", own_count,
                all);
        return;
    }
    measure(&swell);
    count_blind(question, &swell);
    char from[SAY_SIZE];
    char to[SAY_SIZE];
    say_value(swell.low, own[0]->unit, from);
    say_value(swell.high, own[0]->unit, to);
    say_add(
        opinion->reason, size,
        "field moved by %s to %s at %zu of %zu nodes within %.0f s, slowly at %zu, %zu of them"
        " at once, too fast for the earth at %zu, for %.0f to %.0f s; %zu could not have seen it",
        from, to, swell.count, all, swell.apart_s, swell.gentle, swell.at_once, swell.fast,
        swell.briefest_s, swell.longest_s, swell.blind);
    opinion->fits = looks_so(&swell, all);
    opinion->likelihood =
        swell.count < LEAST_NODES ? FEW_LIKELIHOOD : 0.4 + 0.5 * (double)swell.count / (double)all;
}

const struct cause_test cause_geomagnetic = {CAUSE_GEOMAGNETIC, judge};
