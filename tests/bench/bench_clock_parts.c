/* TAP frames through a queue with delay, jitter and loss.
 * Must never reorder what one way carries. Called by bench_clock.c. */
#include "bench_clock.h"

#include <fcntl.h>
#include <linux/if.h>
#include <linux/if_tun.h>
#include <math.h>
#include <poll.h>
#include <sched.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "common/clock.h"

#define QUEUE 1024
#define FRAME_MAX 2048

struct parcel {
    int64_t due_ns;
    size_t length;
    uint8_t bytes[FRAME_MAX];
};

struct way_state {
    const struct wire_way *way;
    int from, to;
    struct parcel queue[QUEUE];
    size_t first, count;
    int64_t last_due_ns;
    int64_t second;
    bool dozing;
};

int wire_end_open(struct wire_end *end, const char *cidr)
{
    char command[256];
    struct ifreq request = {.ifr_flags = IFF_TAP | IFF_NO_PI};
    (void)snprintf(request.ifr_name, sizeof request.ifr_name, "w0");
    if (unshare(CLONE_NEWNET)) {
        return -1;
    }
    end->ns = open("/proc/self/ns/net", O_RDONLY | O_CLOEXEC);
    end->tap = open("/dev/net/tun", O_RDWR | O_NONBLOCK | O_CLOEXEC);
    if (end->ns < 0 || end->tap < 0 || ioctl(end->tap, TUNSETIFF, &request)) {
        return -1;
    }
    (void)snprintf(command, sizeof command,
                   "ip link set lo up && ip addr add %s dev w0 && ip link set w0 up", cidr);
    return system(command) == 0 ? 0 : -1;
}

static double uniform(void)
{
    static uint64_t state = UINT64_C(0x9e3779b97f4a7c15);
    state ^= state >> 12;
    state ^= state << 25;
    state ^= state >> 27;
    return ((double)((state * UINT64_C(2685821657736338717)) >> 11) + 0.5) / 9007199254740992.0;
}

static void take(struct way_state *state, int64_t now_ns)
{
    struct parcel spare;
    for (;;) {
        ssize_t got = read(state->from, spare.bytes, sizeof spare.bytes);
        if (got <= 0) {
            return;
        }
        if (now_ns / NS_PER_S != state->second) {
            state->second = now_ns / NS_PER_S;
            state->dozing = uniform() < state->way->doze_share;
        }
        double extra = -(double)state->way->jitter_ns * log(uniform());
        extra += state->dozing ? uniform() * (double)state->way->doze_ns : 0;
        if (uniform() < state->way->loss || state->count == QUEUE) {
            continue;
        }
        int64_t due_ns = now_ns + state->way->base_ns + (int64_t)extra;
        due_ns = due_ns > state->last_due_ns ? due_ns : state->last_due_ns;
        struct parcel *parcel = &state->queue[(state->first + state->count++) % QUEUE];
        parcel->due_ns = state->last_due_ns = due_ns;
        parcel->length = (size_t)got;
        memcpy(parcel->bytes, spare.bytes, (size_t)got);
    }
}

static void give(struct way_state *state, int64_t now_ns)
{
    while (state->count > 0 && state->queue[state->first].due_ns <= now_ns) {
        const struct parcel *parcel = &state->queue[state->first];
        ssize_t put = write(state->to, parcel->bytes, parcel->length);
        (void)put; /* a full interface is one more loss */
        state->first = (state->first + 1) % QUEUE;
        state->count--;
    }
}

void wire_run(const struct wire_end ends[2], const struct wire_way ways[2], int64_t stop_ns)
{
    static struct way_state states[2];
    struct clock_source clock = clock_system();
    for (int i = 0; i < 2; i++) {
        memset(&states[i], 0, sizeof states[i]);
        states[i].way = &ways[i];
        states[i].from = ends[i].tap;
        states[i].to = ends[1 - i].tap;
    }
    int64_t now_ns = clock.mono_ns(clock.context);
    while (now_ns < stop_ns) {
        int64_t next_ns = now_ns + 20000000;
        for (int i = 0; i < 2; i++) {
            if (states[i].count > 0 && states[i].queue[states[i].first].due_ns < next_ns) {
                next_ns = states[i].queue[states[i].first].due_ns;
            }
        }
        struct pollfd readable[2] = {{.fd = ends[0].tap, .events = POLLIN},
                                     {.fd = ends[1].tap, .events = POLLIN}};
        int64_t wait_ns = next_ns > now_ns ? next_ns - now_ns : 0;
        struct timespec wait = {.tv_nsec = (long)wait_ns};
        (void)ppoll(readable, 2, &wait, NULL);
        now_ns = clock.mono_ns(clock.context);
        for (int i = 0; i < 2; i++) {
            take(&states[i], now_ns);
            give(&states[i], now_ns);
        }
    }
}
