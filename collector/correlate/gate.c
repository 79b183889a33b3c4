/* The arithmetic of the prompt and the travelling gate.
 * Must never keep state. Called by cluster and hop. */
#include "collector/correlate/gate.h"

#include <math.h>

#include "collector/correlate/limits.h"

int64_t gate_prompt_ns(int64_t clock_sd_a_ns, int64_t clock_sd_b_ns)
{
    double joint = hypot((double)clock_sd_a_ns, (double)clock_sd_b_ns);
    double width = (double)GATE_PROMPT_NS + 2.0 * joint;
    return width < (double)GATE_WIDEST_NS ? (int64_t)llround(width) : GATE_WIDEST_NS;
}

bool gate_hop_fits(const struct gate_hop *hop, struct gate_speed *speed)
{
    if (hop->delay_s <= 0.0) {
        return false;
    }
    double route_m = hop->walk_m >= 0.0 ? hop->walk_m : hop->straight_m;
    double longest_s = hop->delay_s + 2.0 * hop->delay_sd_s;
    double shortest_s = hop->delay_s - 2.0 * hop->delay_sd_s;
    speed->value_m_s = route_m / hop->delay_s;
    speed->low_m_s = fmax(0.0, route_m - hop->slack_m) / longest_s;
    speed->high_m_s = shortest_s > 0.0 ? (route_m + hop->slack_m) / shortest_s : INFINITY;
    return speed->low_m_s <= hop->fastest_m_s && speed->high_m_s >= hop->slowest_m_s;
}

bool gate_speeds_agree(const struct gate_speed *speed, double chain_m_s)
{
    return speed->low_m_s <= chain_m_s * GATE_SPEED_FACTOR &&
           speed->high_m_s >= chain_m_s / GATE_SPEED_FACTOR;
}
