/* Rates of all classes, and the sum over them.
 * Must never keep state. Called by judge. */
#include "collector/correlate/accidental.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include "collector/correlate/chance.h"
#include "collector/correlate/gate.h"
#include "collector/correlate/hop.h"
#include "collector/correlate/slides_hop.h"

/* Slices of the first hop's speed, even in its logarithm; the outermost are open. */
#define SLICES 16
#define SLICES_SLOWEST_M_S 0.05
#define SLICES_FASTEST_M_S 12.0
/* Chains of more nodes than this are counted with those of so many. */
#define CHAIN_LONGEST 8
/* Further apart than any two speeds are; finite, so that 0 times it is 0. */
#define ANY_FACTOR 1e12

/* The delays at which one stream's onset may follow on another's as a hop. */
struct window {
    double least_s;
    double most_s;
    double two_sd_s;
    double route_m;
    double near_m;
    double far_m;
    double usual_s; /* at a usual pace; 0 where none is usual */
};

struct live {
    struct layout *layout;
    const struct accidental_stream *streams;
    size_t count;
    double gate_s;
    bool prompt;            /* no chain is tighter or looser than it */
    struct window *windows; /* owned; by from and to */
    double *first;          /* owned; rate of hops from one to another in one slice */
    double *tight;          /* these lie behind it: the same, no looser than the coincidence */
    double *later;
    double *ahead;
    double *next;
};

/* fmin and fmax are calls that take half the time here; none of these is not a number. */
static double lesser(double a, double b)
{
    return a < b ? a : b;
}

static double greater(double a, double b)
{
    return a > b ? a : b;
}

static struct window window_of(const struct live *live, size_t from, size_t to)
{
    const struct accidental_stream *a = &live->streams[from];
    const struct accidental_stream *b = &live->streams[to];
    enum slides_hop_kind kind = slides_hop_kind_of(a->trait, b->trait);
    struct window window = {.least_s = 1.0, .most_s = 0.0};
    if (kind == HOP_NEVER || a->node == b->node) {
        return window;
    }
    const struct slides_limits *limits = &slides_limits[kind];
    struct slides_reach reach = slides_hop_reach(live->layout, kind, a->node, b->node);
    window.two_sd_s = 2.0 * hypot(a->sd_s, b->sd_s);
    window.route_m = reach.route_m;
    window.near_m = reach.near_m;
    window.far_m = reach.far_m;
    double pace_m_s = (a->trait | b->trait) & SLIDES_SLOW ? HOP_PACE_AIR_M_S : HOP_PACE_BODY_M_S;
    window.usual_s = reach.route_m / pace_m_s;
    window.least_s = fmax(live->gate_s, reach.near_m / limits->fastest_m_s - window.two_sd_s);
    window.most_s =
        fmin((double)GROUP_LONGEST_NS * 1e-9, reach.far_m / limits->slowest_m_s + window.two_sd_s);
    return window;
}

static double overlap(double a_low, double a_high, double b_low, double b_high)
{
    return greater(0.0, lesser(a_high, b_high) - greater(a_low, b_low));
}

/* A slice of first hops' speeds, as times a metre takes: multiplied by, not divided. */
struct slice {
    double soonest_s_m;
    double latest_s_m;
    double later_soonest_s_m; /* a later hop's speed need only agree with the first's */
    double later_latest_s_m;
};

static struct slice slice_of(int which)
{
    double step = log(SLICES_FASTEST_M_S / SLICES_SLOWEST_M_S) / SLICES;
    double m_s = SLICES_SLOWEST_M_S * exp((which + 0.5) * step);
    return (struct slice){which == SLICES - 1 ? 0.0 : exp(-0.5 * step) / m_s,
                          which == 0 ? 1e9 : exp(0.5 * step) / m_s, 1.0 / (m_s * GATE_SPEED_FACTOR),
                          GATE_SPEED_FACTOR / m_s};
}

/* The part of the slice whose speed is within the factor of a usual one. */
static double first_window_s(const struct window *window, const struct slice *slice, double factor)
{
    double soonest_s = greater(window->route_m * slice->soonest_s_m, window->usual_s / factor);
    double latest_s = lesser(window->route_m * slice->latest_s_m, window->usual_s * factor);
    return overlap(window->least_s, window->most_s, soonest_s, latest_s);
}

