/* Bursts: look up, send, listen, pause. A state, one timer and one socket.
 * Must never count a late answer. Called by node.c and by libuv. */
#include "node/timekeeper.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "common/log.h"
#include "node/pace.h"
#include "node/time_burst.h"
#include "node/time_socket.h"

#define SEND_EVERY_MS 30
#define LISTEN_MS 1000
#define QUICK_PAUSE_NS INT64_C(500000000)
#define QUICK_BURSTS 3
#define SLOW_MOST 16
#define LOOK_UP_AGAIN_NS INT64_C(2000000000)
/* As long as the base station may be away without the rate being forgotten. */
#define FIT_SPAN_NS INT64_C(7200000000000)
#define CRYSTAL_PPB 100000 /* a board's crystal is within 100 ppm: common practice, no source */

enum state { IDLE, LOOKING_UP, SENDING, LISTENING, PAUSING, STOPPED };

struct timekeeper {
    struct timekeeper_setup setup;
    char host[256];
    enum state state;
    uv_timer_t timer;
    uv_getaddrinfo_t look_up;
    struct time_socket socket;
    struct time_burst burst;
    uint64_t clock_set; /* the server's word on when its clock was last set; 0: none yet */
    int asked;          /* of this burst, also those that could not leave */
    int bursts;         /* that brought an exchange */
    int silent;         /* bursts in a row that brought none */
    int slow;           /* pauses are so many times as long, since the server asked for it */
    int64_t due_ns;
    struct kernel_clock kernel; /* read NULL: a time server is asked */
    struct kernel_reading reading;
    struct kernel_leaps leaps;
    struct clock_fitter fitter;
    struct clock_fit fit;
    int64_t last_ns;
    int64_t round_trip_ns;
};

static void on_timer(uv_timer_t *timer);

static int64_t read_ns(const struct timekeeper *timekeeper)
{
    return timekeeper->setup.clock.mono_ns(timekeeper->setup.clock.context);
}

static void wait_ms(struct timekeeper *timekeeper, enum state state, uint64_t ms)
{
    timekeeper->state = state;
    uv_update_time(timekeeper->setup.loop);
    uv_timer_start(&timekeeper->timer, on_timer, ms, 0);
}

static void pause_for(struct timekeeper *timekeeper, int64_t pause_ns)
{
    int64_t now_ns = read_ns(timekeeper);
    int64_t due_ns = timekeeper->due_ns + pause_ns;
    timekeeper->due_ns = due_ns > now_ns ? due_ns : now_ns + pause_ns;
    wait_ms(timekeeper, PAUSING,
            pace_delay_ms(&timekeeper->setup.clock, now_ns, timekeeper->due_ns));
}

static void finish_burst(struct timekeeper *timekeeper);

/* ---- answers ---- */

static void on_datagram(void *context, const uint8_t *bytes, size_t length, int64_t came_ns)
{
    struct timekeeper *timekeeper = context;
    int64_t near_ns = timekeeper->setup.clock.real_ns(timekeeper->setup.clock.context);
    (void)time_burst_answer(&timekeeper->burst, bytes, length, came_ns, near_ns);
}

static void on_taken(void *context)
{
    struct timekeeper *timekeeper = context;
    if (timekeeper->state == LISTENING && timekeeper->burst.answered == timekeeper->burst.sent) {
        finish_burst(timekeeper);
    }
}

/* ---- bursts ---- */

static void send_request(struct timekeeper *timekeeper)
{
    uint8_t bytes[NTP_PACKET_SIZE];
    uint64_t cookie;
    if (uv_random(NULL, NULL, &cookie, sizeof cookie, 0, NULL)) {
        log_warning("time: no random number for the question");
        return;
    }
    time_burst_ask(&timekeeper->burst, cookie, bytes);
    int64_t t1_ns;
    time_socket_send(&timekeeper->socket, bytes, sizeof bytes, &t1_ns);
    time_burst_set_sent(&timekeeper->burst, t1_ns);
}

static void step_burst(struct timekeeper *timekeeper)
{
    if (timekeeper->asked++ >= timekeeper->setup.burst_size) {
        if (timekeeper->burst.answered == timekeeper->burst.sent) {
            finish_burst(timekeeper);
        } else {
            wait_ms(timekeeper, LISTENING, (uint64_t)timekeeper->setup.listen_ms);
        }
        return;
    }
    if (time_socket_open(&timekeeper->socket) == 0) {
        send_request(timekeeper);
        wait_ms(timekeeper, SENDING, SEND_EVERY_MS);
    } else {
        finish_burst(timekeeper);
    }
}

