/* Storing and detecting through a real broker, against a bare subscriber that counts the same
 * messages and against one SQLite row a sample. Prints rates and their ratios of one run; asserts
 * nothing. Must never listen or send beyond loopback.
 * The base station takes no sample from more than a minute ahead of its clock as judged live, so
 * the stream is a minute at 8 kHz rather than forty at 200 Hz, in messages of the size that a node
 * with five channels at 200 Hz makes a second. usage: bench_ingest PATH-TO-roomwake
 * [SECONDS-OF-DATA [NODES [SAMPLES-A-MESSAGE-AND-CHANNEL]]] */
#include <errno.h>
#include <inttypes.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "bench_ingest.h"
#include "common/clock.h"
#include "common/message.h"

#define ROOMS ((size_t)12)

static double seconds_between(int64_t start_ns, int64_t end_ns)
{
    return (double)(end_ns - start_ns) / (double)NS_PER_S;
}

static int64_t now_ns(void)
{
    const struct clock_source clock = clock_system();
    return clock.mono_ns(clock.context);
}

static void die(const char *what, const char *why)
{
    fprintf(stderr, "bench_ingest: %s: %s\n", what, why);
    exit(1);
}

static void write_site(const struct bench *bench)
{
    char path[BENCH_PATH_SIZE + 16];
    (void)snprintf(path, sizeof path, "%s/site.json", bench->folder);
    FILE *file = fopen(path, "we");
    if (!file) {
        die(path, strerror(errno));
    }
    fprintf(file, "{\"site\":\"bench\",\"title\":\"bench\",\"mains_hz\":50,\"baseline_s\":10,"
                  "\"rooms\":[");
    for (size_t i = 0; i < ROOMS; i++) {
        fprintf(file,
                "%s{\"id\":\"r%zu\",\"title\":\"r\",\"floor\":0,\"outline_m\":[[%zu,0],[%zu,0],"
                "[%zu,4],[%zu,4]]}",
                i ? "," : "", i, 4 * i, 4 * i + 4, 4 * i + 4, 4 * i);
    }
    fprintf(file, "],\"doors\":[],\"nodes\":[");
    for (size_t i = 0; i < bench->node_count; i++) {
        fprintf(file,
                "%s{\"id\":\"n%zu\",\"room\":\"r%zu\",\"position_m\":[%zu,2,1],\"channels\":[",
                i ? "," : "", i, i % ROOMS, 4 * (i % ROOMS) + 2);
        for (size_t c = 0; c < BENCH_CHANNELS; c++) {
            fprintf(file, "%s{\"name\":\"%s\",\"unit\":\"%s\",\"rate_hz\":%d}", c ? "," : "",
                    bench_channels[c].name, bench_channels[c].unit, BENCH_RATE_HZ);
        }
        fprintf(file, "]}");
    }
    fprintf(file, "]}\n");
    if (fclose(file) != 0) {
        die(path, strerror(errno));
    }
}

static pid_t start(char *const arguments[], bool quiet)
{
    pid_t pid = fork();
    if (pid == 0) {
        if (quiet && !freopen("/dev/null", "w", stdout)) {
            _exit(127);
        }
        (void)execvp(arguments[0], arguments);
        _exit(127);
    }
    if (pid < 0) {
        die("fork", strerror(errno));
    }
    return pid;
}

static pid_t start_broker(struct bench *bench)
{
    char path[BENCH_PATH_SIZE + 16];
    (void)snprintf(path, sizeof path, "%s/broker.conf", bench->folder);
    FILE *file = fopen(path, "we");
    if (!file) {
        die(path, strerror(errno));
    }
    fprintf(file,
            "listener %d 127.0.0.1\nallow_anonymous true\npersistence false\nlog_dest none\n"
            "max_inflight_messages 500\nmax_queued_messages 0\nmax_queued_bytes 0\nuser root\n",
            bench->port);
    if (fclose(file) != 0) {
        die(path, strerror(errno));
    }
    char *arguments[] = {"/usr/sbin/mosquitto", "-c", path, NULL};
    return start(arguments, true);
}

static pid_t start_collector(struct bench *bench, const char *program)
{
    static char site[BENCH_PATH_SIZE + 16];
    static char night[BENCH_PATH_SIZE + 16];
    static char url[64];
    static char time_address[64];
    (void)snprintf(site, sizeof site, "%s/site.json", bench->folder);
    (void)snprintf(night, sizeof night, "%s/night.sqlite", bench->folder);
    (void)snprintf(url, sizeof url, "mqtt://127.0.0.1:%d", bench->port);
    (void)snprintf(time_address, sizeof time_address, "127.0.0.1:%d", bench->port + 1);
    char *arguments[] = {(char *)program, "record", "--site", site,         "--night", night,
                         "--broker",      url,      "--time", time_address, NULL};
    return start(arguments, true);
}