static double later_window_s(const struct window *window, const struct slice *slice)
{
    double soonest_s = window->near_m * slice->later_soonest_s_m - window->two_sd_s;
    double latest_s = window->far_m * slice->later_latest_s_m + window->two_sd_s;
    return overlap(window->least_s, window->most_s, soonest_s, latest_s);
}

static void fill_slice(struct live *live, const struct slice *slice, double factor)
{
    const struct window *window = live->windows;
    for (size_t i = 0, at = 0; i < live->count; i++) {
        for (size_t j = 0; j < live->count; j++, at++, window++) {
            bool never = window->most_s <= window->least_s;
            double to_hz = never ? 0.0 : live->streams[j].hz;
            live->first[at] = never ? 0.0 : to_hz * first_window_s(window, slice, ANY_FACTOR);
            live->tight[at] =
                never || live->prompt ? 0.0 : to_hz * first_window_s(window, slice, factor);
            live->later[at] = never ? 0.0 : to_hz * later_window_s(window, slice);
        }
    }
}

/* to[i] becomes the sum over j of hop(i, j) * from[j]. */
static void step_back(size_t count, const double *hop, const double *from, double *to)
{
    for (size_t i = 0; i < count; i++) {
        double sum = 0.0;
        for (size_t j = 0; j < count; j++) {
            sum += hop[i * count + j] * from[j];
        }
        to[i] = sum;
    }
}

static double weighed(const struct live *live, const double *ahead)
{
    double sum = 0.0;
    for (size_t i = 0; i < live->count; i++) {
        sum += live->streams[i].hz * ahead[i];
    }
    return sum;
}

/* Chains of three that go back to the node they came from: the correlator makes none. */
static double returns_hz(const struct live *live)
{
    double sum = 0.0;
    for (size_t i = 0; i < live->count; i++) {
        for (size_t l = 0; l < live->count; l++) {
            for (size_t j = 0; j < live->count && live->streams[i].node == live->streams[l].node;
                 j++) {
                sum += live->streams[i].hz * live->first[i * live->count + j] *
                       live->later[j * live->count + l];
            }
        }
    }
    return sum;
}

/* Rates of chains of 2 to CHAIN_LONGEST nodes, each by itself. */
struct chains {
    double all_hz[CHAIN_LONGEST + 2];
    double tight_hz[CHAIN_LONGEST + 2]; /* no looser than the coincidence */
};

static void add_slice(struct live *live, struct chains *chains)
{
    for (size_t i = 0; i < live->count; i++) {
        live->ahead[i] = 1.0;
    }
    for (size_t k = 2; k <= CHAIN_LONGEST; k++) {
        step_back(live->count, live->first, live->ahead, live->next);
        chains->all_hz[k] += weighed(live, live->next);
        if (!live->prompt) {
            step_back(live->count, live->tight, live->ahead, live->next);
            chains->tight_hz[k] += weighed(live, live->next);
        }
        step_back(live->count, live->later, live->ahead, live->next);
        double *swap = live->ahead;
        live->ahead = live->next;
        live->next = swap;
    }
}

/* An onset goes on in one chain only and comes from one only; a chain that goes on is counted with
 * the longer ones, whose two ends would else count as well. */
static void use_once(const struct live *live, double onwards, struct chains *chains)
{
    double onsets_hz = 0.0;
    for (size_t i = 0; i < live->count; i++) {
        onsets_hz += live->streams[i].hz;
    }
    double hops = onsets_hz > 0.0 ? chains->all_hz[2] / onsets_hz : 0.0;
    double once = hops > 1e-9 ? pow(-expm1(-hops) / hops, 2.0) : 1.0;
    double part = once;
    for (size_t k = 2; k <= CHAIN_LONGEST; k++) {
        chains->all_hz[k] *= part;
        chains->tight_hz[k] *= part;
        part *= once * onwards;
    }
    for (size_t k = 2; k <= CHAIN_LONGEST; k++) {
        double all_hz = chains->all_hz[k];
        double alone = all_hz > 0.0 ? fmax(0.0, 1.0 - 2.0 * chains->all_hz[k + 1] / all_hz) : 0.0;
        chains->all_hz[k] *= alone;
        chains->tight_hz[k] *= alone;
    }
}

