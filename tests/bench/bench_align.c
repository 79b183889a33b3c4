/* bench_align [HOURS [RATE_HZ [DRIFT_PPM]]]: lines a long noisy recording up with a night and tells
 * error, stated error, time and memory; bench_align truth [SCENES]: whether the stated error is
 * true. Must never leave its files behind. Run by hand.
 *
 * The recording (8 h, 48 kHz, one channel, 16 bits, by default): a chirp an hour with five echoes,
 * noise as loud as the chirps (0 dB), the recorder's clock off by -200, 0 and 200 ppm (or as told),
 * started at an unknown time. Limits to hold it to: 2 ms over the night, 60 s, 64 MiB. */
#include <sndfile.h>
#include <stdio.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>
#include <unistd.h>

#include "collector/align/match.h"
#include "collector/night/writer.h"
#include "collector/record/align.h"
#include "tests/unit/align/scene.h"

#define START_NS INT64_C(1700000000000000000)
#define CHIRPS_MOST 32
#define MARK_SD_S 0.0005

static const char site_text[] = "{\"site\":\"bench\",\"title\":\"bench\",\"mains_hz\":50,\"rooms\":"
                                "[{\"id\":\"hall\",\"title\":\"Hall\","
                                "\"floor\":0,\"outline_m\":[[0,0],[4,0],[4,4],[0,4]]}],\"doors\":[]"
                                ",\"nodes\":[{\"id\":\"n1\",\"room\":"
                                "\"hall\",\"position_m\":[1,1,1],\"channels\":[{\"name\":"
                                "\"electric\",\"unit\":\"V\",\"rate_hz\":50}]}]}";

static double now_s(void)
{
    struct timespec now;
    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec / 1e9;
}

static void take(void *context, const float *samples, size_t count)
{
    (void)sf_writef_float(context, samples, (sf_count_t)count);
}

/* A night with nothing in it but the marks, each off by a little that the mark states. */
static int make_night(const char *path, const double *chirps_s, size_t count, struct error *error)
{
    struct site *site = NULL;
    struct night_writer *writer = NULL;
    uint64_t state = 99;
    if (site_parse(site_text, sizeof site_text - 1, "site", &site, error) != 0) {
        return -1;
    }
    const struct night_settings settings = {.path = path,
                                            .site = site,
                                            .site_text = site_text,
                                            .start_ns = START_NS,
                                            .origin = "bench"};
    int result = night_writer_open(&settings, NULL, NULL, &writer, error);
    for (size_t i = 0; result == 0 && i < count; i++) {
        struct mark mark = {.id = (int64_t)i + 1};
        mark.start_ns = START_NS + llround((chirps_s[i] + MARK_SD_S * scene_gauss(&state)) * 1e9);
        mark.end_ns = mark.start_ns;
        mark.noted_ns = mark.start_ns;
        (void)snprintf(mark.text, sizeof mark.text, "chirp +- %g s", MARK_SD_S);
        result = night_put_mark(writer, &mark, error);
    }
    if (writer && night_writer_close(writer, START_NS + INT64_C(40000000000000), error) != 0) {
        result = -1;
    }
    site_free(site);
    return result;
}

static int one_run(double hours, double rate_hz, double drift_ppm, const char *folder)
{
    double chirps_s[CHIRPS_MOST];
    char night[256];
    char sound[256];
    struct error error;
    size_t count = 0;
    (void)snprintf(night, sizeof night, "%s/night.sqlite", folder);
    (void)snprintf(sound, sizeof sound, "%s/sound.wav", folder);
    for (double at_s = 500; at_s < hours * 3600 && count < CHIRPS_MOST; at_s += 3600) {
        chirps_s[count++] = at_s;
    }
    chirps_s[count++] = hours * 3600 - 120;
    const struct scene scene = {rate_hz, hours * 3600, 77.125, drift_ppm, 0.07, chirps_s,
                                count,   NULL,         0,      1234567,   0};
    SF_INFO head = {.samplerate = (int)rate_hz,
                    .channels = 1,
                    .format =
                        (rate_hz > 50000 ? SF_FORMAT_RF64 : SF_FORMAT_WAV) | SF_FORMAT_PCM_16};
    SNDFILE *file = sf_open(sound, SFM_WRITE, &head);
    if (!file) {
        fprintf(stderr, "%s: %s\n", sound, sf_strerror(NULL));
        return -1;
    }
    scene_play(&scene, take, file);
    (void)sf_close(file);
    struct align_result result;
    struct align_levels levels = {0};
    const struct align_settings settings = {.night_path = night,
                                            .recording_path = sound,
                                            .start_ns = INT64_MIN,
                                            .distance_m = 0,
                                            .levels = &levels};
    double began_s = now_s();
    double began_cpu_s = (double)clock() / CLOCKS_PER_SEC;
    int outcome = make_night(night, chirps_s, count, &error);
    outcome = outcome == 0 ? align_run(&settings, &result, &error) : outcome;
    double took_s = now_s() - began_s;
    double cpu_s = (double)clock() / CLOCKS_PER_SEC - began_cpu_s;
    align_levels_free(&levels);
    (void)unlink(night);
    (void)unlink(sound);
    if (outcome != 0) {
        fprintf(stderr, "%s\n", error.text);
        return -1;
    }
    double worst_s = 0;
    double stated_s = 0;
    for (int i = 0; i <= 100; i++) {
        double own_s = hours * 36 * i;
        double true_s = scene.start_s + own_s * (1 + drift_ppm * 1e-6);
        double off_s =
            fabs((double)(match_site_ns(&result.match, own_s) - START_NS) / 1e9 - true_s);
        worst_s = fmax(worst_s, off_s);
        stated_s = fmax(stated_s, match_sd_s(&result.match, own_s));
    }
    struct rusage usage;
    (void)getrusage(RUSAGE_SELF, &usage);
    printf("%5.1f h at %6.0f Hz, %+4.0f ppm: %zu of %zu sounds; worst error %.3f ms, stated sigma"
           " %.3f ms; %.1f s (%.1f of CPU), %.1f MiB\n",
           hours, rate_hz, drift_ppm, result.match.used, count, worst_s * 1e3, stated_s * 1e3,
           took_s, cpu_s, (double)usage.ru_maxrss / 1024);
    return 0;
}

