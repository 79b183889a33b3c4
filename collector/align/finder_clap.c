/* A clap: the energy of 2 ms rises far above that of the tenth of a second before.
 * Must never take the long part of a loud sound for another clap. Called by finder.c. */
#include "collector/align/finder_parts.h"

#include <math.h>

#define SHORT_S 0.002
#define LONG_S 0.1
#define RISE 30.0 /* in energy: 15 dB */
#define REFUSE_S 0.5
#define SETTLE_S 0.5 /* before the first is believed */
#define RISE_WATCH_S 0.01

void finder_clap_init(struct finder_clap *clap, double rate_hz, double delay_s)
{
    *clap = (struct finder_clap){.rate_hz = rate_hz,
                                 .delay_s = delay_s,
                                 .rise_at = -1,
                                 .refuse_until = (int64_t)(SETTLE_S * rate_hz)};
}

/* The rise was watched for long enough: told with the time at which it began. */
static void tell(struct finder_clap *clap, struct finder_list *list)
{
    struct finder_arrival arrival = {.time_s =
                                         (double)clap->rise_at / clap->rate_hz - clap->delay_s,
                                     .sd_s = 0.5 * SHORT_S,
                                     .strength = sqrt(clap->rise_peak / clap->rise_noise)};
    finder_list_add(list, &arrival, REFUSE_S);
    clap->refuse_until = clap->at + (int64_t)(REFUSE_S * clap->rate_hz);
    clap->rise_at = -1;
}

void finder_clap_push(struct finder_clap *clap, float sample, struct finder_list *list)
{
    double square = (double)sample * (double)sample;
    clap->energy += (square - clap->energy) / (SHORT_S * clap->rate_hz);
    clap->at++;
    if (clap->rise_at >= 0) {
        clap->rise_peak = fmax(clap->rise_peak, clap->energy);
        if (clap->at - clap->rise_at > (int64_t)(RISE_WATCH_S * clap->rate_hz)) {
            tell(clap, list);
        }
    } else if (clap->at > clap->refuse_until && clap->noise > 0.0 && square > RISE * clap->noise &&
               clap->energy > RISE / 4.0 * clap->noise) {
        clap->rise_at = clap->at;
        clap->rise_noise = clap->noise;
        clap->rise_peak = clap->energy;
    }
    clap->noise += (square - clap->noise) / (LONG_S * clap->rate_hz);
}