static void begin_burst(struct timekeeper *timekeeper)
{
    timekeeper->burst = (struct time_burst){0};
    timekeeper->asked = 0;
    step_burst(timekeeper);
}

/* What was learnt of a clock that was set anew since says nothing about it. */
static void forget_if_set(struct timekeeper *timekeeper)
{
    uint64_t clock_set = timekeeper->burst.clock_set;
    if (clock_set != 0 && timekeeper->clock_set != 0 && clock_set != timekeeper->clock_set) {
        log_warning("time: %s set its clock anew: learning it again", timekeeper->host);
        clock_fitter_init(&timekeeper->fitter, FIT_SPAN_NS, CRYSTAL_PPB);
    }
    timekeeper->clock_set = clock_set != 0 ? clock_set : timekeeper->clock_set;
}

static void take_burst(struct timekeeper *timekeeper)
{
    int64_t now_ns = read_ns(timekeeper);
    forget_if_set(timekeeper);
    if (!clock_fitter_add_burst(&timekeeper->fitter, timekeeper->burst.exchanges,
                                (size_t)timekeeper->burst.answered)) {
        return;
    }
    timekeeper->round_trip_ns = time_burst_round_trip_ns(&timekeeper->burst);
    if (timekeeper->bursts == 0 || timekeeper->silent > 0) {
        log_info("time: in touch with %s", timekeeper->host);
    }
    timekeeper->bursts++;
    timekeeper->silent = 0;
    timekeeper->last_ns = now_ns;
    clock_fitter_line(&timekeeper->fitter, now_ns, &timekeeper->fit);
    if (timekeeper->kernel.read) {
        kernel_clock_widen(&timekeeper->reading, &timekeeper->fit);
        timekeeper->fit.utc = true;
    }
    if (timekeeper->setup.on_fit && timekeeper->fit.known) {
        timekeeper->setup.on_fit(timekeeper->setup.context, &timekeeper->fit);
    }
}

static void finish_burst(struct timekeeper *timekeeper)
{
    if (timekeeper->burst.answered > 0) {
        take_burst(timekeeper);
    } else if (++timekeeper->silent == 3) {
        log_warning(timekeeper->kernel.read ? "time: %s says that its clock is not disciplined"
                                            : "time: no answer from %s",
                    timekeeper->host);
    }
    bool refused = timekeeper->burst.refused;
    if (refused && timekeeper->slow == 1) {
        log_warning("time: %s asks for fewer questions", timekeeper->host);
    }
    timekeeper->slow = !refused                       ? 1
                       : timekeeper->slow < SLOW_MOST ? 2 * timekeeper->slow
                                                      : SLOW_MOST;
    bool quick = timekeeper->bursts < QUICK_BURSTS && !refused;
    if (quick) {
        timekeeper->due_ns = read_ns(timekeeper);
    }
    pause_for(timekeeper, quick ? timekeeper->setup.quick_every_ns
                                : timekeeper->setup.burst_every_ns * timekeeper->slow);
}

/* ---- the kernel instead of a server ---- */

static void read_kernel(struct timekeeper *timekeeper)
{
    struct time_burst *burst = &timekeeper->burst;
    *burst = (struct time_burst){0};
    burst->answered =
        kernel_clock_burst(&timekeeper->kernel, &timekeeper->setup.clock, &timekeeper->leaps,
                           burst->exchanges, timekeeper->setup.burst_size, &timekeeper->reading);
    finish_burst(timekeeper);
}

/* ---- the server's name ---- */

static void on_looked_up(uv_getaddrinfo_t *request, int status, struct addrinfo *addresses)
{
    struct timekeeper *timekeeper = request->data;
    if (timekeeper->state != STOPPED) {
        if (status < 0 || !addresses || addresses->ai_addrlen > sizeof timekeeper->socket.server) {
            log_warning("time: %s: %s", timekeeper->host,
                        status < 0 ? uv_strerror(status) : "no address");
            pause_for(timekeeper, LOOK_UP_AGAIN_NS);
        } else {
            memcpy(&timekeeper->socket.server, addresses->ai_addr, addresses->ai_addrlen);
            timekeeper->socket.server_length = addresses->ai_addrlen;
            begin_burst(timekeeper);
        }
    }
    uv_freeaddrinfo(addresses);
}

