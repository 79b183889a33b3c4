/* Our clock line beside chronyd over the same wire in the same run: true and stated errors. Both
 * ends share one machine's clock, so the truth is known: the server runs 250 ms ahead, and our
 * client's crystal is 60 ppm off. Prints a table; asserts nothing. Needs the right to make network
 * namespaces and TAP interfaces, and chronyd; says so where it lacks them. Each link is met in
 * several rounds, everything started anew, whose looks are taken together: within a round the error
 * hardly moves, so that one round says only how lucky both were.
 * usage: bench_clock [SECONDS-A-ROUND [ROUNDS [quiet]]] */
#include <arpa/inet.h>
#include <errno.h>
#include <math.h>
#include <poll.h>
#include <sched.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "bench_clock.h"
#include "collector/ingest/time_server.h"
#include "common/clock.h"
#include "common/clock_fit.h"
#include "common/ntp_packet.h"
#include "common/stamped_receive.h"
#include "common/stamped_send.h"
#include "common/timefmt.h"

#define AHEAD_NS (NS_PER_S / 4)
#define PORT 1123
#define BURST 8
#define SETTLE_S 10
#define LATE_BURSTS 38 /* a second apart here; a node makes as many in five minutes */
#define LOOKS_MAX 4096
#define CRYSTAL_PPB 60000

static const struct link {
    const char *name;
    double blind_ms;         /* half of the constant one-sided delay, signed: no method sees it */
    struct wire_way ways[2]; /* to the client, to the server */
} links[] = {
    {"quiet wire",
     0,
     {{.base_ns = 200000, .jitter_ns = 20000}, {.base_ns = 200000, .jitter_ns = 20000}}},
    {"5 ms there, 25 ms back",
     10,
     {{.base_ns = 25000000, .jitter_ns = 300000}, {.base_ns = 5000000, .jitter_ns = 300000}}},
    {"dozing to 100 ms, 5 % loss",
     0,
     {{.base_ns = 1000000,
       .jitter_ns = 500000,
       .doze_ns = 100000000,
       .doze_share = 0.4,
       .loss = 0.05},
      {.base_ns = 1000000, .jitter_ns = 500000, .loss = 0.05}}},
};

struct looks {
    double error_ms[LOOKS_MAX];  /* fitted to true */
    double stated_ms[LOOKS_MAX]; /* at 99 % */
    size_t count, held;
};

/* Of all rounds of a link; shared with the process that looks. */
struct seen {
    struct looks ours, theirs, late;
};

static int64_t site_now(void *context)
{
    struct clock_source *clock = context;
    return clock->real_ns(clock->context) + AHEAD_NS;
}

static void serve(const struct wire_end *end)
{
    uv_loop_t loop;
    struct error error;
    struct time_server *server = NULL;
    struct clock_source clock = clock_system();
    (void)prctl(PR_SET_PDEATHSIG, SIGKILL);
    (void)setns(end->ns, CLONE_NEWNET);
    (void)uv_loop_init(&loop);
    const struct time_server_settings settings = {.loop = &loop,
                                                  .address = "10.77.0.1",
                                                  .port = PORT,
                                                  .site_now_ns = site_now,
                                                  .context = &clock,
                                                  .started_ns = site_now(&clock)};
    if (time_server_new(&settings, &server, &error)) {
        fprintf(stderr, "%s\n", error.text);
        _exit(1);
    }
    (void)uv_run(&loop, UV_RUN_DEFAULT);
    _exit(0);
}

static void note(struct looks *looks, double error_ms, double stated_ms)
{
    if (looks->count < LOOKS_MAX) {
        looks->error_ms[looks->count] = error_ms;
        looks->stated_ms[looks->count++] = stated_ms;
        looks->held += fabs(error_ms) <= stated_ms;
    }
}

/* `first` tells this burst's answers from late ones of the burst before. */
static size_t exchange_burst(int client, struct clock_source *node, uint64_t first,
                             struct clock_exchange *taken)
{
    struct clock_exchange open[BURST] = {0};
    size_t count = 0;
    int64_t end_ns = 0;
    for (uint64_t asked = 0; asked < BURST || node->mono_ns(node->context) < end_ns;) {
        uint8_t bytes[NTP_PACKET_SIZE];
        struct ntp_packet packet = {
            .version = 4, .mode = NTP_MODE_CLIENT, .transmit = first + asked};
        if (asked < BURST) {
            ntp_packet_write(&packet, bytes);
            (void)stamped_send(client, node, bytes, sizeof bytes, NULL, 0, &open[asked++].t1_ns);
            end_ns = node->mono_ns(node->context) + 400000000;
        }
        struct pollfd readable = {.fd = client, .events = POLLIN};
        struct sockaddr_storage from;
        int64_t t4_ns;
        if (poll(&readable, 1, 30) == 1 &&
            stamped_receive(client, node, bytes, sizeof bytes, &from, &t4_ns) == sizeof bytes) {
            int64_t near_ns = node->real_ns(node->context);
            if (ntp_packet_read(bytes, sizeof bytes, &packet, NULL) == 0 &&
                packet.origin >= first && packet.origin < first + asked && count < BURST) {
                taken[count] = open[packet.origin - first];
                taken[count].t2_ns = timefmt_utc_from_ntp(packet.receive, near_ns);
                taken[count].t3_ns = timefmt_utc_from_ntp(packet.transmit, near_ns);
                taken[count++].t4_ns = t4_ns;
            }
        }
    }
    return count;
}

