/* Simulated boards, each at the end of a pseudo-terminal, and the clock that all programs of the
 * test share (common/clock_page.h): time goes on only as far as the boards have come, so a busy
 * machine makes a test longer and nothing else. What a board says is checked on its way. Must never
 * listen to anything but its standard input. Started by tests/system/boards.py.
 * usage: board_live PAGE HURRY then for each board IMAGE CHIP LINK TRUTH RATE_PPM
 * Commands, one a line, after the board's number: pulse IN_MS LENGTH_MS, edge 0|1, spike 0|1 (1: of
 * a sample), magnetometer 0|1 (0: taken off its bus), drop BYTES, flip BYTES, unplug, plug; or end.
 * What was done when is said on standard output, in the time of the clock's page: "did NS WORDS",
 * and "second N". */
#include <fcntl.h>
#include <poll.h>
#include <pty.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include "common/clock.h"
#include "common/clock_page.h"
#include "tests/board/truth.h"

#define BOARDS_MAX 4
#define STEP_NS INT64_C(500000)
#define SHORT_FRAME                                                                                \
    40u /* only the antenna's samples make longer ones: what is damaged are samples */
#define HEARD_MOST 512u /* of the host's bytes, until the chip takes them */

struct live;

struct board {
    struct truth truth;
    struct live *live;
    const char *link;
    int master; /* -1: unplugged */
    FILE *samples;
    double ns_a_cycle;
    uint64_t told; /* conversions looked through */
    unsigned drop;
    unsigned flip;
    unsigned place;    /* of a byte in its frame */
    uint8_t out[1024]; /* of this step, to the host */
    size_t out_length;
    unsigned long unheard;
};

struct live {
    struct board boards[BOARDS_MAX];
    int count;
    struct clock_page *page;
    int64_t origin_ns; /* of the page's clock: cycle 0 of every board */
    int64_t now_ns;    /* as far as the boards have come */
    int64_t real_ns;   /* what the page's real clock is ahead of its other */
};

static int64_t time_of(const struct board *board, uint64_t cycle)
{
    return board->live->origin_ns + board->live->real_ns +
           (int64_t)((double)cycle * board->ns_a_cycle);
}

static uint64_t cycle_of(const struct board *board, int64_t at_ns)
{
    return (uint64_t)((double)(at_ns - board->live->origin_ns) / board->ns_a_cycle);
}

static void on_byte(void *context, uint8_t byte)
{
    struct board *board = context;
    truth_take(&board->truth, byte);
    if (board->drop > 0) {
        board->drop--;
        return;
    }
    board->place = byte ? board->place + 1 : 0;
    if (board->flip > 0 && board->place > SHORT_FRAME) {
        board->flip--;
        byte ^= 0x10;
    }
    if (board->out_length < sizeof board->out) {
        board->out[board->out_length++] = byte;
    }
}

static int plug(struct board *board)
{
    int slave;
    char name[128];
    struct termios raw;
    memset(&raw, 0, sizeof raw);
    cfmakeraw(&raw);
    if (openpty(&board->master, &slave, name, &raw, NULL)) {
        return -1;
    }
    fcntl(board->master, F_SETFL, O_NONBLOCK);
    close(slave);
    unlink(board->link);
    return symlink(name, board->link);
}

static void unplug(struct board *board)
{
    close(board->master);
    board->master = -1;
    unlink(board->link);
}

/* Appends the samples among what was converted since the last call. */
static void tell_samples(struct board *board)
{
    const struct bench *bench = &board->truth.bench;
    for (; board->told < bench->conversions; board->told++) {
        const struct bench_conversion *one = &bench->log[board->told % BENCH_LOG];
        if (one->sample) {
            fprintf(board->samples, "%lld %u\n", (long long)time_of(board, one->cycle),
                    one->counts);
        }
    }
}

/* ---- commands ---- */

static bool obey_board(struct board *board, const char *words)
{
    struct bench *bench = &board->truth.bench;
    long long in_ms;
    unsigned number;
    if (sscanf(words, "pulse %lld %u", &in_ms, &number) == 2) {
        bench->pulse_from = cycle_of(board, board->live->now_ns + in_ms * 1000000);
        bench->pulse_to = bench->pulse_from + (uint64_t)number * MILLISECOND;
    } else if (sscanf(words, "edge %u", &number) == 1) {
        bench_set_motion(bench, number != 0);
    } else if (sscanf(words, "spike %u", &number) == 1) {
        *(number ? &bench->spike_sample : &bench->spike_between) = true;
    } else if (sscanf(words, "magnetometer %u", &number) == 1) {
        bench->magnetometer_gone = number == 0;
    } else if (sscanf(words, "drop %u", &number) == 1) {
        board->drop = number;
    } else if (sscanf(words, "flip %u", &number) == 1) {
        board->flip = number;
    } else if (strcmp(words, "unplug") == 0 && board->master >= 0) {
        unplug(board);
    } else if (strcmp(words, "plug") == 0 && board->master < 0) {
        return plug(board) == 0;
    } else {
        return false;
    }
    return true;
}

