/* The few computations that the plain values carry themselves.
 * Must never do I/O or keep state. Called by detect, correlate, night and export. */
#include <math.h>

#include "collector/model/coincidence.h"

int64_t disturbance_onset_sd_ns(const struct disturbance *disturbance)
{
    double pick = (double)disturbance->pick_sd_ns;
    double sampling = (double)disturbance->sampling_sd_ns;
    double clock = (double)disturbance->clock_sd_ns;
    return (int64_t)llround(sqrt(pick * pick + sampling * sampling + clock * clock));
}

const char *cause_text(enum cause_kind cause)
{
    static const char *const texts[CAUSE_COUNT] = {
        [CAUSE_UNEXPLAINED] = "unexplained",       [CAUSE_MAINS_SWITCHING] = "mains-switching",
        [CAUSE_MOVING_MAGNET] = "moving-magnet",   [CAUSE_RADIO_BURST] = "radio-burst",
        [CAUSE_PERSON_WALKING] = "person-walking", [CAUSE_DRAUGHT] = "draught",
        [CAUSE_HEATING_CYCLE] = "heating-cycle",   [CAUSE_GEOMAGNETIC] = "geomagnetic",
        [CAUSE_SENSOR_FAULT] = "sensor-fault",     [CAUSE_TEAM] = "team",
    };
    return cause < CAUSE_COUNT ? texts[cause] : "unexplained";
}

const char *chance_method_text(enum chance_method method)
{
    return method == CHANCE_TIME_SLIDES ? "time-slides" : "analytic";
}

const char *coincidence_kind_text(enum coincidence_kind kind)
{
    return kind == COINCIDENCE_TRAVELLING ? "travelling" : "prompt";
}
