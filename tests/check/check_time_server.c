/* Real clients against the time server: Debian's ntpdig and ntpdate -q (ntpsec), chronyd -Q and
 * chronyd -x, on loopback.
 * RFC 5905 "Network Time Protocol Version 4: Protocol and Algorithms Specification", 2010: the
 * server runs 250 ms ahead of this machine, and each client must find that. ntpdig knows port 123
 * only, so its look-up of that port is pointed at ours. */
#include "tests/unit/test.h"

#include <arpa/inet.h>
#include <unistd.h>
#include <uv.h>

#include "collector/ingest/time_server.h"
#include "common/clock.h"

#define AHEAD_NS (NS_PER_S / 4)
#define OUTPUT_SIZE 16384
#define PATIENCE_MS 30000

static int64_t site_now(void *context)
{
    struct clock_source *clock = context;
    return clock->real_ns(clock->context) + AHEAD_NS;
}

/* A client run on the server's own loop. */
struct run {
    uv_loop_t loop;
    struct clock_source clock;
    struct time_server *server;
    uv_process_t process;
    uv_pipe_t output;
    uv_timer_t patience;
    char text[OUTPUT_SIZE];
    size_t length;
    int64_t status;
    bool overdue;
    const char *address; /* NULL: 127.0.0.1 and any port */
    uint16_t port;
};

static void on_alloc(uv_handle_t *handle, size_t size, uv_buf_t *buffer)
{
    struct run *run = handle->data;
    (void)size;
    *buffer = uv_buf_init(run->text + run->length, (unsigned)(OUTPUT_SIZE - 1 - run->length));
}

static void on_read(uv_stream_t *stream, ssize_t count, const uv_buf_t *buffer)
{
    struct run *run = stream->data;
    (void)buffer;
    if (count < 0) {
        uv_close((uv_handle_t *)stream, NULL);
        return;
    }
    run->length += (size_t)count;
}

static void on_exit_of_client(uv_process_t *process, int64_t status, int signal_number)
{
    struct run *run = process->data;
    run->status = signal_number ? -signal_number : status;
    uv_close((uv_handle_t *)process, NULL);
    uv_close((uv_handle_t *)&run->patience, NULL);
    time_server_close(run->server, NULL, NULL);
}

static void on_overdue(uv_timer_t *timer)
{
    struct run *run = timer->data;
    run->overdue = true;
    (void)uv_process_kill(&run->process, 9);
}

static void start_server(struct run *run)
{
    struct error error;
    run->clock = clock_system();
    const struct time_server_settings settings = {.loop = &run->loop,
                                                  .address =
                                                      run->address ? run->address : "127.0.0.1",
                                                  .port = run->port,
                                                  .site_now_ns = site_now,
                                                  .context = &run->clock,
                                                  .started_ns = site_now(&run->clock),
                                                  .root_dispersion_ns = 1000000};
    if (time_server_new(&settings, &run->server, &error)) {
        fail_msg("%s", error.text);
    }
}

/* "%u" in an argument becomes the server's port. The address and port of *run are the server's. */
static void run_client(struct run *run, const char *file, const char *const *arguments)
{
    const char *address = run->address;
    uint16_t port = run->port;
    static char texts[12][512];
    char *argv[13] = {NULL};
    *run = (struct run){.address = address, .port = port};
    (void)uv_loop_init(&run->loop);
    start_server(run);
    for (size_t i = 0; arguments[i]; i++) {
        const char *mark = strstr(arguments[i], "%u");
        int head = mark ? (int)(mark - arguments[i]) : (int)strlen(arguments[i]);
        (void)snprintf(texts[i], sizeof texts[i], "%.*s", head, arguments[i]);
        if (mark) {
            (void)snprintf(texts[i] + head, sizeof texts[i] - (size_t)head, "%u%s",
                           time_server_port(run->server), mark + 2);
        }
        argv[i] = texts[i];
    }
    (void)uv_pipe_init(&run->loop, &run->output, 0);
    (void)uv_timer_init(&run->loop, &run->patience);
    run->process.data = run->output.data = run->patience.data = run;
    uv_stdio_container_t stdio[3] = {
        {.flags = UV_IGNORE},
        {.flags = UV_CREATE_PIPE | UV_WRITABLE_PIPE, .data.stream = (uv_stream_t *)&run->output},
        {.flags = UV_INHERIT_FD, .data.fd = 2}};
    const uv_process_options_t options = {
        .exit_cb = on_exit_of_client, .file = file, .args = argv, .stdio = stdio, .stdio_count = 3};
    assert_int_equal(uv_spawn(&run->loop, &run->process, &options), 0);
    (void)uv_timer_start(&run->patience, on_overdue, PATIENCE_MS, 0);
    (void)uv_read_start((uv_stream_t *)&run->output, on_alloc, on_read);
    (void)uv_run(&run->loop, UV_RUN_DEFAULT);
    time_server_free(run->server);
    assert_int_equal(uv_loop_close(&run->loop), 0);
    assert_false(run->overdue);
}

static void skip_without(const char *program)
{
    if (access(program, X_OK) != 0) {
        print_message("skipped: %s is not installed\n", program);
        skip();
    }
}

