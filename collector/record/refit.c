/* States -> exchanges, a boot at a time -> smooth clocks -> moves.
 * Must never write. Called by analyse.c. */
#include "collector/record/refit.h"

#include <stdio.h>
#include <stdlib.h>

#include "collector/ingest/cook.h"
#include "collector/night/reader_clock.h"
#include "collector/night/reader_exchanges.h"
#include "common/grow.h"
#include "common/clock_smooth.h"
#include "common/timefmt.h"

#define CRYSTAL_PPB 100000 /* as the nodes themselves take it */
/* A live block that had to catch up was squeezed: its period says nothing then. */
#define SQUEEZED(period_ps, nominal_ps) ((period_ps) < (nominal_ps) - (nominal_ps) / 100)

struct boot_clock {
    const struct night_boot_exchanges *told;
    struct clock_smooth *smooth; /* NULL: none of its exchanges was good */
};

struct sd_list {
    int64_t *values;
    size_t count;
    size_t size;
};

struct refit_node {
    struct refit_change change;
    struct cook cook;
    struct sd_list live;
    struct sd_list fitted;
};

struct refit {
    const struct site *site;
    struct night_exchanges exchanges;
    struct boot_clock *boots; /* one for each in `exchanges` */
    struct refit_node *nodes;
    int64_t most_ns;
    struct error *error; /* of the call in progress */
    int64_t times_ns[BLOCK_SAMPLES_MAX];
};

static int add_sd(struct sd_list *list, int64_t sd_ns, struct error *error)
{
    void *memory = list->values;
    if (grow_list(&memory, list->count, &list->size, sizeof *list->values, "re-fit", error) != 0) {
        return -1;
    }
    list->values = memory;
    list->values[list->count++] = sd_ns;
    return 0;
}

static const struct clock_smooth *find_clock(const struct refit *refit, uint32_t node,
                                             uint64_t boot)
{
    for (size_t i = refit->exchanges.count; i-- > 0;) {
        if (refit->boots[i].told->node == node && refit->boots[i].told->boot == boot) {
            return refit->boots[i].smooth;
        }
    }
    return NULL;
}

static int smooth_all(struct refit *refit)
{
    size_t count = refit->exchanges.count;
    refit->boots = calloc(count ? count : 1, sizeof *refit->boots);
    if (!refit->boots) {
        return error_set(refit->error, ERROR_MEMORY, "re-fit: out of memory");
    }
    for (size_t i = 0; i < count; i++) {
        struct boot_clock *clock = &refit->boots[i];
        struct error none;
        clock->told = &refit->exchanges.boots[i];
        if (clock_smooth_new(clock->told->exchanges, clock->told->count, CRYSTAL_PPB,
                             &clock->smooth, &none)) {
            if (none.code == ERROR_MEMORY) {
                *refit->error = none;
                return -1;
            }
            continue;
        }
        refit->nodes[clock->told->node].change.exchanges += clock_smooth_count(clock->smooth);
    }
    return 0;
}

static int take_block_time(void *context, const struct night_block_time *time)
{
    struct refit *refit = context;
    const struct clock_smooth *clock = find_clock(refit, time->node, time->boot);
    struct clock_fit fit;
    if (time->node >= refit->site->node_count || !clock) {
        return 0;
    }
    struct refit_node *node = &refit->nodes[time->node];
    clock_smooth_fit(clock, time->node_t0_ns, &fit);
    int64_t moved_ns = clock_fit_site_ns(&fit, time->node_t0_ns) - time->t0_ns;
    if (llabs(moved_ns) > llabs(node->change.most_ns)) {
        node->change.most_ns = moved_ns;
        node->change.most_at_ns = time->t0_ns;
    }
    refit->most_ns = llabs(moved_ns) > refit->most_ns ? llabs(moved_ns) : refit->most_ns;
    return add_sd(&node->fitted, fit.uncertainty_ns, refit->error);
}

static int take_fit(void *context, const struct night_fit_row *row)
{
    struct refit *refit = context;
    return row->node < refit->site->node_count
               ? add_sd(&refit->nodes[row->node].live, row->fit.uncertainty_ns, refit->error)
               : 0;
}

static int ascending(const void *left, const void *right)
{
    int64_t a = *(const int64_t *)left;
    int64_t b = *(const int64_t *)right;
    return (a > b) - (a < b);
}

static int64_t median(struct sd_list *list)
{
    if (list->count == 0) {
        return -1;
    }
    qsort(list->values, list->count, sizeof list->values[0], ascending);
    return list->values[list->count / 2];
}

