/* The slides themselves, their counts, and what they say of the night's own coincidences.
 * Must never let a slide without shifts count. Called by slides_book. */
#include "collector/correlate/slides.h"

#include <math.h>
#include <stdlib.h>

#include "collector/correlate/limits.h"
#include "collector/correlate/slides_shift.h"
#include "collector/correlate/slides_tally.h"
#include "collector/correlate/witness.h"

struct run_finding {
    uint32_t first;
    size_t nodes;
    enum coincidence_kind kind;
    struct slides_rank rank;
};

struct run {
    const struct slides_night *night;
    struct error *error;
    int status;
    size_t nodes;
    uint32_t nodes_of[SLIDES_NODES_MAX]; /* in the site */
    int64_t live_from_ns[SLIDES_NODES_MAX];
    const struct away_list *away[SLIDES_NODES_MAX];
    struct slides_place *places;
    struct slides_item *items;
    struct slides_hops hops;
    struct slides_ranks ranks;
    struct slides_shift shift;
    struct slides_grouping *grouping;
    struct run_finding *findings; /* of the night itself */
    size_t finding_count;
    struct slides_tally tally; /* of all slides */
    size_t slides;
};

unsigned slides_trait_of(enum quantity quantity)
{
    if (quantity == QUANTITY_MOTION) {
        return SLIDES_MOTION;
    }
    if (witness_is_slow(quantity)) {
        return SLIDES_SLOW;
    }
    return quantity == QUANTITY_MAGNETIC ? SLIDES_MAGNETIC : 0u;
}

struct slides_onset slides_onset_of(const struct disturbance *disturbance)
{
    return (struct slides_onset){.id = disturbance->id,
                                 .onset_ns = disturbance->onset_ns,
                                 .sd_ns = disturbance_onset_sd_ns(disturbance),
                                 .clock_sd_ns = disturbance->clock_sd_ns,
                                 .node = disturbance->node,
                                 .traits = (uint8_t)slides_trait_of(disturbance->quantity)};
}

static const struct away_list never_away = {0, 0, NULL};

static size_t place_of(struct run *run, uint32_t node)
{
    for (size_t i = 0; i < run->nodes; i++) {
        if (run->nodes_of[i] == node) {
            return i;
        }
    }
    if (run->nodes < SLIDES_NODES_MAX) {
        run->nodes_of[run->nodes] = node;
        run->live_from_ns[run->nodes] = run->night->live_from_ns[node];
        run->away[run->nodes] = run->night->away ? away_of(run->night->away, node) : &never_away;
    }
    return run->nodes++;
}

/* Whether the night can be slid at all; fills the places if so. */
static bool fill_places(struct run *run)
{
    const struct slides_night *night = run->night;
    for (size_t i = 0; i < night->count; i++) {
        const struct slides_onset *onset = &night->onsets[i];
        size_t node = place_of(run, onset->node);
        if (node >= SLIDES_NODES_MAX) {
            return false;
        }
        run->places[i] = (struct slides_place){onset->onset_ns, onset->sd_ns, onset->clock_sd_ns,
                                               (uint16_t)node, onset->traits};
        run->items[i] = (struct slides_item){onset->onset_ns, (uint32_t)i};
        if (onset->onset_ns < run->live_from_ns[node]) {
            run->live_from_ns[node] = onset->onset_ns;
        }
    }
    int64_t earliest_ns = night->end_ns;
    for (size_t i = 0; i < run->nodes; i++) {
        earliest_ns = run->live_from_ns[i] < earliest_ns ? run->live_from_ns[i] : earliest_ns;
    }
    return run->nodes > 1 && night->end_ns - earliest_ns >= SLIDES_SHORTEST_NS &&
           night->end_ns - earliest_ns <= SLIDES_LONGEST_NIGHT_NS &&
           night->end_ns > night->onsets[night->count - 1].onset_ns;
}

static size_t slides_of(const struct slides_night *night)
{
    size_t slides = SLIDES_ONSETS_IN_ALL / night->count;
    slides = slides < SLIDES_LEAST ? SLIDES_LEAST : slides;
    slides = slides > SLIDES_MOST ? SLIDES_MOST : slides;
    return night->slides ? night->slides : slides;
}

static int prepare(struct run *run)
{
    const struct slides_night *night = run->night;
    struct error *error = run->error;
    if (slides_ranks_init(&run->ranks, night, run->places, error) ||
        slides_hops_init(&run->hops, night->layout, run->nodes_of, run->nodes, error) ||
        slides_grouping_new(&run->hops, run->places, night->count, &run->grouping, error) ||
        slides_shift_init(&run->shift, run->places, night->count, run->nodes, run->live_from_ns,
                          run->away, night->end_ns, error)) {
        return -1;
    }
    run->slides = slides_of(night);
    run->findings = calloc(night->count + 1, sizeof *run->findings);
    return run->findings ? slides_tally_init(&run->tally, error)
                         : error_set(error, ERROR_MEMORY, "slides: out of memory");
}

