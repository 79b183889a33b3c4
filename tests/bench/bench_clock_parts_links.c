/* The ensemble of seeded links and crystals: whether the stated bound holds, and how lazy it is.
 * Must never sleep: it is simulated. Called by bench_clock.c. */
#include <stdio.h>

#include "bench_clock.h"
#include "tests/unit/common/clock_trial.h"

#define LINKS 60
#define BURSTS 450 /* an hour */
#define LINK_BASE_LEAST_NS 0.3e6
#define LINK_BASE_MOST_NS 2e6
#define FIVE_MINUTES_NS (300 * NS_PER_S)

/* As sim_wireless, but what one way is longer by is drawn evenly up to 300 ms. */
static struct clock_sim one_sided(uint64_t seed)
{
    struct clock_sim sim = sim_wireless(seed);
    sim.base_out_ns = sim.base_back_ns = sim_between(&sim, LINK_BASE_LEAST_NS, LINK_BASE_MOST_NS);
    *(sim_uniform(&sim) < 0.5 ? &sim.base_out_ns : &sim.base_back_ns) +=
        sim_between(&sim, 0, SIM_DELAY_MOST_NS);
    return sim;
}

/* Even ways that doze: no exchange can tell them from uneven ones. */
static struct clock_sim even(uint64_t seed)
{
    struct clock_sim sim = sim_wireless(seed);
    sim.base_out_ns = sim.base_back_ns = sim_between(&sim, LINK_BASE_LEAST_NS, LINK_BASE_MOST_NS);
    return sim;
}

static const struct {
    const char *name;
    struct clock_sim (*make)(uint64_t seed);
    bool whole; /* part of the ensemble that the bound is asked of */
} kinds[] = {
    {"one way longer, evenly to 300 ms", one_sided, true},
    {"one way longer, by decades to 300 ms", sim_wireless, true},
    {"Wi-Fi that dozes, even ways", even, false},
    {"quiet wire, even ways", sim_wired, false},
};

static void try_links(struct clock_sim (*make)(uint64_t seed), int64_t settled_ns,
                      struct trial_tally *tally)
{
    for (uint64_t seed = 1; seed <= LINKS; seed++) {
        struct trial trial = trial_begin(make(seed), BURSTS);
        trial.settled_ns = settled_ns;
        if (seed % 2) {
            trial_send_away(&trial);
        }
        trial_run(&trial, tally);
    }
}

static void print_tally(const char *name, struct trial_tally *tally)
{
    printf("%-38s %7zu %8.2f %% %9.3f %9.3f %9.3f\n", name, tally->count,
           100 * (double)tally->held / (double)tally->count,
           trial_quantile(tally->error_ns, tally->count, 0.5) / 1e6,
           trial_quantile(tally->error_ns, tally->count, 0.99) / 1e6,
           trial_quantile(tally->ratio, tally->count, 0.5));
    (void)fflush(stdout);
}

static void add(struct trial_tally *sum, const struct trial_tally *tally)
{
    for (size_t i = 0; i < tally->count && sum->count < TRIAL_LOOKS_MAX; i++, sum->count++) {
        sum->ratio[sum->count] = tally->ratio[i];
        sum->error_ns[sum->count] = tally->error_ns[i];
    }
    sum->held += tally->held;
}

void bench_clock_links(void)
{
    static struct trial_tally tally, whole;
    printf(
        "%d seeded links a kind, an hour each, crystals to +-100 ppm whose rate drifts, 5 %% loss "
        "on Wi-Fi;\nevery other base station is away for half an hour while the room changes by 5 "
        "degrees (errors in ms)\n",
        LINKS);
    printf("%-38s %7s %10s %9s %9s %9s\n", "link", "looks", "held", "median", "99 %", "ratio");
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
        tally = (struct trial_tally){0};
        try_links(kinds[i].make, 0, &tally);
        if (kinds[i].whole) {
            add(&whole, &tally);
        }
        print_tally(kinds[i].name, &tally);
    }
    print_tally("the whole ensemble (the first two)", &whole);
    printf(
        "Where both ways take the same the error is of the jitter's size, but half the least round "
        "trip can't be\nruled out by any exchange, so the bound keeps it and the ratio is "
        "large.\n");
    tally = (struct trial_tally){0};
    for (uint64_t seed = 1; seed <= LINKS; seed++) {
        struct trial trial = trial_begin(sim_wired(seed), BURSTS);
        trial.settled_ns = FIVE_MINUTES_NS;
        trial_run(&trial, &tally);
    }
    printf("quiet wire after five minutes: 99 %% of errors under %.0f us (wanted: 100)\n\n",
           trial_quantile(tally.error_ns, tally.count, 0.99) / 1e3);
}