static void hear(void *context, const float *samples, size_t count)
{
    finder_push(context, samples, count);
}

/* How the marks of a scene are off by what they state: all alike, as by a player's latency, and
 * each by a fifth of it more; or each for itself. */
enum off { OFF_ALIKE, OFF_EACH };

/* A scene of 200 s by chance: start, drift, the room's echoes, three to six chirps at uneven times,
 * marks that are off. Adds how far off beginning, middle and end are, in stated sigmas. */
static int one_scene(uint64_t *state, double mark_sd_s, enum off off, double *z)
{
    double chirps_s[6];
    struct match_anchor anchors[6];
    struct finder *finder = NULL;
    struct match match;
    struct error error;
    const size_t count = 3 + (size_t)(*state >> 20) % 4;
    const struct scene scene = {16000,
                                200,
                                77 + scene_gauss(state),
                                100 * scene_gauss(state),
                                0.07,
                                chirps_s,
                                count,
                                NULL,
                                0,
                                *state | 1,
                                *state ^ 0x5555};
    const double alike_s = off == OFF_ALIKE ? mark_sd_s * scene_gauss(state) : 0.0;
    const double own_sd_s = off == OFF_ALIKE ? 0.2 * mark_sd_s : mark_sd_s;
    for (size_t i = 0; i < count; i++) {
        double slot_s = 190.0 / (double)count;
        chirps_s[i] =
            scene.start_s + slot_s * ((double)i + 0.5) + 0.1 * slot_s * scene_gauss(state);
        anchors[i] = (struct match_anchor){
            FINDER_CHIRP,
            START_NS + llround((chirps_s[i] + alike_s + own_sd_s * scene_gauss(state)) * 1e9),
            mark_sd_s};
    }
    if (finder_new(scene.rate_hz, &finder, &error) != 0) {
        return -1;
    }
    scene_play(&scene, hear, finder);
    finder_finish(finder);
    int result = match_find(anchors, count, finder, scene.length_s, INT64_MIN, &match, &error);
    finder_free(finder);
    for (int i = 0; result == 0 && i < 3; i++) {
        double own_s = 100.0 * i;
        double true_s = scene.start_s + own_s * (1 + scene.drift_ppm * 1e-6);
        double off_s = (double)(match_site_ns(&match, own_s) - START_NS) / 1e9 - true_s;
        z[i] = off_s / match_sd_s(&match, own_s);
    }
    return result;
}

static void tell_truth_of(int scenes, double mark_sd_s, enum off off)
{
    uint64_t state = 4711;
    int lost = 0;
    int within[3] = {0};
    double worst = 0;
    for (int i = 0; i < scenes; i++) {
        double z[3] = {0};
        if (one_scene(&state, mark_sd_s, off, z) != 0) {
            lost++;
            continue;
        }
        for (int j = 0; j < 3; j++) {
            within[0] += fabs(z[j]) <= 1;
            within[1] += fabs(z[j]) <= 2;
            within[2] += fabs(z[j]) <= 3;
            worst = fmax(worst, fabs(z[j]));
        }
    }
    double all = 3.0 * (scenes - lost);
    printf("marks +- %.1f ms, %s: of %d scenes %d not lined up; error within 1, 2, 3 stated sigmas"
           " in %.1f, %.1f, %.1f %%; at most %.1f\n",
           mark_sd_s * 1e3, off == OFF_ALIKE ? "off alike" : "each by itself", scenes, lost,
           100 * within[0] / all, 100 * within[1] / all, 100 * within[2] / all, worst);
    (void)fflush(stdout);
}

static int tell_truth(int scenes)
{
    static const double marks_s[] = {0.0001, 0.0005, 0.005, 0.05};
    for (size_t m = 0; m < sizeof marks_s / sizeof *marks_s; m++) {
        tell_truth_of(scenes, marks_s[m], OFF_ALIKE);
        tell_truth_of(scenes, marks_s[m], OFF_EACH);
    }
    return 0;
}

int main(int argc, char **argv)
{
    if (argc > 1 && strcmp(argv[1], "truth") == 0) {
        return tell_truth(argc > 2 ? atoi(argv[2]) : 300);
    }
    double hours = argc > 1 ? strtod(argv[1], NULL) : 8;
    double rate_hz = argc > 2 ? strtod(argv[2], NULL) : 48000;
    char folder[] = "./bench-align-XXXXXX";
    if (!(hours > 0.2 && hours < 25) || !(rate_hz >= 8000) || !mkdtemp(folder)) {
        return 2;
    }
    int result = argc > 3 ? one_run(hours, rate_hz, strtod(argv[3], NULL), folder) : 0;
    for (int i = -1; i <= 1 && result == 0 && argc <= 3; i++) {
        result = one_run(hours, rate_hz, 200.0 * i, folder);
    }
    (void)rmdir(folder);
    return result == 0 ? 0 : 1;
}
