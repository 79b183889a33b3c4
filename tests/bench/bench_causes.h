/* What the parts of bench_causes share: a house, a play of seeded events in it, what was found.
 * Must never be used by the tests: its houses are for measuring only.
 * Included by bench_causes.c and its parts. */
#ifndef ROOMWAKE_TESTS_BENCH_CAUSES_H
#define ROOMWAKE_TESTS_BENCH_CAUSES_H

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

#include "collector/model/coincidence.h"
#include "collector/model/mark.h"
#include "common/site.h"
#include "common/text.h"

#define BENCH_EVENTS_MAX 128
#define BENCH_BASELINE_S 180.0
#define BENCH_WAY_MAX 5

/* A building from a seed: its plan, nodes, wires and the noise of its sensors. */
struct house {
    uint64_t seed;
    struct site *site; /* owned: house_free */
    double rate_hz;
    char settings[2048]; /* of the script: mains, motion, noise, wires */
};

int house_build(uint64_t seed, struct house *house, struct error *error);
void house_free(struct house *house);
/* Between low and high by this key's number `which`. */
double house_between(uint64_t key, uint64_t which, double low, double high);
/* A way through doors, at least two rooms. */
size_t house_way(const struct house *house, uint64_t key, size_t rooms[BENCH_WAY_MAX]);

struct play {
    const char *name;
    enum cause_kind cause;
    double spacing_s;
    double after_s; /* how long after an event's time what it brings may begin */
    /* One event at `at` seconds, as JSON. */
    void (*write)(const struct house *house, struct text *out, double at, uint64_t key);
    const char *acts_on[3]; /* quantities */
    bool warm;              /* the heating runs; its turns are the events */
    bool slow_only;         /* temperature and motion say all: the rest is not simulated */
    bool marked;            /* the team presses the button */
    bool faulty;            /* one node's antenna has a loose wire during the event */
};

extern const struct play plays[];
extern const size_t play_count;

/* What one event of the mixed play must bring, beside nothing else. */
#define BENCH_MIXED CAUSE_COUNT

struct run {
    const struct house *house;
    const struct play *play;
    size_t events;
    double at_s[BENCH_EVENTS_MAX];
    void *context;
    void (*coincidence)(void *context, const struct coincidence *coincidence);
    FILE *keep; /* disturbances are written here too; may be NULL */
};

void run_plan(struct run *run);
/* Through the world, the detectors and the correlator. */
int run_simulate(struct run *run, struct error *error);
/* Disturbances that an earlier run kept, through the correlator alone. */
int run_again(struct run *run, FILE *kept, struct error *error);
/* `event`: whose doing it is; run->events for none. */
void run_print(const struct run *run, const struct coincidence *coincidence, size_t event);

#endif
