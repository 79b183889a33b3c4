/* One UDP socket, a poll on the loop, the kernel's receive stamps, one answer a request.
 * Must never wait, and never use a client's own time for anything but the echo.
 * Called by the session; the answer itself is made in time_answer.c. */
#include "collector/ingest/time_server.h"

#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#include "collector/ingest/time_answer.h"
#include "collector/ingest/time_limit.h"
#include "common/clock.h"
#include "common/stamped_send.h"

/* Packets taken in one turn of the loop, so that a flood leaves time for the rest. */
#define DRAIN_MAX 64
/* A stamp further back than this is not believed. */
#define STAMP_AGE_MAX_NS NS_PER_S
/* No answer takes longer from its stamp through the kernel, where it takes no notice of it. */
#define LAG_MOST_NS INT64_C(200000)
/* The first answers are slow ones, and no measure for those that follow. */
#define LAG_LOOKS 16u

struct time_server {
    struct time_server_settings settings;
    struct clock_source kernel; /* what the kernel stamps with: the machine's clock, unskewed */
    struct time_server_counts counts;
    struct time_limit limit;
    int64_t lag_ns; /* the least that an answer took from its stamp through the kernel */
    unsigned lag_looks;
    int fd;
    uint16_t port;
    uv_poll_t poll;
    void (*on_closed)(void *context);
    void *closed_context;
};

struct request {
    uint8_t bytes[TIME_REQUEST_MAX + 1]; /* one octet more tells the longer ones */
    size_t length;
    struct sockaddr_storage from;
    socklen_t from_length;
    int64_t received_ns; /* site time */
};

/* The site time of a kernel stamp: both clocks read back to back three times, the tightest kept. */
static bool site_from_stamp(const struct time_server *server, int64_t stamp_ns, int64_t *site_ns)
{
    int64_t tightest = INT64_MAX;
    int64_t shift = 0;
    for (int i = 0; i < 3; i++) {
        int64_t before = server->settings.site_now_ns(server->settings.context);
        int64_t real = server->kernel.real_ns(server->kernel.context);
        int64_t after = server->settings.site_now_ns(server->settings.context);
        if (after - before < tightest) {
            tightest = after - before;
            shift = before + (after - before) / 2 - real;
        }
    }
    int64_t now = server->settings.site_now_ns(server->settings.context);
    *site_ns = stamp_ns + shift;
    return *site_ns <= now && now - *site_ns < STAMP_AGE_MAX_NS;
}

static bool find_stamp(struct msghdr *message, int64_t *stamp_ns)
{
    for (struct cmsghdr *part = CMSG_FIRSTHDR(message); part; part = CMSG_NXTHDR(message, part)) {
        if (part->cmsg_level == SOL_SOCKET && part->cmsg_type == SCM_TIMESTAMPNS &&
            part->cmsg_len >= CMSG_LEN(sizeof(struct timespec))) {
            struct timespec stamp;
            memcpy(&stamp, CMSG_DATA(part), sizeof stamp);
            *stamp_ns = (int64_t)stamp.tv_sec * NS_PER_S + stamp.tv_nsec;
            return true;
        }
    }
    return false;
}

/* false: nothing there. */
static bool receive(struct time_server *server, struct request *request)
{
    union {
        struct cmsghdr align;
        uint8_t bytes[CMSG_SPACE(sizeof(struct timespec)) * 4];
    } control;
    struct iovec part = {.iov_base = request->bytes, .iov_len = sizeof request->bytes};
    struct msghdr message = {.msg_name = &request->from,
                             .msg_namelen = sizeof request->from,
                             .msg_iov = &part,
                             .msg_iovlen = 1,
                             .msg_control = control.bytes,
                             .msg_controllen = sizeof control.bytes};
    ssize_t got = recvmsg(server->fd, &message, MSG_DONTWAIT);
    if (got < 0) {
        return false;
    }
    int64_t now = server->settings.site_now_ns(server->settings.context);
    request->length = (size_t)got;
    request->from_length = message.msg_namelen;
    int64_t stamp;
    if (!find_stamp(&message, &stamp) || !site_from_stamp(server, stamp, &request->received_ns)) {
        request->received_ns = now;
        server->counts.unstamped++;
    }
    return true;
}

