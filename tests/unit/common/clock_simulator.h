/* A crystal in a room and a link to the time server, both seeded: what a clock line is tried on.
 * Must never sleep or read a clock: all time here is counted.
 * Used by the tests and benchmarks of the clock line. */
#ifndef ROOMWAKE_TESTS_CLOCK_SIMULATOR_H
#define ROOMWAKE_TESTS_CLOCK_SIMULATOR_H

#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/clock.h"
#include "common/clock_fit.h"

#define SIM_STEP_NS (NS_PER_S / 2)
#define SIM_BURST 8
#define SIM_EVERY_NS (8 * NS_PER_S)
#define SIM_ASK_EVERY_NS INT64_C(30000000)
#define SIM_DELAY_MOST_NS 300e6

/* The rate's numbers are common practice, no source: a tuning fork's parabola and a plain crystal's
 * slope. */
struct clock_sim {
    uint64_t seed;
    /* the crystal */
    double crystal_ppm;
    double slope_ppm;    /* a degree */
    double parabola_ppm; /* a square degree from 25 */
    double walk_ppm;     /* of the rate, a root second */
    double walked_ppm;
    /* the room */
    double room_cel;
    double swing_cel; /* heating cycle */
    double swing_s;
    double change_cel; /* comes with a time constant of 600 s after change_ns */
    int64_t change_ns;
    /* the link, one way each; ns */
    double base_out_ns, base_back_ns;
    double jitter_out_ns, jitter_back_ns; /* mean of an exponential extra */
    double doze_out_ns, doze_back_ns;     /* while dozing: evenly up to this */
    bool dozing;
    double doze_share;
    double loss;
    /* where it stands */
    int64_t site_ns;
    double node_offset_ns; /* node minus site */
    double rate;           /* node ns gained a site ns */
};

static inline double sim_uniform(struct clock_sim *sim)
{
    sim->seed = sim->seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    uint64_t mixed = (sim->seed ^ sim->seed >> 33) * UINT64_C(0xff51afd7ed558ccd);
    return ((double)((mixed ^ mixed >> 33) >> 11) + 0.5) / 9007199254740992.0;
}

static inline double sim_between(struct clock_sim *sim, double low, double high)
{
    return low + (high - low) * sim_uniform(sim);
}

static inline double sim_normal(struct clock_sim *sim)
{
    double radius = sqrt(-2 * log(sim_uniform(sim)));
    return radius * cos(6.283185307179586 * sim_uniform(sim));
}

static inline double sim_room(const struct clock_sim *sim)
{
    double seconds = (double)sim->site_ns / 1e9;
    double room = sim->room_cel + sim->swing_cel * sin(6.283185307179586 * seconds / sim->swing_s);
    if (sim->site_ns > sim->change_ns) {
        room += sim->change_cel * (1 - exp(-(double)(sim->site_ns - sim->change_ns) / 600e9));
    }
    return room;
}

/* Moves true time on; the doze comes and goes with means of 30 s and what the share asks for. */
static inline void sim_advance(struct clock_sim *sim, int64_t site_ns)
{
    while (sim->site_ns < site_ns) {
        int64_t step = site_ns - sim->site_ns < SIM_STEP_NS ? site_ns - sim->site_ns : SIM_STEP_NS;
        double seconds = (double)step / 1e9;
        double off = sim_room(sim) - 25;
        sim->walked_ppm += sim->walk_ppm * sqrt(seconds) * sim_normal(sim);
        sim->rate = 1e-6 * (sim->crystal_ppm + sim->slope_ppm * off +
                            sim->parabola_ppm * off * off + sim->walked_ppm);
        sim->node_offset_ns += sim->rate * (double)step;
        sim->site_ns += step;
        double leave = seconds / 30;
        double enter = leave * sim->doze_share / (1 - sim->doze_share);
        if (sim_uniform(sim) < (sim->dozing ? leave : enter)) {
            sim->dozing = !sim->dozing;
        }
    }
}

/* The node's reading at a true time near where the simulator stands. */
static inline int64_t sim_node_ns(const struct clock_sim *sim, int64_t site_ns)
{
    double since = (double)(site_ns - sim->site_ns);
    return site_ns + llround(sim->node_offset_ns + sim->rate * since);
}