static pid_t start_subscriber(struct bench *bench, bool rows)
{
    pid_t pid = fork();
    if (pid == 0) {
        _exit(bench_subscribe(bench, rows));
    }
    if (pid < 0) {
        die("fork", strerror(errno));
    }
    return pid;
}

/* Ends the process and tells its CPU seconds and peak memory. */
static double end(pid_t pid, double *peak_mib)
{
    struct rusage usage;
    int status = 0;
    (void)kill(pid, SIGTERM);
    if (wait4(pid, &status, 0, &usage) != pid || !WIFEXITED(status) || WEXITSTATUS(status) != 0) {
        fprintf(stderr, "bench_ingest: a process ended with status %d\n", status);
    }
    *peak_mib = (double)usage.ru_maxrss / 1024;
    return (double)usage.ru_utime.tv_sec + (double)usage.ru_utime.tv_usec / 1e6 +
           (double)usage.ru_stime.tv_sec + (double)usage.ru_stime.tv_usec / 1e6;
}

struct outcome {
    double wall_s;
    double cpu_s;
    double peak_mib;
    double bytes_a_sample;
};

static double file_bytes(const struct bench *bench, const char *name)
{
    char path[BENCH_PATH_SIZE + 32];
    struct stat status;
    (void)snprintf(path, sizeof path, "%s/%s", bench->folder, name);
    return stat(path, &status) == 0 ? (double)status.st_size : 0;
}

static struct outcome measure(struct bench *bench, pid_t pid, const char *file)
{
    /* `site` was set before the process was made: each run has topics of its own. */
    struct outcome outcome = {0};
    int64_t start_ns = 0;
    if (bench_publish(bench, &start_ns) != 0) {
        die("publishing", "not all messages were taken");
    }
    outcome.wall_s = seconds_between(start_ns, now_ns());
    outcome.cpu_s = end(pid, &outcome.peak_mib);
    outcome.bytes_a_sample = file_bytes(bench, file) / (double)bench->sample_count;
    return outcome;
}

static void print_outcome(const struct bench *bench, const char *name, struct outcome outcome)
{
    printf("  %-28s %8.2f s  %10.0f samples/s  cpu %6.2f s  peak %6.1f MiB  %6.3f bytes/sample\n",
           name, outcome.wall_s, (double)bench->sample_count / outcome.wall_s, outcome.cpu_s,
           outcome.peak_mib, outcome.bytes_a_sample);
}

int main(int argc, char **argv)
{
    static struct bench bench;
    if (argc < 2) {
        fprintf(stderr, "usage: bench_ingest PATH-TO-roomwake [SECONDS [NODES [SAMPLES]]]\n");
        return 2;
    }
    bench.seconds = argc > 2 ? atoi(argv[2]) : 55;
    bench.node_count = argc > 3 ? (size_t)atoi(argv[3]) : 12;
    bench.block_samples = argc > 4 ? atoi(argv[4]) : 200;
    bench.port = 21000 + (int)(getpid() % 20000);
    (void)snprintf(bench.folder, sizeof bench.folder, "%s/roomwake-bench-XXXXXX",
                   getenv("TMPDIR") ? getenv("TMPDIR") : "/tmp");
    if (!mkdtemp(bench.folder) || bench.node_count < 1 || bench.node_count > BENCH_NODES_MAX) {
        die(bench.folder, "can't be made, or too many nodes");
    }
    write_site(&bench);
    if (bench_encode(&bench) != 0) {
        die("encoding", "failed");
    }
    printf("%zu nodes, %d channels at %d Hz, %d s: %zu messages, %" PRIu64
           " samples, %.3f bytes a sample on the wire\n",
           bench.node_count, BENCH_CHANNELS, BENCH_RATE_HZ, bench.seconds, bench.message_count,
           bench.sample_count, (double)bench.byte_count / (double)bench.sample_count);
    (void)fflush(stdout);
    pid_t broker = start_broker(&bench);
    bench.site = "bench-bare";
    struct outcome bare = measure(&bench, start_subscriber(&bench, false), "none");
    print_outcome(&bench, "(a) bare subscriber", bare);
    (void)fflush(stdout);
    bench.site = "bench-rows";
    struct outcome rows = measure(&bench, start_subscriber(&bench, true), "rows.sqlite");
    print_outcome(&bench, "(b) one row a sample", rows);
    (void)fflush(stdout);
    bench.site = "bench";
    struct outcome ours = measure(&bench, start_collector(&bench, argv[1]), "night.sqlite");
    print_outcome(&bench, "roomwake record", ours);
    printf("  roomwake against (a): %.2f times its time; against (b): %.2f times its rate\n",
           ours.wall_s / bare.wall_s, rows.wall_s / ours.wall_s);
    double ignored;
    (void)end(broker, &ignored);
    bench_free(&bench);
    return 0;
}
