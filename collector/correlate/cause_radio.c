/* A radio's bursts: the antenna jumps again and again between its own level and a peak, the field
 * stays, and the nearest node sees it most.
 * Must never take a level that stays for bursts. Called through causes.c.
 * Frame rates: GSM 26 frames in 120 ms, 216.667 Hz (3GPP TS 45.002); LTE 10 ms, Wi-Fi beacons
 * 102.4 ms (both from memory). */
#include "collector/correlate/cause.h"
#include "collector/correlate/cause_parts.h"
#include "collector/correlate/say.h"

#include <math.h>

/* Our choices. */
#define STRONG 1.5       /* peak over threshold from which a shape can be told */
#define SHARE_LEAST 0.05 /* of the peak on average: bursts are shorter than their pauses */
#define SHARE_MOST 0.5
#define SHORTEST_S 0.2
#define LONGEST_S 600.0
#define EARLIER_NS                                                                                 \
    INT64_C(50000000) /* a weaker node may be picked this much before the strongest */
#define RATE_WITHIN_HZ 1.0

static const double frame_hz[] = {26.0 / 0.120, 100.0, 1.0 / 0.1024};

/* Where a line of this rate appears at the member's own sampling rate. */
static double alias_hz(double line_hz, const struct disturbance *member)
{
    double interval_s = (double)member->sampling_sd_ns * 1e-9 * sqrt(12.0);
    if (!(interval_s > 0.0)) {
        return line_hz;
    }
    double turns = line_hz * interval_s;
    return fabs(turns - round(turns)) / interval_s;
}

static bool repeats_as_frames(const struct disturbance *member)
{
    for (size_t i = 0; i < sizeof frame_hz / sizeof frame_hz[0]; i++) {
        if (fabs(member->repeat_hz - alias_hz(frame_hz[i], member)) <= RATE_WITHIN_HZ) {
            return true;
        }
    }
    return false;
}

/* How many of the other nodes answered while the strongest was at it; *fields counts the nodes
 * whose static field was disturbed. */
static size_t count_within(const struct coincidence *coincidence, const struct disturbance *top,
                           size_t *fields)
{
    size_t within = 0;
    for (size_t i = 0; i < coincidence->order_count; i++) {
        const struct order_entry *entry = &coincidence->order[i];
        within += entry->node != top->node &&
                  entry->onset_ns >= top->onset_ns - EARLIER_NS - 2 * entry->onset_sd_ns &&
                  (top->end_ns == 0 || entry->onset_ns <= top->end_ns);
    }
    const struct disturbance *members[COINCIDENCE_MEMBERS_MAX];
    *fields = cause_strongest(coincidence, QUANTITY_MAGNETIC, BAND_REST, members);
    return within;
}

static void judge(const struct cause_case *question, struct cause_opinion *opinion)
{
    const struct coincidence *coincidence = question->coincidence;
    const struct disturbance *members[COINCIDENCE_MEMBERS_MAX];
    size_t count = cause_strongest(coincidence, QUANTITY_ELECTRIC, BAND_REST, members);
    const struct disturbance *top = cause_top(members, count);
    size_t size = sizeof opinion->reason;
    if (!top) {
        say_add(opinion->reason, size, "no antenna beside the mains");
        return;
    }
    size_t fields;
    size_t within = count_within(coincidence, top, &fields);
    double share = cause_level_share(top);
    double lasts_s = cause_lasts_s(top, SHORTEST_S);
    bool strong = fabs(top->peak_score) >= STRONG * top->threshold;
    char peak[SAY_SIZE];
    say_value(fabs(top->peak_value), top->unit, peak);
    say_add(opinion->reason, size,
            "%s at %.12s, on average %.0f %% of it, %.1f s; %zu of %zu others within; field at %zu",
            peak, question->site->nodes[top->node].id, 100.0 * share, lasts_s, within,
            coincidence->order_count - 1, fields);
    bool bursts = share >= SHARE_LEAST && share <= SHARE_MOST;
    opinion->likelihood = 0.7;
    if (top->repeat_hz > 0.0) {
        bursts = repeats_as_frames(top);
        opinion->likelihood = 0.95;
        say_add(opinion->reason, size, "; repeats at %.1f Hz", top->repeat_hz);
    }
    opinion->fits = strong && bursts && fields == 0 && lasts_s >= SHORTEST_S &&
                    lasts_s <= LONGEST_S && within + 1 == coincidence->order_count;
}

const struct cause_test cause_radio = {CAUSE_RADIO_BURST, false, judge};