/* chronyd's own word: how far its clock is off, and root distance as its bound. */
static void look_at_chronyd(const char *folder, struct looks *looks)
{
    char command[256];
    double offset_s, delay_s, dispersion_s;
    (void)snprintf(command, sizeof command, "chronyc -c -h %s/socket tracking 2>&1", folder);
    FILE *out = popen(command, "r");
    char line[512] = "";
    if (out && fgets(line, sizeof line, out) &&
        sscanf(line, "%*[^,],%*[^,],%*[^,],%*[^,],%lf,%*[^,],%*[^,],%*[^,],%*[^,],%*[^,],%lf,%lf",
               &offset_s, &delay_s, &dispersion_s) == 3 &&
        offset_s != 0) {
        double error_ms = (fabs(offset_s) - 0.25) * 1e3;
        note(looks, error_ms, (delay_s / 2 + dispersion_s) * 1e3);
    }
    if (out) {
        (void)pclose(out);
    }
}

static pid_t start_chronyd(const char *folder)
{
    char config[512];
    char path[128];
    (void)snprintf(path, sizeof path, "%s/conf", folder);
    (void)snprintf(config, sizeof config,
                   "server 10.77.0.1 port %d iburst minpoll -1 maxpoll 0\ncmdport 0\n"
                   "bindcmdaddress %s/socket\npidfile %s/pid\nuser root\n",
                   PORT, folder, folder);
    FILE *file = fopen(path, "w");
    if (!file || fputs(config, file) < 0 || fclose(file)) {
        return -1;
    }
    pid_t pid = fork();
    if (pid == 0) {
        (void)prctl(PR_SET_PDEATHSIG, SIGTERM);
        (void)freopen("/dev/null", "r", stdin);
        (void)execl("/usr/sbin/chronyd", "chronyd", "-x", "-d", "-L", "2", "-f", path,
                    (char *)NULL);
        _exit(127);
    }
    return pid;
}

static int ascending(const void *left, const void *right)
{
    double a = *(const double *)left;
    double b = *(const double *)right;
    return (a > b) - (a < b);
}

/* Of the errors less `less_ms`, without their sign: the share `part` of them lies under it. */
static double quantile_ms(const struct looks *looks, double less_ms, double part)
{
    static double sorted[LOOKS_MAX];
    for (size_t i = 0; i < looks->count; i++) {
        sorted[i] = fabs(looks->error_ms[i] - less_ms);
    }
    qsort(sorted, looks->count, sizeof sorted[0], ascending);
    return sorted[(size_t)((double)(looks->count - 1) * part)];
}

static void print_looks(const struct link *link, const char *who, struct looks *looks)
{
    if (looks->count == 0) {
        printf("%-28s %-8s never knew the time\n", link->name, who);
        return;
    }
    qsort(looks->stated_ms, looks->count, sizeof looks->stated_ms[0], ascending);
    printf("%-28s %-8s %9.3f %9.3f %9.3f %9.3f %7.1f %%  %zu\n", link->name, who,
           quantile_ms(looks, 0, 0.5), quantile_ms(looks, link->blind_ms, 0.5),
           quantile_ms(looks, 0, 0.99), looks->stated_ms[(looks->count - 1) / 2],
           100 * (double)looks->held / (double)looks->count, looks->count);
}

static void print_seen(const struct link *link, struct seen *seen)
{
    print_looks(link, "ours", &seen->ours);
    print_looks(link, "chronyd", &seen->theirs);
    if (seen->late.count > 0) {
        printf("%s after as many bursts as in five minutes: 99 %% of errors under %.0f us (%zu "
               "looks)\n",
               link->name, quantile_ms(&seen->late, 0, 0.99) * 1e3, seen->late.count);
    }
    (void)fflush(stdout);
}

