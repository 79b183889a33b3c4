/* Classes, their rates by chance.h, and the order among them.
 * Must never count a class's rate as an answer: it only orders. Used by slides.c. */
#include "collector/correlate/slides_rank.h"

#include <math.h>
#include <stdlib.h>

#include "collector/correlate/chance.h"
#include "collector/correlate/gate.h"

#define PROMPT_ROW (1u << HOP_KINDS)

/* Each node's onsets over its live time. */
static void fill_rates(struct slides_ranks *ranks, const struct slides_night *night)
{
    for (size_t i = 0; i < night->count; i++) {
        ranks->node_rates_hz[night->onsets[i].node] += 1.0;
    }
    for (size_t node = 0; node < ranks->node_count; node++) {
        if (ranks->node_rates_hz[node] > 0.0) {
            int64_t from_ns = night->live_from_ns[node];
            int64_t live_ns = night->end_ns - from_ns;
            if (night->away) {
                live_ns =
                    away_to_live(away_of(night->away, (uint32_t)node), from_ns, night->end_ns);
            }
            double live_s = (double)live_ns * 1e-9;
            ranks->node_rates_hz[node] /= fmax(live_s, 1.0);
        }
    }
}

static double mean_sd_s(const struct slides_place *places, size_t count, unsigned trait)
{
    double sum = 0.0;
    size_t of = 0;
    for (size_t i = 0; i < count; i++) {
        unsigned own = places[i].traits & (SLIDES_MOTION | SLIDES_SLOW);
        sum += own == trait ? (double)places[i].sd_ns * 1e-9 : 0.0;
        of += own == trait;
    }
    return of ? sum / (double)of : 0.0;
}

int slides_ranks_init(struct slides_ranks *ranks, const struct slides_night *night,
                      const struct slides_place *places, struct error *error)
{
    ranks->layout = night->layout;
    ranks->node_count = layout_site(night->layout)->node_count;
    ranks->node_rates_hz = calloc(ranks->node_count + 1, sizeof *ranks->node_rates_hz);
    if (!ranks->node_rates_hz) {
        return error_set(error, ERROR_MEMORY, "slides: out of memory");
    }
    fill_rates(ranks, night);
    double clock_ns = 0.0;
    for (size_t i = 0; i < night->count; i++) {
        clock_ns += (double)places[i].clock_sd_ns / (double)night->count;
    }
    ranks->gate_s = (double)gate_prompt_ns(llround(clock_ns), llround(clock_ns)) * 1e-9;
    double quick_s = mean_sd_s(places, night->count, 0);
    double slow_s = mean_sd_s(places, night->count, SLIDES_SLOW);
    double motion_s = mean_sd_s(places, night->count, SLIDES_MOTION);
    for (int kind = 0; kind < HOP_KINDS; kind++) {
        bool air = kind == HOP_AIR || kind == HOP_AIR_DOORS;
        bool motion = kind == HOP_MOTION || kind == HOP_WALK;
        ranks->sd_s[kind] = motion ? motion_s : (air ? slow_s : quick_s);
    }
    for (size_t i = 0; i < RANK_CLASSES; i++) {
        ranks->rates_hz[i] = NAN;
    }
    return 0;
}

void slides_ranks_free(struct slides_ranks *ranks)
{
    free(ranks->node_rates_hz);
    ranks->node_rates_hz = NULL;
}

/* The widest gates of the hops in it, as the judge takes them. */
static struct chance_hops hops_of(const struct slides_ranks *ranks, unsigned kinds)
{
    struct chance_hops hops = {0.0, 0.0, INFINITY, 0.0};
    for (unsigned kind = 0; kind < HOP_KINDS; kind++) {
        if (kinds >> kind & 1u) {
            const struct slides_limits *limits = &slides_limits[kind];
            hops.slack_m = fmax(hops.slack_m, limits->slack_m);
            hops.slowest_m_s = fmin(hops.slowest_m_s, limits->slowest_m_s);
            hops.fastest_m_s = fmax(hops.fastest_m_s, limits->fastest_m_s);
            hops.extra_s = fmax(hops.extra_s, 4.0 * sqrt(2.0) * ranks->sd_s[kind]);
        }
    }
    return hops;
}

static int work_out(struct slides_ranks *ranks, const struct slides_found *found, size_t nodes,
                    double *rate_hz, struct error *error)
{
    if (found->kind == COINCIDENCE_PROMPT) {
        *rate_hz = chance_prompt_hz(ranks->node_rates_hz, ranks->node_count, nodes, ranks->gate_s);
        return 0;
    }
    struct chance_hops hops = hops_of(ranks, found->hops);
    return chance_travelling_hz(ranks->layout, ranks->node_rates_hz, nodes, &hops, rate_hz, error);
}

int slides_rank_of(struct slides_ranks *ranks, const struct slides_found *found,
                   struct slides_rank *rank, struct error *error)
{
    size_t nodes = found->nodes < RANK_NODES_MAX ? found->nodes : RANK_NODES_MAX;
    unsigned row = found->kind == COINCIDENCE_PROMPT ? PROMPT_ROW : found->hops;
    rank->class = row * (RANK_NODES_MAX + 1u) + (unsigned)nodes;
    rank->step = (unsigned)(found->looseness * RANK_STEPS);
    rank->step = rank->step < RANK_STEPS ? rank->step : RANK_STEPS - 1u;
    double *rate_hz = &ranks->rates_hz[rank->class];
    return isnan(*rate_hz) ? work_out(ranks, found, nodes, rate_hz, error) : 0;
}

bool slides_rank_above(const struct slides_ranks *ranks, const struct slides_rank *a,
                       const struct slides_rank *b)
{
    double left = ranks->rates_hz[a->class];
    double right = ranks->rates_hz[b->class];
    if (left < right || left > right) {
        return left < right;
    }
    return a->class != b->class ? a->class > b->class : a->step < b->step;
}
