/* The two gates: how close in time is prompt, and which hop a traveller could have made.
 * Must never open wider than GATE_WIDEST_NS for a bad clock: what can't be timed can't coincide.
 * Called by cluster and hop. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_GATE_H
#define ROOMWAKE_COLLECTOR_CORRELATE_GATE_H

#include <stdbool.h>
#include <stdint.h>

/* However bad the clocks, a prompt gate is never wider. */
#define GATE_WIDEST_NS INT64_C(1000000000)
/* Air: slowest and fastest hop where temperature or humidity is at either side. */
#define GATE_AIR_SLOWEST_M_S 0.1
#define GATE_AIR_FASTEST_M_S 1.0
/* All else: a slow walk to a run. */
#define GATE_BODY_SLOWEST_M_S 0.3
/* Somebody who walks: from a slow step (our choice) to the fastest group's mean maximum, 2.53 m/s
 * (Bohannon 1997, Age and Ageing 26:15-19, abstract), rounded up. */
#define GATE_WALK_SLOWEST_M_S 0.5
#define GATE_WALK_FASTEST_M_S 2.6
/* From the second hop on the speeds of one chain agree within this factor. */
#define GATE_SPEED_FACTOR 3.0
/* A motion sensor answers somewhere within this of where it hangs. */
#define GATE_SENSING_M 1.0

/* Width of the prompt gate between two onsets, from the 1-sigma clock uncertainties. */
int64_t gate_prompt_ns(int64_t clock_sd_a_ns, int64_t clock_sd_b_ns);

/* What is known of a hop between two nodes. */
struct gate_hop {
    double straight_m;
    double walk_m; /* through doors; negative where none connect or where walls don't count */
    double slack_m;
    double delay_s;
    double delay_sd_s;
    double slowest_m_s;
    double fastest_m_s;
};

/* The hop's speed and the range that its uncertainties (2 sigma, and the slack) leave. */
struct gate_speed {
    double value_m_s;
    double low_m_s;
    double high_m_s;
};

/* Whether the hop is one that a traveller could have made; fills *speed if so. */
bool gate_hop_fits(const struct gate_hop *hop, struct gate_speed *speed);
/* Whether a hop's speed agrees with that of the chain so far. */
bool gate_speeds_agree(const struct gate_speed *speed, double chain_m_s);

#endif
