/* A wire of the benchmark's own between two network namespaces: delay, jitter and loss a direction.
 * Must never touch an interface of the machine's own namespace. Used by bench_clock.c. */
#ifndef ROOMWAKE_TESTS_BENCH_CLOCK_H
#define ROOMWAKE_TESTS_BENCH_CLOCK_H

#include <stdint.h>

struct wire_way {
    int64_t base_ns;
    int64_t jitter_ns; /* mean of an exponential extra */
    int64_t doze_ns;   /* evenly up to this in addition, while dozing */
    double doze_share; /* of seconds */
    double loss;
};

struct wire_end {
    int tap;
    int ns; /* its network namespace */
};

/* A new namespace with one interface "w0" of this address (CIDR); the process stays in it. -1 with
 * errno where the right is missing. */
int wire_end_open(struct wire_end *end, const char *cidr);
/* Carries frames until `stop_ns` of CLOCK_MONOTONIC_RAW. ways[0] leads from ends[0] to ends[1]. */
void wire_run(const struct wire_end ends[2], const struct wire_way ways[2], int64_t stop_ns);

/* Prints how the bound does over simulated links. */
void bench_clock_links(void);

#endif
