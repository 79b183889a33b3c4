/* Keeps a fault that repeats a hundred times a second to one log line in ten seconds.
 * Must never lose the count of what it kept back.
 * Called by the intake and its parts. */
#include "collector/ingest/said.h"

#include <inttypes.h>
#include <stddef.h>

#include "common/log.h"

bool said_now(struct said *said, int64_t now_ns, uint64_t *kept_back)
{
    if (said->ever && now_ns - said->last_ns < SAID_EVERY_NS) {
        said->kept_back++;
        return false;
    }
    if (kept_back) {
        *kept_back = said->kept_back;
    }
    *said = (struct said){.ever = true, .last_ns = now_ns};
    return true;
}

void said_warn(struct said *said, int64_t now_ns, const char *where, const char *why)
{
    uint64_t kept_back = 0;
    if (!said_now(said, now_ns, &kept_back)) {
        return;
    }
    if (kept_back > 0) {
        log_warning("%s: %s (and %" PRIu64 " more like it since the last time)", where, why,
                    kept_back);
    } else {
        log_warning("%s: %s", where, why);
    }
}
