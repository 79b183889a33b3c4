/* Is "which was first" calibrated? Seeded events through the real detectors, at rates, strengths
 * and shapes of a house, on clocks as uncertain as they say; then the order code against the truth.
 * Must never run as part of the tests: they have a smaller one. bench_order [COINCIDENCES] */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/correlate/order.h"
#include "collector/detect/detector.h"
#include "common/clock.h"
#include "tests/bench/order_events.h"

static void print_deciles(const char *what, const struct order_tally *tally)
{
    printf("%s\n%9s %8s %8s %18s\n", what, "stated", "cases", "observed", "binomial 99 %");
    for (int d = 0; d < 10; d++) {
        const struct order_decile *decile = &tally->deciles[d];
        double low, high;
        if (decile->cases == 0) {
            continue;
        }
        order_decile_interval(decile, &low, &high);
        double seen = (double)decile->right / (double)decile->cases;
        printf("%8.1f%% %8zu %7.1f%% %8.1f%% %7.1f%% %s\n",
               100 * decile->stated / (double)decile->cases, decile->cases, 100 * seen, 100 * low,
               100 * high, seen < low || seen > high ? "OUT" : "");
    }
    printf("claimed at 95 %%: %zu, right %.1f %%; told as together %zu; can't tell %zu\n\n",
           tally->claims,
           tally->claims ? 100 * (double)tally->claims_right / (double)tally->claims : 0,
           tally->together, tally->cases - tally->claims - tally->together);
}

static void print_simultaneous(const char *what, const struct order_tally *tally)
{
    printf("%s: %zu, together %.1f %%, an order claimed of %.2f %% (stated error rate %.0f %%)\n",
           what, tally->cases, 100 * (double)tally->together / (double)tally->cases,
           100 * (double)tally->claims / (double)tally->cases, 100 * (1 - ORDER_CONFIDENCE));
}

int main(int argc, char **argv)
{
    long wanted = argc > 1 ? atol(argv[1]) : 10000;
    static struct order_trial trial;
    struct order_tally apart = {0}, same = {0}, mains = {0};
    if (wanted < 1) {
        fprintf(stderr, "usage: bench_order [COINCIDENCES]\n");
        return 2;
    }
    order_trial_run(&trial, (size_t)wanted, ORDER_APART, &apart);
    print_deciles("true onsets apart by 0 to 80 ms:", &apart);
    order_trial_print_picks(&trial);
    order_trial_run(&trial, (size_t)wanted, ORDER_SAME, &same);
    print_simultaneous("simultaneous", &same);
    order_trial_run(&trial, (size_t)wanted, ORDER_MAINS, &mains);
    print_simultaneous("mains switched everywhere at once", &mains);
    return 0;
}