static inline int64_t sim_delay(struct clock_sim *sim, double base_ns, double jitter_ns,
                                double doze_ns)
{
    double delay = base_ns - jitter_ns * log(sim_uniform(sim));
    if (sim->dozing) {
        delay += doze_ns * sim_uniform(sim);
    }
    double most = SIM_DELAY_MOST_NS > base_ns ? SIM_DELAY_MOST_NS : base_ns;
    return llround(delay < most ? delay : most);
}

/* One burst that starts where the simulator stands; returns how many answers came. */
static inline size_t sim_burst(struct clock_sim *sim, struct clock_exchange exchanges[SIM_BURST])
{
    size_t count = 0;
    for (int i = 0; i < SIM_BURST; i++) {
        int64_t asked = sim->site_ns + i * SIM_ASK_EVERY_NS;
        int64_t came =
            asked + sim_delay(sim, sim->base_out_ns, sim->jitter_out_ns, sim->doze_out_ns);
        int64_t left = came + 30000;
        int64_t back =
            left + sim_delay(sim, sim->base_back_ns, sim->jitter_back_ns, sim->doze_back_ns);
        if (sim_uniform(sim) >= sim->loss) {
            exchanges[count++] = (struct clock_exchange){.t1_ns = sim_node_ns(sim, asked),
                                                         .t2_ns = came,
                                                         .t3_ns = left,
                                                         .t4_ns = sim_node_ns(sim, back)};
        }
    }
    return count;
}

/* What a line is off at the simulator's true time. */
static inline int64_t sim_error_ns(const struct clock_sim *sim, const struct clock_fit *fit)
{
    return clock_fit_site_ns(fit, sim_node_ns(sim, sim->site_ns)) - sim->site_ns;
}

/* A node like any: crystal within 100 ppm, somewhere in its temperature curve. */
static inline struct clock_sim sim_crystal(uint64_t seed)
{
    struct clock_sim sim = {.seed = seed * UINT64_C(0x9e3779b97f4a7c15) + 1,
                            .change_ns = INT64_MAX,
                            .site_ns = INT64_C(1700000000) * NS_PER_S,
                            .node_offset_ns = -1.6e18};
    sim.crystal_ppm = sim_between(&sim, -100, 100);
    bool fork = sim_uniform(&sim) < 0.5;
    sim.parabola_ppm = fork ? -0.034 : 0;
    sim.slope_ppm = fork ? 0 : sim_between(&sim, -0.3, 0.3);
    sim.walk_ppm = 1e-3;
    sim.room_cel = sim_between(&sim, 15, 25);
    sim.swing_cel = sim_between(&sim, 0, 1);
    sim.swing_s = sim_between(&sim, 1200, 7200);
    return sim;
}

/* A short wire with a switch: 100 to 300 us a way, some load. */
static inline struct clock_sim sim_wired(uint64_t seed)
{
    struct clock_sim sim = sim_crystal(seed);
    sim.base_out_ns = sim.base_back_ns = sim_between(&sim, 50e3, 80e3);
    sim.jitter_out_ns = sim.jitter_back_ns = 20e3;
    return sim;
}

/* Wi-Fi that dozes on one way, over a path of which one way is longer by up to 300 ms. */
static inline struct clock_sim sim_wireless(uint64_t seed)
{
    struct clock_sim sim = sim_crystal(seed);
    sim.base_out_ns = sim.base_back_ns = sim_between(&sim, 0.3e6, 2e6);
    double longer = 1e5 * pow(3000, sim_uniform(&sim));
    *(sim_uniform(&sim) < 0.5 ? &sim.base_out_ns : &sim.base_back_ns) += longer;
    sim.jitter_out_ns = sim.jitter_back_ns = sim_between(&sim, 0.1e6, 1e6);
    *(sim_uniform(&sim) < 0.2 ? &sim.doze_out_ns : &sim.doze_back_ns) =
        sim_between(&sim, 20e6, 300e6);
    sim.doze_share = sim_between(&sim, 0, 0.6);
    sim.loss = 0.05;
    return sim;
}

#endif