/* Returns the site time at which it left. */
static int64_t send_answer(struct time_server *server, const struct request *request,
                           const uint8_t bytes[NTP_PACKET_SIZE], uint64_t *count)
{
    const struct clock_source site = {.mono_ns = server->settings.site_now_ns,
                                      .context = server->settings.context};
    int64_t left_ns;
    ssize_t sent = stamped_send(server->fd, &site, bytes, NTP_PACKET_SIZE, &request->from,
                                request->from_length, &left_ns);
    *(sent == NTP_PACKET_SIZE ? count : &server->counts.unsent) += 1;
    return left_ns;
}

/* An answer holds the time at which it will leave, so that is guessed from the ones before. The
 * least is taken: a time later than the packet left would break what a client relies on, that it is
 * off by no more than half the round trip. */
static void learn_lag(struct time_server *server, int64_t lag_ns)
{
    if (lag_ns < 0 || lag_ns > LAG_MOST_NS) {
        return;
    }
    if (server->lag_looks == 0 || lag_ns < server->lag_ns) {
        server->lag_ns = lag_ns;
    }
    server->lag_looks += server->lag_looks < LAG_LOOKS;
}

static void refuse(struct time_server *server, const struct request *request)
{
    uint8_t bytes[NTP_PACKET_SIZE];
    uint64_t told = 0;
    if (time_answer_refuse(request->bytes, request->length, bytes) == 0) {
        (void)send_answer(server, request, bytes, &told);
    }
}

static void answer(struct time_server *server, const struct request *request)
{
    const struct time_answer_settings settings = {.started_ns = server->settings.started_ns,
                                                  .root_dispersion_ns =
                                                      server->settings.root_dispersion_ns};
    uint8_t bytes[NTP_PACKET_SIZE];
    if (time_answer_make(&settings, request->bytes, request->length, request->received_ns, bytes)) {
        server->counts.ignored++;
        return;
    }
    int64_t now_ns = server->settings.site_now_ns(server->settings.context);
    enum time_verdict verdict =
        time_limit_ask(&server->limit, (const struct sockaddr *)&request->from, now_ns);
    if (verdict != TIME_ANSWER) {
        server->counts.limited++;
        if (verdict == TIME_TELL) {
            refuse(server, request);
        }
        return;
    }
    now_ns = server->settings.site_now_ns(server->settings.context);
    time_answer_stamp(bytes, now_ns + (server->lag_looks == LAG_LOOKS ? server->lag_ns : 0));
    learn_lag(server, send_answer(server, request, bytes, &server->counts.answered) - now_ns);
}

static void on_readable(uv_poll_t *poll, int status, int events)
{
    struct time_server *server = poll->data;
    if (events & UV_PRIORITIZED) {
        stamped_send_drain(server->fd);
    }
    if (status < 0) {
        /* A pending socket error stops the poll: take the error off and go on. */
        int pending = 0;
        socklen_t size = sizeof pending;
        (void)getsockopt(server->fd, SOL_SOCKET, SO_ERROR, &pending, &size);
        (void)uv_poll_start(poll, UV_READABLE | UV_PRIORITIZED, on_readable);
        return;
    }
    struct request request;
    for (int i = 0; i < DRAIN_MAX && receive(server, &request); i++) {
        answer(server, &request);
    }
}

