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
#define STRONG 1.3 /* peak over threshold from which a shape can be told */
#define SHARE_LEAST 0.01
#define SHARE_MOST 0.5 /* of the peak on average: bursts are shorter than their pauses */
#define SHORTEST_S 0.2
#define LONGEST_S 600.0
#define AGAIN_S 20.0
#define AGAIN 2 /* onsets of one antenna and more: what comes back and back again */
/* Neighbouring samples of what jumps to a peak and back are no more alike than this, and of mains
 * that alternates as little as this. */
#define JUMPS 0.7
#define ALTERNATES (-0.4)
#define SHAPE_LIKELIHOOD 0.7
#define AGAIN_LIKELIHOOD 0.55
#define RATE_WITHIN_HZ 1.0

#define GSM 0 /* in frame_hz */
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

/* The frame rate itself, or twice that of bursts so short that the second is as strong. */
static bool repeats_as_frames(const struct disturbance *member)
{
    for (size_t i = 0; i < sizeof frame_hz / sizeof frame_hz[0]; i++) {
        for (int times = 1; times <= (i == GSM ? 2 : 1); times++) {
            if (fabs(member->repeat_hz - alias_hz(times * frame_hz[i], member)) <= RATE_WITHIN_HZ) {
                return true;
            }
        }
    }
    return false;
}

struct bursts {
    size_t nodes;  /* whose antenna took part beside the mains */
    size_t others; /* nodes whose antenna took no part at all */
    size_t fields; /* nodes whose static field was disturbed */
    size_t frames; /* antennas that repeat as a radio's frames do */
    size_t clear;  /* of them, strong ones */
    size_t rates;  /* that repeat at all */
    double repeat_hz;
    size_t again;   /* onsets on antennas about then */
    size_t lasting; /* antennas that were disturbed for long, or again and again */
    size_t coming;  /* nodes at whose antennas it came again and again about then */
};

/* A strong burst reaches the mains' window too, and at a far antenna that alone may show. */
static size_t nodes_without_antenna(const struct coincidence *coincidence)
{
    size_t without = 0;
    for (size_t i = 0; i < coincidence->order_count; i++) {
        bool antenna = false;
        for (size_t j = 0; j < coincidence->member_count && !antenna; j++) {
            antenna = coincidence->members[j].node == coincidence->order[i].node &&
                      coincidence->members[j].quantity == QUANTITY_ELECTRIC;
        }
        without += !antenna;
    }
    return without;
}

/* Counts in `around`, which holds only one quantity's. */
static size_t onsets_at(const struct disturbance *const *around, size_t count, uint32_t node)
{
    size_t own = 0;
    for (size_t i = 0; i < count; i++) {
        own += around[i]->node == node;
    }
    return own;
}

static size_t nodes_again(const struct disturbance *const *around, size_t count)
{
    size_t nodes = 0;
    for (size_t i = 0; i < count; i++) {
        bool first = onsets_at(around, i, around[i]->node) == 0;
        nodes += first && onsets_at(around, count, around[i]->node) >= AGAIN;
    }
    return nodes;
}

static void count_bursts(const struct cause_case *question,
                         const struct disturbance *const *members, size_t count,
                         struct bursts *bursts)
{
    const struct disturbance *fields[COINCIDENCE_MEMBERS_MAX];
    const struct disturbance *around[RECENT_MAX];
    bursts->nodes = count;
    bursts->others = nodes_without_antenna(question->coincidence);
    bursts->fields = cause_strongest(question->coincidence, QUANTITY_MAGNETIC, BAND_REST, fields);
    for (size_t i = 0; i < count; i++) {
        bool frames = members[i]->repeat_hz > 0.0 && repeats_as_frames(members[i]);
        bursts->clear += frames && cause_over(members[i]) >= STRONG;
        bursts->frames += frames;
        bursts->rates += members[i]->repeat_hz > 0.0;
        bursts->repeat_hz =
            frames || bursts->repeat_hz <= 0.0 ? members[i]->repeat_hz : bursts->repeat_hz;
    }
    bursts->again = cause_around(question, QUANTITY_ELECTRIC, BAND_REST, AGAIN_S, AGAIN_S, around);
    bursts->coming = nodes_again(around, bursts->again);
    for (size_t i = 0; i < count; i++) {
        size_t own = onsets_at(around, bursts->again, members[i]->node);
        bursts->lasting += cause_lasts_s(members[i], SHORTEST_S) >= SHORTEST_S || own > AGAIN;
    }
}

/* It jumps up and falls back, whether or not it is up for most of the time. */
static bool jumps(const struct disturbance *top)
{
    double share = cause_level_share(top);
    return share >= SHARE_LEAST &&
           (share <= SHARE_MOST || (top->alike <= JUMPS && top->alike >= ALTERNATES));
}

static void judge(const struct cause_case *question, struct cause_opinion *opinion)
{
    const struct coincidence *coincidence = question->coincidence;
    const struct disturbance *members[COINCIDENCE_MEMBERS_MAX];
    size_t count = cause_strongest(coincidence, QUANTITY_ELECTRIC, BAND_REST, members);
    const struct disturbance *top = cause_top(members, count);
    size_t size = sizeof opinion->reason;
    struct bursts bursts = {0};
    if (!top) {
        say_add(opinion->reason, size, "no antenna beside the mains");
        return;
    }
    count_bursts(question, members, count, &bursts);
    double share = cause_level_share(top);
    double lasts_s = cause_lasts_s(top, SHORTEST_S);
    char peak[SAY_SIZE];
    say_value(fabs(top->peak_value), top->unit, peak);
    say_add(opinion->reason, size,
            "%s at %.12s, on average %.0f %% of it, %.1f s; %zu antennas, %zu onsets about then,"
            " again and again at %zu; field at %zu",
            peak, question->site->nodes[top->node].id, 100.0 * share, lasts_s, bursts.nodes,
            bursts.again, bursts.coming, bursts.fields);
    if (bursts.repeat_hz > 0.0) {
        say_add(opinion->reason, size, "; repeats at %.1f Hz%s", bursts.repeat_hz,
                bursts.frames ? ", as a radio's frames do" : "");
    }
    bool strong = cause_over(top) >= STRONG;
    bool bursty = jumps(top) && bursts.lasting > 1 && lasts_s <= LONGEST_S && strong;
    bool alone = bursts.fields == 0 && bursts.others == 0 && bursts.rates == 0 &&
                 coincidence->order_count > 1;
    bool again = bursts.coming > 1 && lasts_s <= LONGEST_S;
    opinion->fits = bursts.fields == 0 && (bursts.frames > 0 || (alone && (bursty || again)));
    /* What is weak repeats at any rate, now and then: two alike don't. */
    bool sure = bursts.clear > 0 || bursts.frames > 1;
    opinion->likelihood = sure ? 0.95 : bursty ? SHAPE_LIKELIHOOD : AGAIN_LIKELIHOOD;
}

const struct cause_test cause_radio = {CAUSE_RADIO_BURST, judge};
