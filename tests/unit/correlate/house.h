/* A row of rooms for the tests of correlate: one node in the middle of each, 5 m apart, doors
 * between neighbours on the straight line. Must never be included by product code. */
#ifndef ROOMWAKE_TESTS_UNIT_CORRELATE_HOUSE_H
#define ROOMWAKE_TESTS_UNIT_CORRELATE_HOUSE_H

#include "tests/unit/test.h"

#include "collector/correlate/away.h"
#include "collector/correlate/correlator.h"
#include "collector/model/coincidence.h"

#define HOUSE_MAX 12
#define HOUSE_T0 INT64_C(1709330400000000000)

struct house {
    struct site site;
    struct site_room rooms[HOUSE_MAX];
    struct site_door doors[HOUSE_MAX];
    struct site_node nodes[HOUSE_MAX];
};

static inline int64_t at_s(double seconds)
{
    return HOUSE_T0 + (int64_t)llround(seconds * 1e9);
}

/* Nobody is about. */
static inline const struct away *house_away(const struct site *site)
{
    static struct away *away;
    struct error error;
    away_free(away);
    assert_int_equal(away_new(site, &away, &error), 0);
    return away;
}

static inline void house_build(struct house *house, size_t count)
{
    static const char *const names[HOUSE_MAX] = {"hall",    "passage", "kitchen", "pantry",
                                                 "parlour", "study",   "stairs",  "attic",
                                                 "cellar",  "porch",   "larder",  "loft"};
    memset(house, 0, sizeof *house);
    house->site = (struct site){.mains_hz = 50.0,
                                .baseline_s = 600.0,
                                .false_onsets_per_hour = 0.5,
                                .alert_limit_per_night = 0.1,
                                .order_confidence = 0.95,
                                .room_count = count,
                                .rooms = house->rooms,
                                .door_count = count - 1,
                                .doors = house->doors,
                                .node_count = count,
                                .nodes = house->nodes};
    for (size_t i = 0; i < count; i++) {
        struct site_room *room = &house->rooms[i];
        double x = 5.0 * (double)i;
        snprintf(room->id, sizeof room->id, "%s", names[i]);
        room->corner_count = 4;
        const double corners[4][2] = {{x, 0.0}, {x + 5.0, 0.0}, {x + 5.0, 4.0}, {x, 4.0}};
        memcpy(room->outline_m, corners, sizeof corners);
        if (i + 1 < count) {
            house->doors[i] = (struct site_door){{i, i + 1}, {x + 5.0, 2.0}};
        }
        struct site_node *node = &house->nodes[i];
        snprintf(node->id, sizeof node->id, "n%u", (unsigned)(i + 1) % 100u);
        node->room = i;
        node->position_m[0] = x + 2.5;
        node->position_m[1] = 2.0;
        node->position_m[2] = 1.0;
    }
}

/* A disturbance of a node, with onset in seconds after HOUSE_T0 and uncertainties as a detector
 * gives them: 1 ms of pick and clock, 0.3 s of pick for motion. */
static inline struct disturbance house_see(uint32_t node, enum quantity quantity, double seconds)
{
    struct disturbance seen = {.node = node, .quantity = quantity};
    bool slow = quantity == QUANTITY_TEMPERATURE;
    snprintf(seen.quantity_text, sizeof seen.quantity_text, "%s", quantity_name(quantity));
    snprintf(seen.unit, sizeof seen.unit, "%s", quantity_unit_default(quantity));
    seen.onset_ns = at_s(seconds);
    seen.pick_sd_ns = quantity == QUANTITY_MOTION ? 300000000 : (slow ? 500000000 : 1000000);
    seen.sampling_sd_ns = quantity == QUANTITY_MOTION ? 0 : 2886751;
    seen.clock_sd_ns = 1000000;
    seen.peak_ns = seen.onset_ns + 50000000;
    seen.peak_score = 20.0;
    seen.settle_peak_score = 20.0;
    seen.baseline_scale = 1e-8;
    seen.threshold = 6.0;
    seen.mains_before = NAN;
    seen.mains_after = NAN;
    return seen;
}

static inline struct disturbance house_ended(struct disturbance seen, double after_s)
{
    seen.end_ns = seen.onset_ns + (int64_t)llround(after_s * 1e9);
    seen.closed_ns = seen.end_ns + 100000000;
    seen.returned = true;
    return seen;
}

/* What came out. */
struct heard {
    size_t told_count; /* all tellings */
    size_t count;      /* final ones, kept below */
    struct coincidence finals[64];
    size_t early_count;
    struct coincidence earlies[64];
    size_t disturbances;
    size_t ended;
    size_t chances; /* that came after the end */
    int64_t last_onset_ns;
    bool out_of_order;
};

static inline void heard_disturbance(void *context, const struct disturbance *disturbance)
{
    struct heard *heard = context;
    heard->out_of_order |= disturbance->onset_ns < heard->last_onset_ns ||
                           disturbance->id != (int64_t)heard->disturbances + 1;
    heard->last_onset_ns = disturbance->onset_ns;
    heard->disturbances++;
}

static inline void heard_ended(void *context, const struct disturbance *disturbance)
{
    (void)disturbance;
    ((struct heard *)context)->ended++;
}

static inline void heard_coincidence(void *context, const struct coincidence *coincidence)
{
    struct heard *heard = context;
    heard->told_count++;
    if (coincidence->final && heard->count < 64) {
        heard->finals[heard->count++] = *coincidence;
    } else if (!coincidence->final && heard->early_count < 64) {
        heard->earlies[heard->early_count++] = *coincidence;
    }
}

static inline void heard_chance(void *context, int64_t id, const struct chance *chance)
{
    struct heard *heard = context;
    for (size_t i = 0; i < heard->count; i++) {
        if (heard->finals[i].id == id) {
            heard->finals[i].chance = *chance;
            heard->chances++;
        }
    }
}

static inline struct correlator *house_correlator(const struct house *house, struct heard *heard)
{
    struct correlator_sink sink = {
        heard, heard_disturbance, heard_ended, heard_coincidence, heard_chance, NULL};
    struct correlator *correlator = NULL;
    struct error error;
    assert_int_equal(correlator_new(&house->site, &sink, &correlator, &error), 0);
    for (uint32_t node = 0; node < house->site.node_count; node++) {
        assert_int_equal(correlator_watch(correlator, node, "magnetic", HOUSE_T0, &error), 0);
        assert_int_equal(correlator_watch(correlator, node, "electric", HOUSE_T0, &error), 0);
        assert_int_equal(correlator_watch(correlator, node, "motion", HOUSE_T0, &error), 0);
    }
    return correlator;
}

/* Opens and, as the detector would, closes after `lasts_s`. */
static inline void house_tell(struct correlator *correlator, struct disturbance seen,
                              double lasts_s)
{
    struct error error;
    assert_int_equal(correlator_open(correlator, &seen, &error), 0);
    struct disturbance ended = house_ended(seen, lasts_s);
    correlator_close(correlator, &ended);
}

static inline void house_finish(struct correlator *correlator)
{
    struct error error;
    assert_int_equal(correlator_finish(correlator, &error), 0);
    correlator_free(correlator);
}

#endif
