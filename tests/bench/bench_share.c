/* How fast, how large and in how much memory a night of 12 nodes is handed to others:
 * bench_share ROOMWAKE FOLDER [HOURS]. Makes a night of five channels at 200 Hz a node (noise of 4
 * counts, frames of 0.7 s) with 150 findings, runs the program on it, and writes as many bytes
 * plainly for comparison. Prints; judges nothing. Must never be part of the unit tests: 8 hours
 * make a CSV of gigabytes. */
#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "collector/night/writer.h"
#include "common/clock.h"

#define NODES 12
#define CHANNELS 5
#define RATE 200
#define FRAME_MS 700
#define FRAME_SAMPLES (RATE * FRAME_MS / 1000)
#define FINDINGS 150
#define START_NS (INT64_C(1700000000) * NS_PER_S)
#define NOISE (1 << 20)

static double now_s(void)
{
    struct timespec time;
    (void)clock_gettime(CLOCK_MONOTONIC, &time);
    return (double)time.tv_sec + (double)time.tv_nsec * 1e-9;
}

static int die(const struct error *error)
{
    (void)fprintf(stderr, "bench_share: %s\n", error->text);
    return 1;
}

static void make_noise(int32_t *counts)
{
    uint64_t state = 1;
    for (size_t i = 0; i < NOISE; i++) {
        double sum = -6;
        for (int j = 0; j < 12; j++) {
            state = state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
            sum += (double)(state >> 11) / 9007199254740992.0;
        }
        counts[i] = 48000 + (int32_t)lround(4 * sum);
    }
}

static void make_site(char *text, size_t size)
{
    int at =
        snprintf(text, size, "{\"site\":\"bench\",\"title\":\"Bench\",\"doors\":[],\"rooms\":[");
    for (int i = 0; i < NODES; i++) {
        at += snprintf(text + at, size - (size_t)at,
                       "%s{\"id\":\"room-%d\",\"outline_m\":[[%d,0],[%d,0],[%d,4],[%d,4]]}",
                       i ? "," : "", i, 4 * i, 4 * i + 4, 4 * i + 4, 4 * i);
    }
    at += snprintf(text + at, size - (size_t)at, "],\"nodes\":[");
    for (int i = 0; i < NODES; i++) {
        at +=
            snprintf(text + at, size - (size_t)at,
                     "%s{\"id\":\"n%d\",\"room\":\"room-%d\",\"position_m\":[%d,2,1],\"channels\":["
                     "{\"name\":\"magnetic.x\",\"unit\":\"T\",\"rate_hz\":200},"
                     "{\"name\":\"magnetic.y\",\"unit\":\"T\",\"rate_hz\":200},"
                     "{\"name\":\"magnetic.z\",\"unit\":\"T\",\"rate_hz\":200},"
                     "{\"name\":\"electric\",\"unit\":\"V\",\"rate_hz\":200},"
                     "{\"name\":\"pressure\",\"unit\":\"Pa\",\"rate_hz\":200}]}",
                     i ? "," : "", i, i, 4 * i + 2);
    }
    (void)snprintf(text + at, size - (size_t)at, "]}");
}

static int or_flush(struct night_writer *writer, int result, struct error *error)
{
    return result != 0 && error->code == ERROR_FULL && night_writer_flush(writer, error) == 0
               ? 1
               : result;
}

static int put_frame(struct night_writer *writer, const int32_t *noise, uint32_t node,
                     int64_t frame, struct error *error)
{
    struct block blocks[CHANNELS];
    int64_t node_t0_ns[CHANNELS];
    int64_t t0_ns = START_NS + frame * FRAME_MS * 1000000 + node * 1234567;
    for (uint16_t i = 0; i < CHANNELS; i++) {
        size_t at = (size_t)((frame * CHANNELS + i) * NODES + node) * 131 % (NOISE - FRAME_SAMPLES);
        blocks[i] = (struct block){.channel = i,
                                   .count = FRAME_SAMPLES,
                                   .t0_ns = t0_ns,
                                   .period_ps = PS_PER_S / RATE + node * 11,
                                   .counts = noise + at};
        node_t0_ns[i] = t0_ns - START_NS;
    }
    struct clock_fit fit = {.known = true, .ref_node_ns = frame / 16 * 16 * NS_PER_S};
    struct night_frame_id id = {node, 77, (uint64_t)frame + 1};
    int result = 1;
    while (result == 1) {
        result = or_flush(
            writer, night_put_frame(writer, &id, &fit, blocks, node_t0_ns, CHANNELS, false, error),
            error);
    }
    return result;
}

