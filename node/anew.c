/* One variable of the environment: three words and a sentence.
 * Must never believe a length that no night has. Called by main.c and node.c. */
#include "node/anew.h"

#include <errno.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define NAME "ROOMWAKE_NODE_ANEW"
#define AWAY_MOST_NS INT64_C(8640000000000000) /* 100 days */

void anew_take(struct anew *anew)
{
    const char *text = getenv(NAME);
    int used = 0;
    *anew = (struct anew){0};
    if (text &&
        sscanf(text, "%" SCNd64 " %" SCNd64 " %n", &anew->away_ns, &anew->since_ns, &used) == 2 &&
        used > 0 && anew->away_ns >= 0 && anew->away_ns < AWAY_MOST_NS && anew->since_ns >= 0) {
        (void)snprintf(anew->why, sizeof anew->why, "%s", text + used);
    } else {
        *anew = (struct anew){0};
    }
    (void)unsetenv(NAME);
}

int64_t anew_away_ns(const struct anew *anew, int64_t now_ns)
{
    int64_t since_ns = anew->since_ns > 0 ? now_ns - anew->since_ns : 0;
    int64_t away_ns = anew->away_ns > 0 ? anew->away_ns : since_ns;
    return away_ns > 0 && away_ns < AWAY_MOST_NS ? away_ns : 0;
}

int anew_start(const struct anew *anew, char **argv, struct error *error)
{
    char text[HOLE_REASON_SIZE + 48];
    (void)snprintf(text, sizeof text, "%" PRId64 " %" PRId64 " %s", anew->away_ns, anew->since_ns,
                   anew->why);
    if (setenv(NAME, text, 1) == 0) {
        (void)execv("/proc/self/exe", argv);
    }
    return error_set(error, ERROR_IO, "starting anew: %s", strerror(errno));
}
