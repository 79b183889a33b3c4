/* One log line per fault and stretch of time, with how many were kept back since the last.
 * Must never log from another thread than the loop's. Used by the intake and its parts. */
#ifndef ROOMWAKE_COLLECTOR_INGEST_SAID_H
#define ROOMWAKE_COLLECTOR_INGEST_SAID_H

#include <stdbool.h>
#include <stdint.h>

#define SAID_EVERY_NS INT64_C(10000000000)

/* Start from {0}. */
struct said {
    bool ever;
    int64_t last_ns;
    uint64_t kept_back;
};

/* Whether to say it now; *kept_back (may be NULL) is how often it was not said since the last time.
 */
bool said_now(struct said *said, int64_t now_ns, uint64_t *kept_back);
/* Writes a warning "where: why" unless one was written less than SAID_EVERY_NS ago. */
void said_warn(struct said *said, int64_t now_ns, const char *where, const char *why);

#endif
