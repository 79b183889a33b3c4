/* A whole night, made as fast as it can be written: its size, any window of it as 2,000 pixels warm
 * and cold, its re-analysis, and the memory all that takes. Prints; judges nothing.
 * Must never be part of the unit tests. `bench_whole_night PATH [HOURS [NODES [keep]]]`. */
#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include "collector/night/reader.h"
#include "collector/night/window.h"
#include "collector/night/writer.h"
#include "collector/record/analyse.h"
#include "common/clock.h"

#define CHANNELS 5
#define RATE 200
#define FRAME 140 /* samples: 0.7 s, as nodes make them */
#define START_NS (INT64_C(1700000000) * NS_PER_S)
#define NOISE (1 << 20)
#define NODES_MAX 1000
#define PIXELS 2000
#define WINDOWS 200

static const char *const names[CHANNELS] = {"magnetic.x", "magnetic.y", "magnetic.z", "electric",
                                            "vibration.x"};
static const char *const units[CHANNELS] = {"T", "T", "T", "count", "m/s2"};

static void stop(const struct error *error)
{
    (void)fprintf(stderr, "bench_whole_night: %s\n", error->text);
    exit(1);
}

static double wall_s(void)
{
    const struct clock_source clock = clock_system();
    return (double)clock.mono_ns(clock.context) * 1e-9;
}

static double cpu_s(void)
{
    struct rusage usage;
    (void)getrusage(RUSAGE_SELF, &usage);
    return (double)(usage.ru_utime.tv_sec + usage.ru_stime.tv_sec) +
           (double)(usage.ru_utime.tv_usec + usage.ru_stime.tv_usec) * 1e-6;
}

static double peak_mib(void)
{
    struct rusage usage;
    (void)getrusage(RUSAGE_SELF, &usage);
    return (double)usage.ru_maxrss / 1024;
}

static uint64_t next_random(uint64_t *state)
{
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    return *state;
}

static double normal(uint64_t *state)
{
    double sum = -6;
    for (int i = 0; i < 12; i++) {
        sum += (double)(next_random(state) >> 11) / 9007199254740992.0;
    }
    return sum;
}

/* Noise of 4 counts, a walk and hum of the mains; used again and again from other places, and a
 * pulse once in a while. */
static void make_signal(int32_t *counts)
{
    uint64_t state = 88172645463325252u;
    double walk = 0;
    for (int i = 0; i < NOISE; i++) {
        walk += 0.02 * normal(&state) - 1e-5 * walk;
        counts[i] =
            (int32_t)lrint(4 * normal(&state) + walk + 40 * sin(2 * M_PI * 50.02 * i / RATE));
    }
    for (int i = NOISE / 2; i < NOISE / 2 + 100; i++) {
        counts[i] += 300;
    }
}

static struct site *make_site(int nodes, char **text)
{
    struct site *site = NULL;
    struct error error;
    size_t size = 0;
    FILE *file = open_memstream(text, &size);
    (void)fprintf(file, "{\"site\":\"bench\",\"title\":\"Bench\",\"rooms\":[{\"id\":\"hall\","
                        "\"title\":\"Hall\",\"outline_m\":[[0,0],[6,0],[6,4],[0,4]]}],\"doors\":[],"
                        "\"nodes\":[");
    for (int node = 0; node < nodes; node++) {
        (void)fprintf(file,
                      "%s{\"id\":\"n%d\",\"room\":\"hall\",\"position_m\":[1,2,0.8],\"channels\":[",
                      node ? "," : "", node);
        for (int i = 0; i < CHANNELS; i++) {
            (void)fprintf(file, "%s{\"name\":\"%s\",\"unit\":\"%s\",\"rate_hz\":%d}", i ? "," : "",
                          names[i], units[i], RATE);
        }
        (void)fprintf(file, "]}");
    }
    (void)fprintf(file, "]}");
    (void)fclose(file);
    if (site_parse(*text, size, "bench", &site, &error) != 0) {
        stop(&error);
    }
    return site;
}

static void put_frame(struct night_writer *writer, const int32_t *signal, uint32_t node,
                      int64_t index)
{
    struct block blocks[CHANNELS];
    int64_t node_t0_ns[CHANNELS];
    struct error error;
    const int64_t t0_ns = START_NS + index * FRAME * (NS_PER_S / RATE);
    for (uint16_t i = 0; i < CHANNELS; i++) {
        size_t at = ((size_t)(index * FRAME) + (size_t)(node * CHANNELS + i) * 40000) %
                    (NOISE - FRAME) / 4 * 4;
        blocks[i] = (struct block){.channel = i,
                                   .count = FRAME,
                                   .t0_ns = t0_ns + node * 1000,
                                   .period_ps = PS_PER_S / RATE,
                                   .counts = signal + at};
        node_t0_ns[i] = t0_ns - START_NS + node * 1000 + 123456789;
    }
    struct clock_fit fit = {.known = true, .ref_node_ns = index / 23 * NS_PER_S};
    struct night_frame_id id = {node, 77, (uint64_t)index + 1};
    while (night_put_frame(writer, &id, &fit, blocks, node_t0_ns, CHANNELS, false, &error) != 0) {
        if (error.code != ERROR_FULL || night_writer_flush(writer, &error) != 0) {
            stop(&error);
        }
    }
}