static void ask(const struct wire_end *end, struct seen *seen, int seconds)
{
    char folder[] = "/run/bench-clock-XXXXXX";
    struct clock_skew skew = {.rate_ppb = CRYSTAL_PPB};
    struct clock_source node = clock_skewed(&skew);
    struct clock_source truth = clock_system();
    struct sockaddr_in to = {.sin_family = AF_INET, .sin_port = htons(PORT)};
    struct clock_fitter fitter;
    struct clock_fit fit = {0};
    (void)prctl(PR_SET_PDEATHSIG, SIGKILL);
    (void)setns(end->ns, CLONE_NEWNET);
    (void)inet_pton(AF_INET, "10.77.0.1", &to.sin_addr);
    int client = socket(AF_INET, SOCK_DGRAM, 0);
    if (connect(client, (struct sockaddr *)&to, sizeof to) || !mkdtemp(folder) ||
        chmod(folder, 0770)) {
        _exit(1);
    }
    stamped_receive_prepare(client);
    stamped_send_prepare(client);
    pid_t chronyd = start_chronyd(folder);
    int64_t start_ns = truth.mono_ns(truth.context);
    clock_fitter_init(&fitter, 7200 * NS_PER_S, 100000);
    for (int second = 0; second < seconds; second++) {
        struct clock_exchange burst[BURST];
        if (clock_fitter_add_burst(
                &fitter, burst,
                exchange_burst(client, &node, ((uint64_t)second + 1) * 100, burst))) {
            clock_fitter_line(&fitter, node.mono_ns(node.context), &fit);
        }
        int64_t left_ns = start_ns + (second + 1) * NS_PER_S - truth.mono_ns(truth.context);
        (void)usleep(left_ns > 0 ? (useconds_t)(left_ns / 1000) : 0);
        if (second < SETTLE_S || !fit.known) {
            continue;
        }
        int64_t before_ns = site_now(&truth);
        int64_t node_ns = node.mono_ns(node.context);
        int64_t true_ns = before_ns + (site_now(&truth) - before_ns) / 2;
        double error_ms = (double)(clock_fit_site_ns(&fit, node_ns) - true_ns) / 1e6;
        double stated_ms =
            (double)clock_fit_uncertainty_ns(&fit, node_ns) * CLOCK_FIT_BOUND_PERCENT / 1e8;
        note(&seen->ours, error_ms, stated_ms);
        if (second >= LATE_BURSTS) {
            note(&seen->late, error_ms, stated_ms);
        }
        look_at_chronyd(folder, &seen->theirs);
    }
    (void)kill(chronyd, SIGTERM);
    (void)waitpid(chronyd, NULL, 0);
    char command[64];
    (void)snprintf(command, sizeof command, "rm -rf %s", folder);
    _exit(system(command) == 0 ? 0 : 1);
}

static void meet(const struct wire_end ends[2], const struct link *link, struct seen *seen,
                 int seconds)
{
    struct clock_source clock = clock_system();
    pid_t server = fork();
    if (server == 0) {
        serve(&ends[0]);
    }
    pid_t client = fork();
    if (client == 0) {
        ask(&ends[1], seen, seconds);
    }
    wire_run(ends, link->ways, clock.mono_ns(clock.context) + (seconds + 3) * NS_PER_S);
    (void)waitpid(client, NULL, 0);
    (void)kill(server, SIGKILL);
    (void)waitpid(server, NULL, 0);
}

int main(int argc, char **argv)
{
    int seconds = argc > 1 ? atoi(argv[1]) : 60;
    int rounds = argc > 2 ? atoi(argv[2]) : 5;
    size_t count = argc > 3 ? 1 : sizeof links / sizeof links[0];
    struct wire_end ends[2];
    if (argc <= 3) {
        bench_clock_links();
    }
    struct seen *seen =
        mmap(NULL, sizeof *seen, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    if (seen == MAP_FAILED || access("/usr/sbin/chronyd", X_OK) != 0 ||
        wire_end_open(&ends[0], "10.77.0.1/24") || wire_end_open(&ends[1], "10.77.0.2/24")) {
        printf("not run: needs chronyd and the right to make namespaces (%s)\n", strerror(errno));
        return 0;
    }
    printf(
        "%-28s %-8s %9s %9s %9s %9s %9s  looks\n"
        "(ms; less it: the median less half of the constant one-sided delay, which no method sees; "
        "bound at 99 %%, chronyd's root distance)\n",
        "link", "who", "median", "less it", "99 %", "bound", "held");
    (void)fflush(stdout);
    for (size_t i = 0; i < count; i++) {
        memset(seen, 0, sizeof *seen);
        for (int round = 0; round < rounds; round++) {
            meet(ends, &links[i], seen, seconds);
        }
        print_seen(&links[i], seen);
    }
    return 0;
}