static bool obey(struct live *live, const char *line)
{
    int number = 0;
    int used = 0;
    if (sscanf(line, "%d %n", &number, &used) != 1 || number < 0 || number >= live->count ||
        !obey_board(&live->boards[number], line + used)) {
        return false;
    }
    printf("did %lld %s\n", (long long)(live->now_ns + live->real_ns), line);
    return true;
}

/* false: to end; and so does what is no command. */
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

/* ---- the lines ---- */

/* What the host sent before the boards' present. */
static void hear_host(struct board *board)
{
    uint8_t byte;
    for (unsigned i = 0; board->master >= 0 && board->truth.bench.xon && i < HEARD_MOST; i++) {
        if (read(board->master, &byte, 1) != 1) {
            return;
        }
        bench_send(&board->truth.bench, byte);
    }
}

/* Time waits for a host that does not read; where nobody has the line open, nobody hears. */
static void speak(struct board *board)
{
    size_t put = 0;
    while (board->master >= 0 && put < board->out_length) {
        struct pollfd line = {.fd = board->master, .events = POLLOUT};
        (void)poll(&line, 1, 100);
        if (line.revents & POLLHUP) {
            board->unheard += board->out_length - put;
            break;
        }
        ssize_t wrote = write(board->master, board->out + put, board->out_length - put);
        put += wrote > 0 ? (size_t)wrote : 0;
    }
    board->out_length = 0;
}

/* ---- time ---- */

static void wait_for_clock(const struct live *live)
{
    int64_t left_ns = live->now_ns - clock_page_mono_ns(live->page);
    while (left_ns > 0) {
        struct timespec pause = {.tv_nsec = left_ns / clock_page_hurry(live->page) + 1};
        nanosleep(&pause, NULL);
        left_ns = live->now_ns - clock_page_mono_ns(live->page);
    }
}

/* Half a millisecond. What the host sent until now is in the chips before its clock goes on; what
 * they say is sent when its clock is there: nothing is heard before it was said. */
static bool step(struct live *live)
{
    for (int i = 0; i < live->count; i++) {
        hear_host(&live->boards[i]);
    }
    live->now_ns += STEP_NS;
    clock_page_allow(live->page, live->now_ns);
    for (int i = 0; i < live->count; i++) {
        struct board *board = &live->boards[i];
        if (!bench_run(&board->truth.bench, cycle_of(board, live->now_ns))) {
            fputs("the firmware crashed\n", stderr);
            return false;
        }
        tell_samples(board);
    }
    wait_for_clock(live);
    for (int i = 0; i < live->count; i++) {
        speak(&live->boards[i]);
    }
    return true;
}

static void run(struct live *live)
{
    int64_t second = 0;
    while (hear_commands(live) && step(live)) {
        if ((live->now_ns - live->origin_ns) / NS_PER_S > second) {
            printf("second %lld\n", (long long)++second);
        }
    }
}

/* ---- begin and end ---- */

static int begin_board(struct live *live, char **arguments)
{
    struct board *board = &live->boards[live->count++];
    struct bench *bench = &board->truth.bench;
    truth_begin(&board->truth);
    board->live = live;
    board->link = arguments[2];
    board->samples = fopen(arguments[3], "w");
    board->ns_a_cycle = 1e9 / BENCH_HZ / (1.0 + 1e-6 * atof(arguments[4]));
    bench->on_byte = on_byte;
    bench->context = board;
    bench->xon = true;
    bench->sixteenths = 300;
    bench->pot_mv = 100;
    bench->hum_mv = 40.0;
    if (!board->samples || plug(board) || bench_start(bench, arguments[0], arguments[1])) {
        perror(arguments[2]);
        return -1;
    }
    return 0;
}

static int end_boards(struct live *live)
{
    int faults = 0;
    for (int i = 0; i < live->count; i++) {
        struct board *board = &live->boards[i];
        truth_print(&board->truth, board->link);
        printf("  %d faults, %lu bytes that nobody heard\n", board->truth.faults, board->unheard);
        faults += board->truth.faults;
        fclose(board->samples);
        bench_free(&board->truth.bench);
    }
    return faults;
}

int main(int argc, char **argv)
{
    static struct live live;
    struct error error;
    if (argc < 8 || (argc - 3) % 5 != 0 || (argc - 3) / 5 > BOARDS_MAX) {
        fputs("usage: board_live PAGE HURRY then for each board IMAGE CHIP LINK TRUTH RATE_PPM\n",
              stderr);
        return 2;
    }
    setvbuf(stdout, NULL, _IOLBF, 0);
    (void)prctl(PR_SET_TIMERSLACK, 1000L);
    if (clock_page_make(argv[1], atoi(argv[2]), &live.page, &error)) {
        fprintf(stderr, "%s\n", error.text);
        return 1;
    }
    live.origin_ns = live.now_ns = clock_page_mono_ns(live.page);
    live.real_ns = clock_page_real_ns(live.page) - live.origin_ns;
    for (int i = 3; i < argc; i += 5) {
        if (begin_board(&live, argv + i)) {
            return 1;
        }
    }
    run(&live);
    return end_boards(&live) ? 1 : 0;
}