static void keep_finding(void *context, const struct slides_found *found)
{
    struct run *run = context;
    struct run_finding *finding = &run->findings[run->finding_count++];
    finding->first = found->first;
    finding->nodes = found->nodes;
    finding->kind = found->kind;
    if (slides_rank_of(&run->ranks, found, &finding->rank, run->error)) {
        run->status = -1;
    }
}

static void count_found(void *context, const struct slides_found *found)
{
    struct run *run = context;
    struct slides_rank rank;
    if (slides_rank_of(&run->ranks, found, &rank, run->error)) {
        run->status = -1;
        return;
    }
    slides_tally_count(&run->tally, &run->ranks, &rank);
}

static int slide_all(struct run *run)
{
    size_t count = run->night->count;
    slides_grouping_run(run->grouping, run->items, count, keep_finding, run);
    for (size_t i = 0; i < run->slides && run->status == 0; i++) {
        slides_shift_next(&run->shift, run->places, run->items);
        slides_grouping_run(run->grouping, run->items, count, count_found, run);
        slides_tally_next(&run->tally);
    }
    return run->status ? -1 : slides_tally_close(&run->tally, &run->ranks, run->error);
}

/* The recording without what every node leaves out. */
static double live_s(const struct run *run)
{
    int64_t start_ns = run->shift.start_ns;
    int64_t most_ns = 0;
    for (size_t i = 0; i < run->nodes; i++) {
        int64_t live_ns = away_to_live(run->away[i], start_ns, run->shift.end_ns);
        most_ns = live_ns > most_ns ? live_ns : most_ns;
    }
    return fmax(1.0, (double)most_ns * 1e-9);
}

static struct chance chance_of(const struct run *run, const struct slides_rank *rank)
{
    const struct slides_rung *rung = slides_tally_find(&run->tally, &run->ranks, rank);
    double groups = rung ? (double)rung->groups : 0.0;
    double slides = rung ? (double)rung->slides : 0.0;
    double slid_s = (double)run->slides * live_s(run);
    return (struct chance){(1.0 + groups) / slid_s * CHANCE_NIGHT_S,
                           (1.0 + slides) / (1.0 + (double)run->slides), CHANCE_TIME_SLIDES};
}

static int by_first(const void *a, const void *b)
{
    const struct slides_finding *left = a;
    const struct slides_finding *right = b;
    return (left->first_id > right->first_id) - (left->first_id < right->first_id);
}

static int fill_result(const struct run *run, struct slides_result *result)
{
    result->findings = calloc(run->finding_count + 1, sizeof *result->findings);
    if (!result->findings) {
        return error_set(run->error, ERROR_MEMORY, "slides: out of memory");
    }
    result->slides = run->slides;
    result->live_s = live_s(run);
    for (size_t i = 0; i < run->finding_count; i++) {
        const struct run_finding *finding = &run->findings[i];
        result->findings[i] =
            (struct slides_finding){run->night->onsets[finding->first].id, finding->nodes,
                                    finding->kind, chance_of(run, &finding->rank)};
    }
    result->count = run->finding_count;
    qsort(result->findings, result->count, sizeof *result->findings, by_first);
    return 0;
}

static void run_free(struct run *run)
{
    slides_grouping_free(run->grouping);
    slides_shift_free(&run->shift);
    slides_ranks_free(&run->ranks);
    slides_hops_free(&run->hops);
    free(run->places);
    free(run->items);
    free(run->findings);
    slides_tally_free(&run->tally);
    free(run);
}

int slides_run(const struct slides_night *night, struct slides_result *result, struct error *error)
{
    *result = (struct slides_result){0};
    if (night->count < 2 || night->count > SLIDES_ONSETS_MAX) {
        return 0;
    }
    struct run *run = calloc(1, sizeof *run);
    int status = -1;
    if (run) {
        run->night = night;
        run->error = error;
        run->places = calloc(night->count, sizeof *run->places);
        run->items = calloc(night->count, sizeof *run->items);
    }
    if (!run || !run->places || !run->items) {
        (void)error_set(error, ERROR_MEMORY, "slides: out of memory");
    } else if (!fill_places(run)) {
        status = 0;
    } else if (prepare(run) == 0 && slide_all(run) == 0) {
        status = fill_result(run, result);
    }
    if (run) {
        run_free(run);
    }
    return status;
}

void slides_result_free(struct slides_result *result)
{
    free(result->findings);
    *result = (struct slides_result){0};
}