static int put_finding(struct night_writer *writer, int64_t number, int64_t start_ns,
                       struct error *error)
{
    static struct coincidence found;
    found = (struct coincidence){.id = number,
                                 .start_ns = start_ns,
                                 .end_ns = start_ns + 2 * NS_PER_S,
                                 .witness_count = 4,
                                 .node_count = 4,
                                 .final = true,
                                 .alert = number % 10 == 0,
                                 .chance = {.per_night = 0.01 * (double)number, .p_value = 0.01}};
    for (uint32_t i = 0; i < 4; i++) {
        struct disturbance *one = &found.members[found.member_count++];
        *one = (struct disturbance){.id = 4 * number + i,
                                    .node = (uint32_t)(number + i) % NODES,
                                    .quantity_text = "magnetic",
                                    .unit = "T",
                                    .onset_ns = start_ns + i * 1000000,
                                    .pick_sd_ns = 2000000,
                                    .end_ns = start_ns + 2 * NS_PER_S,
                                    .closed_ns = start_ns + 3 * NS_PER_S,
                                    .peak_ns = start_ns + NS_PER_S / 10,
                                    .peak_value = 2e-7,
                                    .peak_score = 50};
        found.order[found.order_count++] =
            (struct order_entry){one->node, one->onset_ns, 2000000, 0.25};
        if (night_put_disturbance(writer, 1, one, error) != 0) {
            return -1;
        }
    }
    for (int i = 0; i < 9; i++) {
        (void)snprintf(found.verdict.reasons[found.verdict.reason_count++], COINCIDENCE_REASON_SIZE,
                       "cause-%d: measured 1 of 4 nodes, 0.12 of what it would need: does not fit",
                       i);
    }
    return night_put_coincidence(writer, 1, &found, error);
}

static int make_night(const char *path, int64_t frames, struct error *error)
{
    static char text[32768];
    struct site *site = NULL;
    struct night_writer *writer = NULL;
    int32_t *noise = malloc(NOISE * sizeof *noise);
    make_noise(noise);
    make_site(text, sizeof text);
    if (site_parse(text, strlen(text), "bench", &site, error) != 0) {
        return -1;
    }
    struct night_settings settings = {
        .path = path, .site = site, .site_text = text, .start_ns = START_NS, .origin = "bench"};
    int result = night_writer_open(&settings, NULL, NULL, &writer, error) != 0 ||
                         night_put_analysis(writer, 1, site, "bench", error) != 0
                     ? -1
                     : 0;
    for (uint32_t node = 0; result == 0 && node < NODES; node++) {
        struct channel *channels = site->nodes[node].channels;
        for (int i = 0; i < CHANNELS; i++) {
            channels[i].step = (struct decimal){1, -9};
        }
        result = night_put_channels(writer, node, 77, channels, CHANNELS, error);
    }
    int64_t every = frames / FINDINGS > 0 ? frames / FINDINGS : 1;
    for (int64_t frame = 0; result == 0 && frame < frames; frame++) {
        for (uint32_t node = 0; result == 0 && node < NODES; node++) {
            result = put_frame(writer, noise, node, frame, error);
        }
        if (result == 0 && frame % every == every / 2) {
            result = night_writer_flush(writer, error) != 0 ||
                             put_finding(writer, frame / every + 1,
                                         START_NS + frame * FRAME_MS * 1000000, error) != 0
                         ? -1
                         : 0;
        }
    }
    if (result == 0) {
        result = night_writer_close(writer, START_NS + frames * FRAME_MS * 1000000, error);
    }
    site_free(site);
    free(noise);
    return result;
}

