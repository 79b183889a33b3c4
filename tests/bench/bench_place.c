/* Location errors over seeded noise against the Cramer-Rao bound, and how often the ellipse holds
 * the truth. bench_place. Must never run as part of the tests. */
#include <math.h>
#include <stdio.h>

#include "collector/correlate/place.h"
#include "node/world/rng.h"

#define TRIALS 3000
#define NODES 6

static const double nodes_m[NODES][3] = {{1, 1, 1}, {9, 1, 1}, {1, 9, 1},
                                         {9, 9, 1}, {5, 2, 1}, {4, 7, 1}};

struct tally {
    size_t placed;
    double error;  /* sum of squares */
    double bound;  /* sum of the bounds' variances, at the truth */
    size_t within; /* the 95 % ellipse */
};

static void count(struct tally *tally, const struct source *found, const struct source *bound,
                  const double *truth)
{
    double dx = found->x_m - truth[0];
    double dy = found->y_m - truth[1];
    double angle = found->major_deg * 3.14159265358979323846 / 180.0;
    double along = (dx * cos(angle) + dy * sin(angle)) / found->major_m;
    double across = (dy * cos(angle) - dx * sin(angle)) / found->minor_m;
    tally->placed++;
    tally->error += dx * dx + dy * dy;
    tally->bound += bound->sd_m * bound->sd_m;
    tally->within += along * along + across * across <= 5.991465; /* chi-square, 2, 95 % */
}

static void run(bool times, double exponent, double speed_m_s, double sd)
{
    struct tally tally = {0};
    size_t refused = 0;
    for (uint64_t trial = 0; trial < TRIALS; trial++) {
        uint64_t key = rng_key(11, trial, times);
        const double truth[2] = {1.5 + 7.0 * rng_uniform(key, 0), 1.5 + 7.0 * rng_uniform(key, 1)};
        struct place_reading exact[NODES];
        struct place_reading noisy[NODES];
        struct source bound;
        struct source found;
        for (size_t i = 0; i < NODES; i++) {
            double away_m = hypot(truth[0] - nodes_m[i][0], truth[1] - nodes_m[i][1]);
            away_m = fmax(away_m, 0.05);
            exact[i] = (struct place_reading){{nodes_m[i][0], nodes_m[i][1], 1.0}, 0.0, sd};
            exact[i].value = times ? away_m / speed_m_s : 1000.0 / pow(away_m, exponent);
            noisy[i] = exact[i];
            double noise = sd * rng_gaussian(key, 2 + i);
            noisy[i].value = times ? exact[i].value + noise : exact[i].value * exp(noise);
        }
        if (times) {
            place_by_arrival(exact, NODES, speed_m_s, 1.0, &bound);
            place_by_arrival(noisy, NODES, speed_m_s, 1.0, &found);
        } else {
            place_by_amplitude(exact, NODES, exponent, 1.0, &bound);
            place_by_amplitude(noisy, NODES, exponent, 1.0, &found);
        }
        if (found.known && bound.known) {
            count(&tally, &found, &bound, truth);
        } else {
            refused++;
        }
    }
    printf("%s, sd %g: %zu placed, %zu refused, rms error %.3f m, bound %.3f m, ratio %.3f, 95 %%"
           " ellipse holds %.1f %%\n",
           times ? "arrival " : "amplitude", sd, tally.placed, refused,
           sqrt(tally.error / (double)tally.placed), sqrt(tally.bound / (double)tally.placed),
           sqrt(tally.error / tally.bound), 100.0 * (double)tally.within / (double)tally.placed);
}

int main(void)
{
    run(false, 3.0, 0.0, 0.1);
    run(false, 3.0, 0.0, 0.25);
    run(false, 2.0, 0.0, 0.1);
    run(true, 0.0, 343.0, 1e-3);
    run(true, 0.0, 1.4, 0.1);
    return 0;
}
