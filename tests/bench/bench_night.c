/* How many bytes a stored sample takes and how many samples a second the writer commits: noise of
 * 4 counts at 200 Hz, 5 channels a node, blocks of one second. Prints; judges nothing.
 * Must never be part of the unit tests: it writes tens of megabytes. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>

#include "collector/export/exporter.h"
#include "collector/night/reader.h"
#include "collector/night/window.h"
#include "collector/night/writer.h"
#include "common/clock.h"

#define CHANNELS 5
#define RATE 200
#define START_NS (INT64_C(1700000000) * NS_PER_S)
#define SECONDS 28800 /* a night of 8 hours */

static int die(const struct error *error)
{
    (void)fprintf(stderr, "bench_night: %s\n", error->text);
    return 1;
}

static double seconds_of_cpu(void)
{
    struct rusage usage;
    (void)getrusage(RUSAGE_SELF, &usage);
    return (double)(usage.ru_utime.tv_sec + usage.ru_stime.tv_sec) +
           (double)(usage.ru_utime.tv_usec + usage.ru_stime.tv_usec) * 1e-6;
}

/* A few seconds of noise, used again and again: making noise is not what is measured. */
static void make_noise(int32_t *counts, size_t size)
{
    uint64_t state = 1;
    for (size_t i = 0; i < size; i++) {
        double sum = -6;
        for (int j = 0; j < 12; j++) {
            state = state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
            sum += (double)(state >> 11) / 9007199254740992.0;
        }
        counts[i] = 48000 + (int32_t)lround(4 * sum);
    }
}

static int put_night(struct night_writer *writer, const int32_t *noise, size_t size,
                     int64_t start_ns, struct error *error)
{
    for (int64_t second = 0; second < SECONDS; second++) {
        struct block blocks[CHANNELS];
        int64_t node_t0_ns[CHANNELS];
        for (uint16_t i = 0; i < CHANNELS; i++) {
            size_t at = (size_t)(second * CHANNELS + i) * 131 % (size - RATE);
            blocks[i] = (struct block){.channel = i,
                                       .count = RATE,
                                       .t0_ns = start_ns + second * NS_PER_S,
                                       .period_ps = PS_PER_S / RATE,
                                       .counts = noise + at};
            node_t0_ns[i] = second * NS_PER_S + 123456789;
        }
        struct clock_fit fit = {.known = true, .ref_node_ns = second / 16 * 16 * NS_PER_S};
        struct night_frame_id id = {0, 77, (uint64_t)second + 1};
        while (night_put_frame(writer, &id, &fit, blocks, node_t0_ns, CHANNELS, false, error) !=
               0) {
            if (error->code != ERROR_FULL || night_writer_flush(writer, error) != 0) {
                return -1;
            }
        }
    }
    return night_writer_flush(writer, error);
}

static int read_night(const char *path, struct error *error)
{
    struct night_reader *reader = NULL;
    struct night_blocks *cursor = NULL;
    struct night_block_row row;
    if (night_reader_open(path, &reader, error) != 0) {
        return -1;
    }
    double before = seconds_of_cpu();
    uint64_t samples = 0;
    int more = night_blocks_open(reader, SIZE_MAX, INT64_MIN, INT64_MAX, &cursor, error);
    while (more == 0 && (more = night_blocks_next(cursor, &row, error)) == 1) {
        samples += row.block.count;
        more = 0;
    }
    night_blocks_close(cursor);
    double spent = seconds_of_cpu() - before;
    printf("read: %.1f M samples/s of CPU\n", (double)samples / spent * 1e-6);
    static struct night_pixel pixels[2000];
    before = seconds_of_cpu();
    if (more >= 0) {
        more = night_read_window(reader, 0, "c0", START_NS, START_NS + SECONDS * NS_PER_S, 2000,
                                 pixels, error);
    }
    printf("the whole night as 2000 pixels: %.1f ms\n", (seconds_of_cpu() - before) * 1e3);
    before = seconds_of_cpu();
    struct export_options options = {.from_ns = INT64_MIN, .to_ns = INT64_MAX, .path = "/dev/null"};
    if (more >= 0) {
        more = export_run("csv", reader, &options, error);
    }
    printf("csv: %.2f M samples/s of CPU\n", (double)samples / (seconds_of_cpu() - before) * 1e-6);
    night_reader_close(reader);
    return more;
}

int main(int count, char **arguments)
{
    const char *path = count > 1 ? arguments[1] : "bench-night.sqlite";
    char text[1024] = "{\"site\":\"bench\",\"title\":\"Bench\",\"rooms\":[{\"id\":\"hall\","
                      "\"title\":\"Hall\",\"outline_m\":[[0,0],[6,0],[6,4],[0,4]]}],\"doors\":[],"
                      "\"nodes\":[{\"id\":\"n1\",\"room\":\"hall\",\"position_m\":[1,2,0.8],"
                      "\"channels\":[";
    for (int i = 0; i < CHANNELS; i++) {
        (void)sprintf(text + strlen(text), "%s{\"name\":\"c%d\",\"unit\":\"T\",\"rate_hz\":%d}",
                      i ? "," : "", i, RATE);
    }
    (void)strcat(text, "]}]}");
    struct site *site = NULL;
    struct error error;
    if (site_parse(text, strlen(text), "bench", &site, &error) != 0) {
        return die(&error);
    }
    enum { NOISE = 1 << 20 };
    int32_t *noise = malloc(NOISE * sizeof *noise);
    make_noise(noise, NOISE);
    int64_t start_ns = START_NS;
    struct night_settings settings = {
        .path = path, .site = site, .site_text = text, .start_ns = start_ns, .origin = "bench"};
    struct night_writer *writer = NULL;
    (void)remove(path);
    double before = seconds_of_cpu();
    if (night_writer_open(&settings, NULL, NULL, &writer, &error) != 0 ||
        night_put_channels(writer, 0, 77, site->nodes[0].channels, CHANNELS, &error) != 0 ||
        put_night(writer, noise, NOISE, start_ns, &error) != 0 ||
        night_writer_close(writer, start_ns + SECONDS * NS_PER_S, &error) != 0) {
        return die(&error);
    }
    double spent = seconds_of_cpu() - before;
    double samples = (double)SECONDS * RATE * CHANNELS;
    struct stat file;
    (void)stat(path, &file);
    printf("written: %.1f M samples/s of CPU, %.3f bytes a sample\n", samples / spent * 1e-6,
           (double)file.st_size / samples);
    int result = read_night(path, &error) == 0 ? 0 : die(&error);
    (void)remove(path);
    free(noise);
    site_free(site);
    return result;
}