static void fill_chains(struct live *live, double disagreement, struct chains *chains)
{
    double factor = disagreement < 1.0 ? 1.0 / (1.0 - disagreement) : ANY_FACTOR;
    double returns = 0.0;
    for (int which = 0; which < SLICES; which++) {
        struct slice slice = slice_of(which);
        fill_slice(live, &slice, factor);
        returns += returns_hz(live);
        add_slice(live, chains);
    }
    double threes = chains->all_hz[3];
    use_once(live, threes > 0.0 ? fmax(0.0, 1.0 - returns / threes) : 1.0, chains);
}

static void end(struct live *live)
{
    free(live->windows);
    free(live->first);
}

static int begin(struct live *live, struct error *error)
{
    size_t count = live->count ? live->count : 1;
    live->windows = malloc(count * count * sizeof *live->windows);
    live->first = malloc((3 * count * count + 2 * count) * sizeof *live->first);
    if (!live->windows || !live->first) {
        end(live);
        return error_set(error, ERROR_MEMORY, "chance: out of memory");
    }
    live->tight = live->first + count * count;
    live->later = live->tight + count * count;
    live->ahead = live->later + count * count;
    live->next = live->ahead + count;
    for (size_t i = 0; i < live->count; i++) {
        for (size_t j = 0; j < live->count; j++) {
            live->windows[i * live->count + j] = window_of(live, i, j);
        }
    }
    return 0;
}

/* A sum over nodes of their streams; at most SITE_NODES_MAX of them. */
static size_t sum_nodes(const struct live *live, double *nodes_hz)
{
    size_t nodes = 0;
    for (size_t i = 0; i < live->count && nodes < SITE_NODES_MAX; i++) {
        bool same = i > 0 && live->streams[i].node == live->streams[i - 1].node;
        nodes += !same;
        nodes_hz[nodes - 1] = (same ? nodes_hz[nodes - 1] : 0.0) + live->streams[i].hz;
    }
    return nodes;
}

static double prompt_hz(const double *nodes_hz, size_t nodes, size_t k, double tau_s)
{
    return k <= nodes ? chance_prompt_hz(nodes_hz, nodes, k, tau_s) : 0.0;
}

static double sum_classes(struct live *live, const struct accidental_seen *seen,
                          const double *nodes_hz, size_t nodes)
{
    struct chains chains = {{0.0}, {0.0}};
    size_t length = seen->nodes < CHAIN_LONGEST ? seen->nodes : CHAIN_LONGEST;
    fill_chains(live, seen->disagreement, &chains);
    double own = seen->kind == COINCIDENCE_PROMPT
                     ? prompt_hz(nodes_hz, nodes, seen->nodes, fmin(seen->spread_s, seen->gate_s))
                     : chains.tight_hz[length];
    double sum = 0.0;
    for (size_t k = 2; k <= CHAIN_LONGEST; k++) {
        sum += fmin(own, chains.all_hz[k]);
    }
    for (size_t k = 2; k <= nodes; k++) {
        sum += fmin(own, prompt_hz(nodes_hz, nodes, k, seen->gate_s));
    }
    return sum;
}

int accidental_hz(struct layout *layout, const struct accidental_stream *streams, size_t count,
                  const struct accidental_seen *seen, double *rate_hz, struct error *error)
{
    struct live live = {.layout = layout,
                        .streams = streams,
                        .count = count,
                        .gate_s = seen->gate_s,
                        .prompt = seen->kind == COINCIDENCE_PROMPT};
    double *nodes_hz = malloc(SITE_NODES_MAX * sizeof *nodes_hz);
    if (!nodes_hz || begin(&live, error)) {
        free(nodes_hz);
        return error_set(error, ERROR_MEMORY, "chance: out of memory");
    }
    size_t nodes = sum_nodes(&live, nodes_hz);
    *rate_hz = sum_classes(&live, seen, nodes_hz, nodes);
    free(nodes_hz);
    end(&live);
    return 0;
}