static int make_address(const struct time_server_settings *settings, struct sockaddr_storage *out,
                        socklen_t *length)
{
    struct sockaddr_in *four = (struct sockaddr_in *)out;
    struct sockaddr_in6 *six = (struct sockaddr_in6 *)out;
    memset(out, 0, sizeof *out);
    if (inet_pton(AF_INET, settings->address, &four->sin_addr) == 1) {
        four->sin_family = AF_INET;
        four->sin_port = htons(settings->port);
        *length = sizeof *four;
        return 0;
    }
    memset(out, 0, sizeof *out);
    if (inet_pton(AF_INET6, settings->address, &six->sin6_addr) == 1) {
        six->sin6_family = AF_INET6;
        six->sin6_port = htons(settings->port);
        *length = sizeof *six;
        return 0;
    }
    return -1;
}

static int open_socket(struct time_server *server, struct error *error)
{
    const struct time_server_settings *settings = &server->settings;
    struct sockaddr_storage address;
    socklen_t length;
    if (make_address(settings, &address, &length)) {
        return error_set(error, ERROR_USAGE, "time server: %s: not a numeric address",
                         settings->address);
    }
    server->fd = socket(address.ss_family, SOCK_DGRAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    if (server->fd < 0) {
        return error_set(error, ERROR_NETWORK, "time server: %s", strerror(errno));
    }
    int on = 1;
    int off = 0;
    /* "::" takes IPv4 as well, whatever this machine's default is; elsewhere it has no effect. */
    (void)setsockopt(server->fd, IPPROTO_IPV6, IPV6_V6ONLY, &off, sizeof off);
    /* Where the kernel has no stamps the answers are counted as unstamped. */
    (void)setsockopt(server->fd, SOL_SOCKET, SO_TIMESTAMPNS, &on, sizeof on);
    stamped_send_prepare(server->fd);
    if (bind(server->fd, (struct sockaddr *)&address, length) ||
        getsockname(server->fd, (struct sockaddr *)&address, &length)) {
        (void)error_set(error, errno == EADDRINUSE ? ERROR_BUSY : ERROR_NETWORK,
                        "time server: %s port %u: %s", settings->address, settings->port,
                        strerror(errno));
        (void)close(server->fd);
        return -1;
    }
    server->port =
        ntohs(address.ss_family == AF_INET6 ? ((struct sockaddr_in6 *)&address)->sin6_port
                                            : ((struct sockaddr_in *)&address)->sin_port);
    return 0;
}

int time_server_new(const struct time_server_settings *settings, struct time_server **out,
                    struct error *error)
{
    struct time_server *server = calloc(1, sizeof *server);
    if (!server) {
        return error_set(error, ERROR_MEMORY, "time server: out of memory");
    }
    server->settings = *settings;
    server->kernel = clock_system();
    if (open_socket(server, error)) {
        free(server);
        return -1;
    }
    int result = uv_poll_init(settings->loop, &server->poll, server->fd);
    if (result) {
        (void)close(server->fd);
        free(server);
        return error_set(error, ERROR_IO, "time server: %s", uv_strerror(result));
    }
    server->poll.data = server;
    (void)uv_poll_start(&server->poll, UV_READABLE | UV_PRIORITIZED, on_readable);
    *out = server;
    return 0;
}

void time_server_set_started(struct time_server *server, int64_t started_ns,
                             int64_t root_dispersion_ns)
{
    server->settings.started_ns = started_ns;
    server->settings.root_dispersion_ns = root_dispersion_ns;
}

uint16_t time_server_port(const struct time_server *server)
{
    return server->port;
}

const struct time_server_counts *time_server_get_counts(const struct time_server *server)
{
    return &server->counts;
}

static void on_poll_closed(uv_handle_t *handle)
{
    struct time_server *server = handle->data;
    (void)close(server->fd);
    if (server->on_closed) {
        server->on_closed(server->closed_context);
    }
}

void time_server_close(struct time_server *server, void (*on_closed)(void *context), void *context)
{
    server->on_closed = on_closed;
    server->closed_context = context;
    uv_close((uv_handle_t *)&server->poll, on_poll_closed);
}

void time_server_free(struct time_server *server)
{
    free(server);
}
