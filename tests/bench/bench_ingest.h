/* The parts of bench_ingest: made frames, a publisher that keeps to the contract's window, and the
 * two subscribers that it is compared with. Must never be included by product code. */
#ifndef ROOMWAKE_TESTS_BENCH_BENCH_INGEST_H
#define ROOMWAKE_TESTS_BENCH_BENCH_INGEST_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define BENCH_CHANNELS 5
#define BENCH_RATE_HZ 8000
#define BENCH_NODES_MAX 128
#define BENCH_PATH_SIZE 256
#define BENCH_BOOT UINT64_C(0x1234)

struct bench_channel {
    const char *name;
    const char *unit;
    const char *step;
};
extern const struct bench_channel bench_channels[BENCH_CHANNELS];

struct bench_message {
    uint8_t *bytes;
    size_t length;
    uint32_t node;
    uint64_t seq;
};

struct bench {
    char folder[BENCH_PATH_SIZE];
    int port;
    const char *site; /* in the topics */
    int seconds;
    size_t node_count;
    int block_samples;              /* a channel and message */
    struct bench_message *messages; /* in order of time */
    size_t message_count;
    uint64_t sample_count;
    uint64_t byte_count;
};

/* Fills the messages: noise of sigma 4 counts with a slow walk and mains hum. */
int bench_encode(struct bench *bench);
void bench_free(struct bench *bench);
/* Publishes all, QoS 1, at most a window beyond what each node's `stored` says; returns when all
 * are stored. *start_ns: when the first left. */
int bench_publish(struct bench *bench, int64_t *start_ns);
/* Subscribes until SIGTERM, tells `stored` for each message taken; rows: decodes each and stores
 * one row a sample, `stored` after each commit. Returns the exit code. */
int bench_subscribe(const struct bench *bench, bool rows);

#endif