static double megabytes(const char *path)
{
    struct stat file;
    return stat(path, &file) == 0 ? (double)file.st_size * 1e-6 : 0.0;
}

/* Runs the program and prints what it took; the seconds. */
static double run(const char *name, char *const arguments[], const char *out, double samples)
{
    struct rusage used;
    int status = 0;
    (void)unlink(out);
    double before = now_s();
    pid_t child = fork();
    if (child == 0) {
        (void)execv(arguments[0], arguments);
        _exit(127);
    }
    (void)wait4(child, &status, 0, &used);
    double seconds = now_s() - before;
    double cpu = (double)(used.ru_utime.tv_sec + used.ru_stime.tv_sec) +
                 (double)(used.ru_utime.tv_usec + used.ru_stime.tv_usec) * 1e-6;
    printf("%-10s exit %d, %.1f s (%.1f s of CPU), %.1f MB, %.2f M samples/s (%.2f of CPU), at most"
           " %.1f MiB resident\n",
           name, WEXITSTATUS(status), seconds, cpu, megabytes(out), samples * 1e-6 / seconds,
           samples * 1e-6 / cpu, (double)used.ru_maxrss / 1024.0);
    (void)fflush(stdout);
    return seconds;
}

/* What the disk takes of as many bytes, synced, from one thread. */
static void write_plainly(const char *path, double bytes)
{
    static char piece[1 << 20];
    memset(piece, '7', sizeof piece);
    double before = now_s();
    int descriptor = open(path, O_CREAT | O_TRUNC | O_WRONLY, 0600);
    for (double left = bytes; descriptor >= 0 && left > 0; left -= (double)sizeof piece) {
        if (write(descriptor, piece, sizeof piece) != (ssize_t)sizeof piece) {
            break;
        }
    }
    (void)fsync(descriptor);
    (void)close(descriptor);
    double seconds = now_s() - before;
    printf("plainly    %.1f s, %.0f MB/s\n", seconds, bytes * 1e-6 / seconds);
    (void)unlink(path);
}

int main(int count, char **arguments)
{
    char night[512];
    char out[512];
    struct error error;
    if (count < 3) {
        (void)fprintf(stderr, "usage: bench_share ROOMWAKE FOLDER [HOURS]\n");
        return 2;
    }
    double hours = count > 3 ? strtod(arguments[3], NULL) : 8.0;
    int64_t frames = (int64_t)(hours * 3600e3 / FRAME_MS);
    double samples = (double)frames * NODES * CHANNELS * FRAME_SAMPLES;
    (void)snprintf(night, sizeof night, "%s/share.sqlite", arguments[2]);
    (void)snprintf(out, sizeof out, "%s/share.out", arguments[2]);
    (void)unlink(night);
    if (make_night(night, frames, &error) != 0) {
        return die(&error);
    }
    printf("night      %.1f h, %.1f M samples, %.0f MB\n", hours, samples * 1e-6, megabytes(night));
    static char *const formats[] = {"csv", "mseed", "senml", "json", "webvtt"};
    char *report[] = {arguments[1], "report", night, "--out", out, NULL};
    (void)run("report", report, out, samples);
    for (size_t i = 0; i < sizeof formats / sizeof *formats; i++) {
        char *export[] = {arguments[1], "export", night, "--format",
                          formats[i],   "--out",  out,   NULL};
        double seconds = run(formats[i], export, out, samples);
        double bytes = megabytes(out) * 1e6;
        (void)unlink(out);
        if (i == 0) {
            printf("           %.0f MB/s\n", bytes * 1e-6 / seconds);
            write_plainly(out, bytes);
        }
    }
    char *seconds[] = {arguments[1],   "export", night, "--format", "csv",
                       "--per-second", "--out",  out,   NULL};
    (void)run("seconds", seconds, out, samples);
    (void)unlink(out);
    (void)unlink(night);
    return 0;
}
