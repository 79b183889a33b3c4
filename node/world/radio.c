/* Phone bursts at the TDMA frame rate.
 * Must never know of rooms or nodes. Called by the electric channel's sampler and the checks. */
#include "node/world/radio.h"

#include <math.h>

double radio_burst_level(double since_s)
{
    if (since_s < 0.0) {
        return 0.0;
    }
    double frame = floor(since_s / RADIO_FRAME_S);
    if ((long long)frame % RADIO_MULTIFRAME == RADIO_MULTIFRAME - 1) {
        return 0.0;
    }
    double in_frame = since_s - frame * RADIO_FRAME_S;
    if (in_frame < RADIO_SLOT_S) {
        return 1.0 - exp(-in_frame / RADIO_LAG_S);
    }
    return (1.0 - exp(-RADIO_SLOT_S / RADIO_LAG_S)) * exp(-(in_frame - RADIO_SLOT_S) / RADIO_LAG_S);
}

double radio_alias_hz(double frequency_hz, double rate_hz)
{
    double folded = fmod(fabs(frequency_hz), rate_hz);
    return folded > 0.5 * rate_hz ? rate_hz - folded : folded;
}
