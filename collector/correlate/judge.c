/* The steps of judging, in order: members, witnesses, order, path, chance, cause.
 * Must never keep state. Called by correlator. */
#include "collector/correlate/judge.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "collector/correlate/cause.h"
#include "collector/correlate/chance.h"
#include "collector/correlate/accidental.h"
#include "collector/correlate/hop.h"
#include "collector/correlate/order.h"
#include "collector/correlate/path.h"
#include "collector/correlate/place.h"
#include "collector/correlate/witness.h"

/* Two onsets closer than this are as close as any. Our choice. */
#define SPREAD_LEAST_S 0.001

static int by_onset(const void *a, const void *b)
{
    return witness_compare(*(const struct disturbance *const *)a,
                           *(const struct disturbance *const *)b);
}

static void gather(const struct group *group, const struct disturbance **members)
{
    size_t count = 0;
    for (size_t i = 0; i < group->count; i++) {
        for (size_t j = 0; j < group->elements[i]->count; j++) {
            members[count++] = entry_now(group->elements[i]->members[j]);
        }
    }
    qsort(members, count, sizeof(const struct disturbance *), by_onset);
}

static void fill_members(const struct disturbance *const *members, size_t count,
                         struct coincidence *coincidence)
{
    coincidence->start_ns = members[0]->onset_ns;
    coincidence->end_ns = 0;
    for (size_t i = 0; i < count; i++) {
        if (i < COINCIDENCE_MEMBERS_MAX) {
            coincidence->members[coincidence->member_count++] = *members[i];
        } else {
            coincidence->dropped_members++;
        }
        if (members[i]->end_ns > coincidence->end_ns) {
            coincidence->end_ns = members[i]->end_ns;
        }
    }
    if (coincidence->end_ns == 0) {
        coincidence->end_ns = members[count - 1]->onset_ns;
    }
}

static void fill_order(const struct site *site, const struct disturbance *const *members,
                       size_t count, struct coincidence *coincidence)
{
    coincidence->order_count =
        order_gather(members, count, coincidence->order, COINCIDENCE_MEMBERS_MAX);
    order_first(coincidence->order, coincidence->order_count);
    coincidence->together =
        order_together(coincidence->order, coincidence->order_count, site->order_confidence);
    coincidence->first_known = !coincidence->together && coincidence->order_count > 0 &&
                               coincidence->order[0].first_probability >= site->order_confidence;
}

static int point_by_time(const void *a, const void *b)
{
    const struct path_point *left = a;
    const struct path_point *right = b;
    if (left->time_ns != right->time_ns) {
        return left->time_ns < right->time_ns ? -1 : 1;
    }
    return (left->node > right->node) - (left->node < right->node);
}

static void fill_path(const struct judge *judge, const struct group *group,
                      struct coincidence *coincidence)
{
    struct path_point points[COINCIDENCE_MEMBERS_MAX];
    size_t count = 0;
    for (size_t i = 0; i < group->count && count < COINCIDENCE_MEMBERS_MAX; i++) {
        const struct disturbance *anchor = cluster_anchor(group->elements[i]);
        points[count].node = anchor->node;
        points[count].time_ns = anchor->onset_ns;
        points[count++].time_sd_ns = disturbance_onset_sd_ns(anchor);
    }
    qsort(points, count, sizeof points[0], point_by_time);
    coincidence->path_count =
        path_trace(judge->site, points, count, coincidence->path, COINCIDENCE_MEMBERS_MAX);
    path_fit_speed(judge->site, points, count, &coincidence->speed);
}

/* From the first node's onset to the last's, and what sampling can't tell apart. */
static double spread_s(const struct coincidence *coincidence)
{
    int64_t first_ns = INT64_MAX;
    int64_t last_ns = INT64_MIN;
    int64_t sampling_ns = 0;
    for (size_t i = 0; i < coincidence->order_count; i++) {
        int64_t onset_ns = coincidence->order[i].onset_ns;
        first_ns = onset_ns < first_ns ? onset_ns : first_ns;
        last_ns = onset_ns > last_ns ? onset_ns : last_ns;
    }
    for (size_t i = 0; i < coincidence->member_count; i++) {
        int64_t sd_ns = coincidence->members[i].sampling_sd_ns;
        sampling_ns = sd_ns > sampling_ns ? sd_ns : sampling_ns;
    }
    return (double)(last_ns - first_ns) * 1e-9 +
           fmax(SPREAD_LEAST_S, sqrt(12.0) * (double)sampling_ns * 1e-9);
}

static struct accidental_seen seen_of(const struct judge *judge, const struct group *group,
                                      const struct coincidence *coincidence)
{
    struct accidental_seen seen = {.kind = coincidence->kind, .nodes = coincidence->node_count};
    int64_t gate_ns = 0;
    for (size_t i = 0; i < group->count; i++) {
        gate_ns = group->elements[i]->gate_ns > gate_ns ? group->elements[i]->gate_ns : gate_ns;
    }
    seen.gate_s = (double)gate_ns * 1e-9;
    seen.spread_s = spread_s(coincidence);
    if (group->count > 1) {
        seen.disagreement = hop_disagreement(judge->layout, group->elements[0], group->elements[1]);
    }
    return seen;
}

static int fill_chance(const struct judge *judge, const struct group *group, int64_t now_ns,
                       const struct disturbance *const *members, size_t member_count,
                       struct coincidence *coincidence, struct error *error)
{
    size_t nodes = judge->site->node_count;
    struct accidental_stream *streams = malloc((nodes + 1) * RATES_TRAITS * sizeof *streams);
    if (!streams) {
        return error_set(error, ERROR_MEMORY, "chance: out of memory");
    }
    size_t count = rates_streams(judge->rates, now_ns, members, member_count, streams);
    struct accidental_seen seen = seen_of(judge, group, coincidence);
    double rate_hz = 0.0;
    int status = accidental_hz(judge->layout, streams, count, &seen, &rate_hz, error);
    free(streams);
    coincidence->chance = chance_of_night(rate_hz);
    return status;
}

int judge_group(const struct judge *judge, const struct group *group, int64_t now_ns,
                struct coincidence *coincidence, struct error *error)
{
    size_t count = group_member_count(group);
    const struct disturbance **members = malloc(count * sizeof(const struct disturbance *));
    if (!members) {
        return error_set(error, ERROR_MEMORY, "correlator: out of memory for a coincidence");
    }
    memset(coincidence, 0, sizeof *coincidence);
    gather(group, members);
    coincidence->id = group->id;
    coincidence->kind = group->count > 1 ? COINCIDENCE_TRAVELLING : COINCIDENCE_PROMPT;
    fill_members(members, count, coincidence);
    witness_count(judge->site, members, count, coincidence);
    fill_order(judge->site, members, count, coincidence);
    if (coincidence->kind == COINCIDENCE_TRAVELLING) {
        fill_path(judge, group, coincidence);
    }
    place_coincidence(judge->site, coincidence, &coincidence->source);
    int status = fill_chance(judge, group, now_ns, members, count, coincidence, error);
    if (status == 0) {
        causes_judge(judge->site, judge->marks, judge->mark_count, judge->rates, coincidence);
    }
    free(members);
    return status;
}
