/* How long the loop is held up by the night: every call of night_put_frame timed while the writer
 * commits with FULL sync and folds its log, at many times the load of twelve nodes. Prints a
 * histogram; judges nothing. Must never be part of the unit tests. `bench_stall PATH [SECONDS]`. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "collector/night/writer.h"
#include "common/clock.h"

#define NODES 12
#define CHANNELS 5
#define RATE 200
#define FRAME 140
#define TIMES_REAL 40 /* of the nodes' own pace */
#define START_NS (INT64_C(1700000000) * NS_PER_S)

static const char *const units[CHANNELS] = {"T", "T", "T", "count", "m/s2"};
static const char *const names[CHANNELS] = {"magnetic.x", "magnetic.y", "magnetic.z", "electric",
                                            "vibration.x"};
static const int64_t edges_ns[] = {10000,   100000,   1000000,  2000000,
                                   5000000, 10000000, 20000000, INT64_MAX};
#define EDGES (sizeof edges_ns / sizeof *edges_ns)

static int64_t now_ns(void)
{
    const struct clock_source clock = clock_system();
    return clock.mono_ns(clock.context);
}

static void stop(const struct error *error)
{
    (void)fprintf(stderr, "bench_stall: %s\n", error->text);
    exit(1);
}

static struct site *make_site(char **text)
{
    struct site *site = NULL;
    struct error error;
    size_t size = 0;
    FILE *file = open_memstream(text, &size);
    (void)fprintf(file, "{\"site\":\"bench\",\"title\":\"Bench\",\"rooms\":[{\"id\":\"hall\","
                        "\"title\":\"Hall\",\"outline_m\":[[0,0],[6,0],[6,4],[0,4]]}],\"doors\":[],"
                        "\"nodes\":[");
    for (int node = 0; node < NODES; node++) {
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

/* Returns how long the call took. */
static int64_t put_frame(struct night_writer *writer, uint32_t node, int64_t index)
{
    static int32_t counts[FRAME];
    struct block blocks[CHANNELS];
    int64_t node_t0_ns[CHANNELS];
    struct error error;
    const int64_t t0_ns = START_NS + index * FRAME * (NS_PER_S / RATE);
    for (int i = 0; i < FRAME; i++) {
        counts[i] = (int32_t)((uint32_t)(index * FRAME + i) * 2654435761u >> 27);
    }
    for (uint16_t i = 0; i < CHANNELS; i++) {
        blocks[i] = (struct block){.channel = i,
                                   .count = FRAME,
                                   .t0_ns = t0_ns,
                                   .period_ps = PS_PER_S / RATE,
                                   .counts = counts};
        node_t0_ns[i] = t0_ns - START_NS;
    }
    struct clock_fit fit = {.known = true};
    struct night_frame_id id = {node, 77, (uint64_t)index + 1};
    int64_t begun_ns = now_ns();
    if (night_put_frame(writer, &id, &fit, blocks, node_t0_ns, CHANNELS, false, &error) != 0) {
        stop(&error);
    }
    return now_ns() - begun_ns;
}

int main(int count, char **arguments)
{
    const char *path = count > 1 ? arguments[1] : "bench-stall.sqlite";
    int64_t seconds = count > 2 ? atoi(arguments[2]) : 30;
    uint64_t histogram[EDGES] = {0};
    int64_t most_ns = 0;
    struct error error;
    struct night_writer *writer = NULL;
    char *text = NULL;
    struct site *site = make_site(&text);
    struct night_settings settings = {
        .path = path, .site = site, .site_text = text, .start_ns = START_NS, .origin = "bench"};
    (void)remove(path);
    if (night_writer_open(&settings, NULL, NULL, &writer, &error) != 0) {
        stop(&error);
    }
    for (uint32_t node = 0; node < NODES; node++) {
        if (night_put_channels(writer, node, 77, site->nodes[node].channels, CHANNELS, &error) !=
            0) {
            stop(&error);
        }
    }
    const int64_t every_ns = FRAME * (NS_PER_S / RATE) / TIMES_REAL;
    const int64_t begun_ns = now_ns();
    int64_t index = 0;
    for (; index * every_ns < seconds * NS_PER_S; index++) {
        while (now_ns() < begun_ns + index * every_ns) {
            (void)nanosleep(&(struct timespec){.tv_nsec = 500000}, NULL);
        }
        for (uint32_t node = 0; node < NODES; node++) {
            int64_t took_ns = put_frame(writer, node, index);
            size_t edge = 0;
            while (took_ns > edges_ns[edge]) {
                edge++;
            }
            histogram[edge]++;
            most_ns = took_ns > most_ns ? took_ns : most_ns;
        }
    }
    printf("%d nodes at %d times their pace, %lld s: %lld calls, the longest %.3f ms\n", NODES,
           TIMES_REAL, (long long)seconds, (long long)(index * NODES), (double)most_ns * 1e-6);
    for (size_t i = 0; i + 1 < EDGES; i++) {
        printf("  up to %7.2f ms: %llu\n", (double)edges_ns[i] * 1e-6,
               (unsigned long long)histogram[i]);
    }
    printf("  beyond          : %llu\n", (unsigned long long)histogram[EDGES - 1]);
    if (night_writer_close(writer, START_NS + index * FRAME * (NS_PER_S / RATE), &error) != 0) {
        stop(&error);
    }
    (void)remove(path);
    site_free(site);
    free(text);
    return 0;
}
