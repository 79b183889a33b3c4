/* A simulated board at the end of a pseudo-terminal, paced by the clock: what a node is plugged
 * into. Its crystal may be off; bytes may be lost; it may be unplugged. Must never listen to
 * anything but its standard input. Started by tests/system/test_board.py.
 * usage: board_live IMAGE CHIP LINK TRUTH RATE_PPM
 * Commands, one a line: pulse RAW_NS LENGTH_MS, edge 0|1, drop BYTES, flip BYTES, unplug, plug,
 * end. */
#include <fcntl.h>
#include <poll.h>
#include <pty.h>
#include <sched.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

#include "common/clock.h"
#include "tests/board/bench.h"

#define STEP_CYCLES ((uint64_t)BENCH_HZ / 2000) /* half a millisecond */
#define SAMPLE_CYCLES ((uint64_t)BENCH_HZ / 1000)

struct live {
    struct bench bench;
    struct clock_source clock;
    const char *link;
    int master; /* -1: unplugged */
    FILE *truth;
    int64_t origin_ns; /* node time of cycle 0 */
    double ns_a_cycle;
    uint64_t told;        /* conversions looked through */
    uint64_t last_sample; /* cycle */
    unsigned drop;
    unsigned flip;
    uint8_t waiting[4096]; /* from the host, until the chip takes it */
    size_t waiting_length;
    unsigned long refused;
    int64_t lag_ns; /* the most that it was behind the clock */
};

static int64_t now_ns(const struct live *live)
{
    return live->clock.mono_ns(live->clock.context);
}

static int64_t time_of(const struct live *live, uint64_t cycle)
{
    return live->origin_ns + (int64_t)((double)cycle * live->ns_a_cycle);
}

static void on_byte(void *context, uint8_t byte)
{
    struct live *live = context;
    if (live->drop > 0) {
        live->drop--;
        return;
    }
    if (live->flip > 0) {
        live->flip--;
        byte ^= 0x10;
    }
    if (live->master >= 0 && write(live->master, &byte, 1) != 1) {
        live->refused++;
    }
}

static int plug(struct live *live)
{
    int slave;
    char name[128];
    struct termios raw;
    memset(&raw, 0, sizeof raw);
    cfmakeraw(&raw);
    if (openpty(&live->master, &slave, name, &raw, NULL)) {
        return -1;
    }
    fcntl(live->master, F_SETFL, O_NONBLOCK);
    close(slave);
    unlink(live->link);
    return symlink(name, live->link);
}

static void unplug(struct live *live)
{
    close(live->master);
    live->master = -1;
    unlink(live->link);
}

/* Appends the samples among what was converted since the last call. */
static void tell_truth(struct live *live)
{
    for (; live->told < live->bench.conversions; live->told++) {
        const struct bench_conversion *one = &live->bench.log[live->told % BENCH_LOG];
        if (live->told > 0 && one->cycle - live->last_sample < SAMPLE_CYCLES - SAMPLE_CYCLES / 50) {
            continue;
        }
        live->last_sample = one->cycle;
        fprintf(live->truth, "%lld %u\n", (long long)time_of(live, one->cycle), one->counts);
    }
}

static bool obey(struct live *live, const char *line)
{
    long long at_ns;
    unsigned number;
    if (sscanf(line, "pulse %lld %u", &at_ns, &number) == 2) {
        live->bench.pulse_from = (uint64_t)((double)(at_ns - live->origin_ns) / live->ns_a_cycle);
        live->bench.pulse_to = live->bench.pulse_from + (uint64_t)number * SAMPLE_CYCLES;
    } else if (sscanf(line, "edge %u", &number) == 1) {
        bench_set_motion(&live->bench, number != 0);
    } else if (sscanf(line, "drop %u", &number) == 1) {
        live->drop = number;
    } else if (sscanf(line, "flip %u", &number) == 1) {
        live->flip = number;
    } else if (strncmp(line, "unplug", 6) == 0) {
        unplug(live);
    } else if (strncmp(line, "plug", 4) == 0) {
        return plug(live) == 0;
    }
    return strncmp(line, "end", 3) != 0;
}

static bool hear_commands(struct live *live)
{
    struct pollfd in = {.fd = STDIN_FILENO, .events = POLLIN};
    char line[128];
    while (poll(&in, 1, 0) > 0) {
        size_t length = 0;
        char byte = 0;
        while (length + 1 < sizeof line && read(STDIN_FILENO, &byte, 1) == 1 && byte != '\n') {
            line[length++] = byte;
        }
        line[length] = '\0';
        if (byte != '\n' || !obey(live, line)) {
            return false;
        }
    }
    return true;
}

static void hear_host(struct live *live)
{
    uint8_t byte;
    while (live->master >= 0 && live->bench.xon && read(live->master, &byte, 1) == 1) {
        bench_send(&live->bench, byte);
    }
}

static void wait_until(struct live *live, int64_t when_ns)
{
    int64_t left = when_ns - now_ns(live);
    live->lag_ns = -left > live->lag_ns ? -left : live->lag_ns;
    if (left > 0) {
        usleep((useconds_t)(left / 1000) + 1);
    }
}

int main(int argc, char **argv)
{
    static struct live live;
    if (argc != 6) {
        fputs("usage: board_live IMAGE CHIP LINK TRUTH RATE_PPM\n", stderr);
        return 2;
    }
    live.clock = clock_system();
    live.link = argv[3];
    live.truth = fopen(argv[4], "w");
    live.ns_a_cycle = 1e9 / BENCH_HZ / (1.0 + 1e-6 * atof(argv[5]));
    live.bench.on_byte = on_byte;
    live.bench.context = &live;
    live.bench.xon = true;
    live.bench.sixteenths = 300;
    live.bench.pot_mv = 100;
    live.bench.hum_mv = 40.0;
    if (!live.truth || plug(&live) || bench_start(&live.bench, argv[1], argv[2])) {
        perror("board_live");
        return 1;
    }
    /* A real board never waits for the machine it is plugged into; where that is not allowed, the
     * lag that is told says how far this one is from it. */
    const struct sched_param urgent = {.sched_priority = 5};
    (void)sched_setscheduler(0, SCHED_FIFO, &urgent);
    live.origin_ns = now_ns(&live);
    while (hear_commands(&live)) {
        hear_host(&live);
        if (!bench_run(&live.bench, live.bench.avr->cycle + STEP_CYCLES)) {
            fputs("the firmware crashed\n", stderr);
            return 1;
        }
        tell_truth(&live);
        wait_until(&live, time_of(&live, live.bench.avr->cycle));
    }
    fclose(live.truth);
    fprintf(stderr, "%lu bytes found no room; behind the clock by %.1f ms at the most\n",
            live.refused, (double)live.lag_ns / 1e6);
    bench_free(&live.bench);
    return 0;
}
