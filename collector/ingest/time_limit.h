/* How often one address may ask for the time: a bounded table, one number an address. Pure.
 * Must never grow, whoever asks; a node's bursts stay far below the limit. Used by the time server.
 */
#ifndef ROOMWAKE_COLLECTOR_INGEST_TIME_LIMIT_H
#define ROOMWAKE_COLLECTOR_INGEST_TIME_LIMIT_H

#include <stdbool.h>
#include <stdint.h>
#include <sys/socket.h>

#define TIME_LIMIT_ADDRESSES 1024
/* A node asks 16 questions at once at most, and at most once a second. */
#define TIME_LIMIT_BURST 128
#define TIME_LIMIT_EVERY_NS INT64_C(31250000)

struct time_limit_address {
    uint8_t address[16]; /* IPv6, or IPv4 mapped into it */
    int64_t due_ns;      /* when all that it asked would have been due, evenly spaced */
    int64_t told_ns;     /* when it was last told to slow down */
    bool used;
    bool told;
};

/* Caller-owned; start from {0}. */
struct time_limit {
    struct time_limit_address table[TIME_LIMIT_ADDRESSES];
};

/* TIME_TELL: refuse, and say so; at most once a second an address. TIME_IGNORE: refuse in silence.
 */
enum time_verdict { TIME_ANSWER, TIME_TELL, TIME_IGNORE };

/* now_ns must never step. What comes from this machine itself (127.0.0.1 and ::1) is always
 * answered: a whole simulated house may sit there. An IPv6 network of 64 bits counts as one. */
enum time_verdict time_limit_ask(struct time_limit *limit, const struct sockaddr *from,
                                 int64_t now_ns);

#endif