static void write_night(const char *path, const struct site *site, const char *text, int64_t frames)
{
    struct error error;
    struct night_writer *writer = NULL;
    struct night_settings settings = {.path = path,
                                      .site = site,
                                      .site_text = text,
                                      .start_ns = START_NS,
                                      .origin = "bench",
                                      .queue_bytes = (size_t)4 << 20};
    static int32_t signal[NOISE];
    make_signal(signal);
    double wall = wall_s();
    double cpu = cpu_s();
    if (night_writer_open(&settings, NULL, NULL, &writer, &error) != 0) {
        stop(&error);
    }
    for (uint32_t node = 0; node < site->node_count; node++) {
        struct channel channels[CHANNELS];
        memcpy(channels, site->nodes[node].channels, sizeof channels);
        for (int i = 0; i < CHANNELS; i++) {
            channels[i].step = (struct decimal){15, -9};
        }
        if (night_put_channels(writer, node, 77, channels, CHANNELS, &error) != 0) {
            stop(&error);
        }
    }
    for (int64_t index = 0; index < frames; index++) {
        for (uint32_t node = 0; node < site->node_count; node++) {
            put_frame(writer, signal, node, index);
        }
    }
    int64_t end_ns = START_NS + frames * FRAME * (NS_PER_S / RATE);
    if (night_writer_close(writer, end_ns, &error) != 0) {
        stop(&error);
    }
    double samples = (double)frames * FRAME * CHANNELS * (double)site->node_count;
    struct stat file;
    (void)stat(path, &file);
    printf("written: %.1f M samples, %.1f s: %.2f M samples/s, %.1f ns of processor a sample,"
           " %.3f bytes a sample, peak %.1f MiB\n",
           samples * 1e-6, wall_s() - wall, samples / (wall_s() - wall) * 1e-6,
           (cpu_s() - cpu) / samples * 1e9, (double)file.st_size / samples, peak_mib());
}

/* What the system kept of the file is given back, as after days. */
static void forget(const char *path)
{
    int descriptor = open(path, O_RDONLY | O_CLOEXEC);
    if (descriptor >= 0) {
        (void)fsync(descriptor);
        (void)posix_fadvise(descriptor, 0, 0, POSIX_FADV_DONTNEED);
        (void)close(descriptor);
    }
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x > y) - (x < y);
}

static void read_windows(const char *path, const struct site *site, int64_t length_ns, bool cold)
{
    static struct night_pixel pixels[PIXELS];
    static double ms[WINDOWS];
    struct error error;
    struct night_reader *reader = NULL;
    uint64_t state = 5;
    for (int i = 0; i < WINDOWS; i++) {
        int64_t window_ns = length_ns >> (i % 16);
        int64_t from_ns =
            START_NS + (int64_t)(next_random(&state) % (uint64_t)(length_ns - window_ns + 1));
        uint32_t node = (uint32_t)(next_random(&state) % site->node_count);
        if (!reader && night_reader_open(path, &reader, &error) != 0) {
            stop(&error);
        }
        if (cold) {
            forget(path);
        }
        double begun = wall_s();
        if (night_read_window(reader, node, names[i % CHANNELS], from_ns, from_ns + window_ns,
                              PIXELS, pixels, &error) != 0) {
            stop(&error);
        }
        ms[i] = (wall_s() - begun) * 1e3;
        if (cold) {
            night_reader_close(reader);
            reader = NULL;
        }
    }
    night_reader_close(reader);
    qsort(ms, WINDOWS, sizeof *ms, by_size);
    printf("windows of %d pixels, %s: median %.2f ms, 95 of 100 under %.2f ms, most %.2f ms\n",
           PIXELS, cold ? "cold" : "warm", ms[WINDOWS / 2], ms[WINDOWS * 95 / 100],
           ms[WINDOWS - 1]);
}

int main(int count, char **arguments)
{
    const char *path = count > 1 ? arguments[1] : "bench-whole-night.sqlite";
    double hours = count > 2 ? atof(arguments[2]) : 8;
    int nodes = count > 3 ? atoi(arguments[3]) : 12;
    if (nodes < 1 || nodes > NODES_MAX) {
        (void)fprintf(stderr, "bench_whole_night: 1 to %d nodes\n", NODES_MAX);
        return 2;
    }
    char *text = NULL;
    struct site *site = make_site(nodes, &text);
    int64_t frames = (int64_t)(hours * 3600 * RATE / FRAME);
    int64_t length_ns = frames * FRAME * (NS_PER_S / RATE);
    printf("%g h, %d nodes, %d channels at %d Hz\n", hours, nodes, CHANNELS, RATE);
    (void)remove(path);
    write_night(path, site, text, frames);
    (void)fflush(stdout);
    read_windows(path, site, length_ns, false);
    read_windows(path, site, length_ns, true);
    (void)fflush(stdout);
    struct error error;
    double wall = wall_s();
    double cpu = cpu_s();
    struct findings_counts counts;
    if (analyse_night(path, NULL, "bench", NULL, &counts, NULL, &error) != 0) {
        stop(&error);
    }
    double samples = (double)frames * FRAME * CHANNELS * nodes;
    printf(
        "reanalyse: %.1f s, %.0f times real time, %.1f ns of processor a sample, peak %.1f MiB\n",
        wall_s() - wall, (double)length_ns * 1e-9 / (wall_s() - wall),
        (cpu_s() - cpu) / samples * 1e9, peak_mib());
    if (count < 5 || strcmp(arguments[4], "keep") != 0) {
        (void)remove(path);
    }
    site_free(site);
    free(text);
    return 0;
}