/* The name is looked up anew while nobody answers: the base station may have moved. */
static void begin(struct timekeeper *timekeeper)
{
    if (timekeeper->kernel.read) {
        read_kernel(timekeeper);
        return;
    }
    if (timekeeper->socket.server_length > 0 && timekeeper->silent < 3) {
        begin_burst(timekeeper);
        return;
    }
    time_socket_close(&timekeeper->socket);
    timekeeper->state = LOOKING_UP;
    char port[8];
    (void)snprintf(port, sizeof port, "%d", timekeeper->setup.port);
    struct addrinfo hints = {.ai_socktype = SOCK_DGRAM};
    if (uv_getaddrinfo(timekeeper->setup.loop, &timekeeper->look_up, on_looked_up, timekeeper->host,
                       port, &hints) < 0) {
        pause_for(timekeeper, LOOK_UP_AGAIN_NS);
    }
}

static void on_timer(uv_timer_t *timer)
{
    struct timekeeper *timekeeper = timer->data;
    switch (timekeeper->state) {
    case PAUSING:
        begin(timekeeper);
        break;
    case SENDING:
        step_burst(timekeeper);
        break;
    case LISTENING:
        finish_burst(timekeeper);
        break;
    case IDLE:
    case LOOKING_UP:
    case STOPPED:
        break;
    }
}

/* ---- what others call ---- */

int timekeeper_new(const struct timekeeper_setup *setup, struct timekeeper **out,
                   struct error *error)
{
    struct timekeeper *timekeeper = calloc(1, sizeof *timekeeper);
    if (!timekeeper || (!setup->kernel && strlen(setup->host) >= sizeof timekeeper->host)) {
        free(timekeeper);
        return error_set(error, timekeeper ? ERROR_RANGE : ERROR_MEMORY, "time: %s",
                         timekeeper ? "the server's name is too long" : "out of memory");
    }
    timekeeper->setup = *setup;
    (void)snprintf(timekeeper->host, sizeof timekeeper->host, "%s",
                   setup->kernel ? "the kernel" : setup->host);
    timekeeper->kernel = setup->kernel ? *setup->kernel : (struct kernel_clock){0};
    if (setup->quick_every_ns == 0) {
        timekeeper->setup.quick_every_ns = QUICK_PAUSE_NS;
    }
    if (setup->listen_ms == 0) {
        timekeeper->setup.listen_ms = LISTEN_MS;
    }
    timekeeper->socket = (struct time_socket){.loop = setup->loop,
                                              .clock = setup->clock,
                                              .context = timekeeper,
                                              .on_datagram = on_datagram,
                                              .on_taken = on_taken,
                                              .socket = -1};
    timekeeper->slow = 1;
    timekeeper->round_trip_ns = -1;
    clock_fitter_init(&timekeeper->fitter, FIT_SPAN_NS, CRYSTAL_PPB);
    *out = timekeeper;
    return 0;
}

void timekeeper_start(struct timekeeper *timekeeper)
{
    uv_timer_init(timekeeper->setup.loop, &timekeeper->timer);
    timekeeper->timer.data = timekeeper;
    timekeeper->look_up.data = timekeeper;
    timekeeper->due_ns = read_ns(timekeeper);
    begin(timekeeper);
}

void timekeeper_stop(struct timekeeper *timekeeper)
{
    timekeeper->state = STOPPED;
    time_socket_close(&timekeeper->socket);
    uv_close((uv_handle_t *)&timekeeper->timer, NULL);
    (void)uv_cancel((uv_req_t *)&timekeeper->look_up);
}

void timekeeper_free(struct timekeeper *timekeeper)
{
    free(timekeeper);
}

const struct clock_fit *timekeeper_fit(const struct timekeeper *timekeeper)
{
    return &timekeeper->fit;
}

int64_t timekeeper_age_ns(const struct timekeeper *timekeeper, int64_t now_ns)
{
    return timekeeper->bursts > 0 ? now_ns - timekeeper->last_ns : -1;
}

int64_t timekeeper_round_trip_ns(const struct timekeeper *timekeeper)
{
    return timekeeper->round_trip_ns;
}

size_t timekeeper_recent(const struct timekeeper *timekeeper, struct clock_exchange *exchanges,
                         size_t size)
{
    return timekeeper->kernel.read ? 0 : clock_fitter_recent(&timekeeper->fitter, exchanges, size);
}
