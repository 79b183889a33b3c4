/* A walker who marked himself, in so many seeded nights, and the same nights unmarked; and a coil
 * that the team tried, which no cause accounts for, so that the marks alone keep it from being an
 * alert: bench_marks [NIGHTS]. Must never run as part of the tests: it takes minutes. */
#include "marks_night.h"

#define NIGHTS_MOST 10000

struct sum {
    struct marks_tally walks;
    struct marks_tally coils;
    size_t nights;
    size_t strangers; /* whose pulse at the end is an alert */
    size_t ratios;
    /* How often chance would bring the like of that pulse, over what it is where nobody did
     * anything. */
    double chance[NIGHTS_MOST];
};

static struct sum sums[MARKS_WAYS];

static void add_tally(struct marks_tally *to, const struct marks_tally *from)
{
    to->seen += from->seen;
    to->called += from->called;
    to->alerts += from->alerts;
}

static int add_night(uint64_t seed, enum marks_way way, double chance_alone)
{
    static struct marks_night night;
    struct error error;
    struct sum *sum = &sums[way];
    if (marks_run(&night, seed, way, &error) != 0) {
        fprintf(stderr, "%s\n", error.text);
        return -1;
    }
    add_tally(&sum->walks, &night.walks);
    add_tally(&sum->coils, &night.coils);
    sum->strangers += night.stranger_alert;
    sum->nights++;
    if (night.stranger_chance > 0.0 && chance_alone > 0.0) { /* it was found both times */
        sum->chance[sum->ratios++] = night.stranger_chance / chance_alone;
    }
    return 0;
}

static int compare(const void *a, const void *b)
{
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x > y) - (x < y);
}

static void print_sum(const char *name, struct sum *sum)
{
    qsort(sum->chance, sum->ratios, sizeof sum->chance[0], compare);
    printf(
        "%s, %zu nights\n"
        "  walks: %zu with a finding, %zu called person walking, %zu alerts\n"
        "  coils: %zu with a finding, %zu alerts\n"
        "  nobody's pulse: %zu alerts; its chance, over that of a night without us: median %.2f, "
        "nine of ten under %.2f\n",
        name, sum->nights, sum->walks.seen, sum->walks.called, sum->walks.alerts, sum->coils.seen,
        sum->coils.alerts, sum->strangers, sum->chance[sum->ratios / 2],
        sum->chance[sum->ratios * 9 / 10]);
}

int main(int argc, char **argv)
{
    static const char *const names[MARKS_WAYS] = {"unmarked", "marked with a length",
                                                  "marked until ended", "marked a minute late"};
    uint64_t nights = argc > 1 ? strtoull(argv[1], NULL, 10) : 200;
    size_t alerts = 0;
    static struct marks_night alone;
    struct error error;
    if (nights < MARKS_WAYS || nights > NIGHTS_MOST) {
        return 2;
    }
    for (uint64_t seed = 1; seed <= nights; seed++) {
        if (marks_run(&alone, seed, MARKS_NOBODY, &error) != 0 ||
            add_night(seed, MARKS_NONE, alone.stranger_chance) != 0 ||
            add_night(seed, (enum marks_way)(1 + seed % (MARKS_WAYS - 1)), alone.stranger_chance) !=
                0) {
            return 1;
        }
    }
    for (int way = 0; way < MARKS_WAYS; way++) {
        print_sum(names[way], &sums[way]);
        alerts += way == MARKS_NONE ? 0 : sums[way].walks.alerts + sums[way].coils.alerts;
    }
    return alerts > 0;
}