static int build(struct refit *refit, struct night_reader *reader)
{
    struct error *error = refit->error;
    if (night_read_exchanges(reader, refit->site->node_count, &refit->exchanges, error) != 0 ||
        smooth_all(refit) != 0 ||
        night_each_block_time(reader, take_block_time, refit, error) != 0 ||
        night_each_fit(reader, take_fit, refit, error) != 0) {
        return -1;
    }
    for (size_t i = 0; i < refit->site->node_count; i++) {
        struct refit_node *node = &refit->nodes[i];
        cook_init(&node->cook);
        node->change.live_sd_ns = median(&node->live);
        node->change.fitted_sd_ns = median(&node->fitted);
    }
    return 0;
}

int refit_new(struct night_reader *reader, const struct site *site, struct refit **out,
              struct error *error)
{
    struct refit *refit = calloc(1, sizeof *refit);
    struct refit_node *nodes = calloc(site->node_count ? site->node_count : 1, sizeof *nodes);
    if (!refit || !nodes) {
        free(refit);
        free(nodes);
        return error_set(error, ERROR_MEMORY, "re-fit: out of memory");
    }
    refit->site = site;
    refit->nodes = nodes;
    refit->error = error;
    if (build(refit, reader) != 0) {
        refit_free(refit);
        return -1;
    }
    *out = refit;
    return 0;
}

void refit_free(struct refit *refit)
{
    if (!refit) {
        return;
    }
    for (size_t i = 0; refit->boots && i < refit->exchanges.count; i++) {
        clock_smooth_free(refit->boots[i].smooth);
    }
    night_exchanges_free(&refit->exchanges);
    for (size_t i = 0; i < refit->site->node_count; i++) {
        free(refit->nodes[i].live.values);
        free(refit->nodes[i].fitted.values);
    }
    free(refit->boots);
    free(refit->nodes);
    free(refit);
}

const struct refit_change *refit_get_change(const struct refit *refit, uint32_t node)
{
    return &refit->nodes[node].change;
}

void refit_say_change(const struct refit *refit, uint32_t node, char text[REFIT_TEXT_SIZE])
{
    const struct refit_change *change = refit_get_change(refit, node);
    char most[TIMEFMT_SIZE];
    char at[TIMEFMT_SIZE];
    char live[TIMEFMT_SIZE];
    char fitted[TIMEFMT_SIZE];
    if (change->exchanges == 0) {
        (void)snprintf(text, REFIT_TEXT_SIZE,
                       "times kept: the night holds no exchanges to fit it again by");
        return;
    }
    timefmt_duration(llabs(change->most_ns), most);
    timefmt_local(change->most_at_ns, at, NULL);
    timefmt_duration(change->live_sd_ns > 0 ? change->live_sd_ns : 0, live);
    timefmt_duration(change->fitted_sd_ns > 0 ? change->fitted_sd_ns : 0, fitted);
    (void)snprintf(
        text, REFIT_TEXT_SIZE,
        "fitted again from %zu exchanges of the whole night: times moved by up to %s %s, "
        "most at %s; uncertainty %s, live %s (median, one sigma)",
        change->exchanges, most, change->most_ns < 0 ? "earlier" : "later", at, fitted, live);
}

int64_t refit_most_ns(const struct refit *refit)
{
    return refit->most_ns;
}

/* The block as the node told it, but for what only the live fit knew. */
static struct block raw_block(struct refit *refit, const struct night_block_row *row,
                              struct clock_fit *fit)
{
    struct block raw = row->block;
    int64_t moved_ns = row->node_t0_ns - raw.t0_ns;
    raw.t0_ns = row->node_t0_ns;
    if (raw.period_ps == 0) {
        for (uint32_t i = 0; i < raw.count; i++) {
            refit->times_ns[i] = raw.times_ns[i] + moved_ns;
        }
        raw.times_ns = refit->times_ns;
        fit->rate_ppt = 0; /* the times have the live rate in them */
    } else if (SQUEEZED(raw.period_ps, row->channel.period_ps)) {
        raw.period_ps = row->channel.period_ps;
    } else {
        fit->rate_ppt = 0;
    }
    return raw;
}

void refit_block(struct refit *refit, struct night_block_row *row, int64_t *clock_sd_ns)
{
    struct refit_node *node = &refit->nodes[row->node];
    const struct clock_smooth *clock = find_clock(refit, row->node, row->boot);
    struct clock_fit fit = {.known = true,
                            .ref_node_ns = row->node_t0_ns,
                            .offset_ns = row->block.t0_ns - row->node_t0_ns};
    struct error odd;
    *clock_sd_ns = -1;
    if (node->change.exchanges == 0) {
        return;
    }
    if (clock) {
        clock_smooth_fit(clock, row->node_t0_ns, &fit);
    }
    struct clock_fit applied = fit;
    struct block raw = raw_block(refit, row, &applied);
    if (cook_check(&applied, &raw, raw.t0_ns, &odd) != 0) {
        return; /* out of all bounds: as it was */
    }
    *clock_sd_ns = clock ? cook_round_uncertainty(fit.uncertainty_ns) : -1;
    cook_block(&node->cook, &applied, &raw, refit->times_ns, &row->block);
}