static void ntpdig_finds_the_quarter_second(void **state)
{
    (void)state;
    static struct run run;
    skip_without("/usr/bin/ntpdig");
    skip_without("/usr/bin/python3");
    const char *const arguments[] = {
        "/usr/bin/python3", "-c",
        "import socket,sys,runpy\n"
        "look=socket.getaddrinfo\n"
        "socket.getaddrinfo=lambda h,p,*a,**k: look(h,%u if p==123 else p,*a,**k)\n"
        "sys.argv=['ntpdig','-j','127.0.0.1']\n"
        "runpy.run_path('/usr/bin/ntpdig',run_name='__main__')\n",
        NULL};
    run_client(&run, "/usr/bin/python3", arguments);
    if (run.status != 0) {
        fail_msg("ntpdig: status %lld: %s", (long long)run.status, run.text);
    }
    const char *offset = strstr(run.text, "\"offset\":");
    assert_non_null(offset);
    assert_close(strtod(offset + strlen("\"offset\":"), NULL), 0.25, 0.02);
    assert_non_null(strstr(run.text, "\"stratum\":10"));
}

static void make_folder(char folder[256])
{
    const char *where = getenv("TMPDIR");
    (void)snprintf(folder, 256, "%s/chronyd-XXXXXX", where ? where : "/tmp");
    assert_non_null(mkdtemp(folder));
}

static void chronyd_finds_the_quarter_second(void **state)
{
    (void)state;
    static struct run run;
    skip_without("/usr/sbin/chronyd");
    char folder[256];
    char command[1024];
    make_folder(folder);
    /* sh joins the two outputs, since chronyd reports on standard error. The pid file must be one
     * of our own, since chronyd takes away what is there. */
    (void)snprintf(command, sizeof command,
                   "exec /usr/sbin/chronyd -U -Q -t 10 'server 127.0.0.1 port %%u iburst' "
                   "'cmdport 0' 'pidfile %s/pid' 2>&1",
                   folder);
    const char *const arguments[] = {"/bin/sh", "-c", command, NULL};
    run_client(&run, "/bin/sh", arguments);
    (void)snprintf(command, sizeof command, "%s/pid", folder);
    (void)unlink(command); /* left where chronyd gave up the right to remove it */
    assert_int_equal(rmdir(folder), 0);
    if (run.status != 0) {
        fail_msg("chronyd: status %lld: %s", (long long)run.status, run.text);
    }
    const char *wrong = strstr(run.text, "System clock wrong by ");
    assert_non_null(wrong);
    assert_close(strtod(wrong + strlen("System clock wrong by "), NULL), 0.25, 0.02);
}

/* As a daemon that measures on and on without touching the machine's clock: what it logs first is
 * what its own clock was off; from then on it knows. */
static void chronyd_follows_the_server_without_touching_the_clock(void **state)
{
    (void)state;
    static struct run run;
    skip_without("/usr/sbin/chronyd");
    char folder[256];
    char command[2048];
    make_folder(folder);
    (void)snprintf(command, sizeof command,
                   "d=%s; /usr/sbin/chronyd -U -u root -x -d"
                   " 'server 127.0.0.1 port %%u iburst minpoll -2 maxpoll 0' 'cmdport 0'"
                   " 'bindcmdaddress /' \"pidfile $d/pid\" \"logdir $d\""
                   " 'log tracking measurements' >$d/said 2>&1 & child=$!;"
                   " for i in $(seq 120); do sleep 0.1;"
                   " [ $(grep -c 127.0.0.1 $d/tracking.log 2>/dev/null || :) -ge 2 ] && break;"
                   " done; kill $child; wait $child;"
                   " grep 127.0.0.1 $d/tracking.log | head -1; cat $d/said >&2; rm -r $d",
                   folder);
    const char *const arguments[] = {"/bin/sh", "-c", command, NULL};
    run_client(&run, "/bin/sh", arguments);
    /* date time address stratum frequency skew offset ... */
    char address[64] = "";
    int stratum = 0;
    double offset = 0;
    if (sscanf(run.text, "%*s %*s %63s %d %*s %*s %lf", address, &stratum, &offset) != 3) {
        fail_msg("chronyd -x never followed the server: %s", run.text);
    }
    assert_int_equal(stratum, 11);
    assert_close(fabs(offset), 0.25, 0.02);
}

/* ntpdate knows port 123 only, which takes the right to bind it. */
static void ntpdate_finds_the_quarter_second(void **state)
{
    (void)state;
    static struct run run = {.address = "127.83.71.19", .port = 123};
    skip_without("/usr/sbin/ntpdate");
    struct sockaddr_in own = {.sin_family = AF_INET, .sin_port = htons(run.port)};
    (void)inet_pton(AF_INET, run.address, &own.sin_addr);
    int probe = socket(AF_INET, SOCK_DGRAM, 0);
    int bound = bind(probe, (struct sockaddr *)&own, sizeof own);
    (void)close(probe);
    if (bound != 0) {
        print_message("skipped: port 123 is not to be had\n");
        skip();
    }
    const char *const arguments[] = {"/usr/sbin/ntpdate", "-q", run.address, NULL};
    run_client(&run, "/usr/sbin/ntpdate", arguments);
    if (run.status != 0) {
        fail_msg("ntpdate: status %lld: %s", (long long)run.status, run.text);
    }
    /* "2026-01-01 00:00:00.0 (+0000) +0.250003 +/- 0.000123 127.83.71.19 s10 no-leap" */
    const char *offset = strstr(run.text, ") +");
    assert_non_null(offset);
    assert_close(strtod(offset + 2, NULL), 0.25, 0.02);
    assert_non_null(strstr(run.text, "s10"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(ntpdig_finds_the_quarter_second),
        cmocka_unit_test(chronyd_finds_the_quarter_second),
        cmocka_unit_test(chronyd_follows_the_server_without_touching_the_clock),
        cmocka_unit_test(ntpdate_finds_the_quarter_second),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
