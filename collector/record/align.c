/* Gathers the night's sounds to line up by, listens through the recording, tells the outcome.
 * Must never hold more than a piece of the recording. Called by cmd_align.c. */
#include "collector/record/align.h"

#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <time.h>

#include "collector/align/finder.h"
#include "collector/align/level.h"
#include "collector/export/whole.h"
#include "collector/night/reader.h"
#include "common/json.h"
#include "common/text.h"
#include "common/timefmt.h"

#define NS_PER_S 1e9
/* A hand on a key and a clap: our choice. What a computer's sound output adds: "chirp +- 0.05 s" in
 * the mark says it. */
#define CLAP_SD_S 0.15
#define CHIRP_SD_S 0.05
#define SD_MOST_S 2.0
/* A node that heard it within this of the mark tells its time better than a hand. */
#define HEARD_WITHIN_NS INT64_C(1000000000)
/* The node's own distance from the sound is not known: a few metres. */
#define HEARD_SD_S 0.01
#define PIECE 8192
#define DAY_S 86400.0

struct anchors {
    size_t count;
    size_t kinds[FINDER_KINDS];
    size_t from_nodes;
    struct match_anchor of[MATCH_ANCHORS_MAX];
    int64_t off_by[MATCH_ANCHORS_MAX]; /* of the node's onset that was taken; INT64_MAX: none */
    struct error *error;
};

static int take_mark(void *context, const struct mark *mark)
{
    struct anchors *anchors = context;
    double sd_s = CHIRP_SD_S;
    enum finder_kind kind = FINDER_CHIRP;
    if (strncasecmp(mark->text, "clap", 4) == 0) {
        kind = FINDER_CLAP;
        sd_s = CLAP_SD_S;
    } else if (strncasecmp(mark->text, "chirp", 5) != 0) {
        return 0;
    }
    const char *stated = strstr(mark->text, "+-");
    if (stated) {
        double value = strtod(stated + 2, NULL);
        sd_s = value > 0.0 && value <= SD_MOST_S ? value : sd_s;
    }
    if (anchors->count == MATCH_ANCHORS_MAX) {
        return error_set(anchors->error, ERROR_RANGE, "more than %d marks to line up by",
                         MATCH_ANCHORS_MAX);
    }
    anchors->kinds[kind]++;
    anchors->off_by[anchors->count] = INT64_MAX;
    anchors->of[anchors->count++] = (struct match_anchor){kind, mark->start_ns, sd_s};
    return 0;
}

struct hearing {
    struct anchors *anchors;
    struct anchors marked; /* as the hands told it */
};

static int take_heard(void *context, const struct disturbance *disturbance)
{
    struct hearing *hearing = context;
    struct anchors *anchors = hearing->anchors;
    if (strcmp(disturbance->quantity_text, "sound") != 0 &&
        strcmp(disturbance->quantity_text, "vibration") != 0) {
        return 0;
    }
    for (size_t i = 0; i < anchors->count; i++) {
        int64_t off = disturbance->onset_ns - hearing->marked.of[i].site_ns;
        off = off < 0 ? -off : off;
        if (off <= HEARD_WITHIN_NS && off < anchors->off_by[i]) {
            anchors->from_nodes += anchors->off_by[i] == INT64_MAX;
            anchors->off_by[i] = off;
            anchors->of[i].site_ns = disturbance->onset_ns;
            anchors->of[i].sd_s =
                hypot((double)disturbance_onset_sd_ns(disturbance) / NS_PER_S, HEARD_SD_S);
        }
    }
    return 0;
}

static int by_time(const void *a, const void *b)
{
    int64_t x = ((const struct match_anchor *)a)->site_ns;
    int64_t y = ((const struct match_anchor *)b)->site_ns;
    return (x > y) - (x < y);
}

static int gather(const char *night_path, struct anchors *anchors, char night[IDENT_SIZE * 2],
                  struct error *error)
{
    struct night_reader *reader = NULL;
    struct night_info info;
    anchors->error = error;
    if (night_reader_open(night_path, &reader, error) != 0) {
        return -1;
    }
    struct hearing *hearing = calloc(1, sizeof *hearing);
    int result = hearing ? night_read_info(reader, &info, error)
                         : error_set(error, ERROR_MEMORY, "align: out of memory");
    if (result == 0) {
        memcpy(night, info.id, sizeof info.id);
        result = night_each_standing_mark(reader, take_mark, anchors, error);
    }
    if (result == 0) {
        hearing->anchors = anchors;
        hearing->marked = *anchors;
        result = night_each_disturbance(reader, 0, take_heard, hearing, error);
    }
    free(hearing);
    night_reader_close(reader);
    qsort(anchors->of, anchors->count, sizeof *anchors->of, by_time);
    return result;
}

static int listen(struct sound_file *recording, struct finder *finder, struct level *level,
                  struct error *error)
{
    float piece[PIECE];
    int64_t got = 0;
    while ((got = sound_file_read(recording, piece, PIECE, error)) > 0) {
        finder_push(finder, piece, (size_t)got);
        if (level && level_push(level, sound_file_frames(recording), (size_t)got, error) != 0) {
            return -1;
        }
    }
    finder_finish(finder);
    return got == 0 ? 0 : -1;
}

/* When the recording says that it began. Its label is by its own calendar and clock (EBU Tech 3285
 * knows no zone), which are taken to be set as this machine's are. */
static int64_t own_guess_ns(const struct sound_file_info *info)
{
    struct tm day = {.tm_isdst = -1};
    if (!info->time_reference_known || info->time_reference < 0 ||
        sscanf(info->origination_date, "%4d%*1[-_:/. ]%2d%*1[-_:/. ]%2d", &day.tm_year, &day.tm_mon,
               &day.tm_mday) != 3) {
        return INT64_MIN;
    }
    day.tm_year -= 1900;
    day.tm_mon -= 1;
    const double after_s = (double)info->time_reference / info->rate_hz;
    time_t midnight = mktime(&day);
    return midnight != (time_t)-1 && after_s < 2 * DAY_S
               ? (int64_t)midnight * INT64_C(1000000000) + llround(after_s * NS_PER_S)
               : INT64_MIN;
}

static int run_with(const struct align_settings *settings, const struct anchors *anchors,
                    struct sound_file *recording, struct align_result *result, struct error *error)
{
    struct finder *finder = NULL;
    struct level *level = NULL;
    const double rate_hz = result->info.rate_hz;
    int outcome = finder_new(rate_hz, &finder, error);
    if (outcome == 0 && settings->levels) {
        outcome = level_new(rate_hz, (size_t)result->info.channels, align_levels_take,
                            settings->levels, &level, error);
    }
    if (outcome == 0) {
        outcome = listen(recording, finder, level, error);
    }
    if (outcome == 0) {
        outcome = match_find(
            anchors->of, anchors->count, finder, (double)result->info.frames / rate_hz,
            settings->start_ns != INT64_MIN ? settings->start_ns : own_guess_ns(&result->info),
            &result->match, error);
    }
    level_free(level);
    finder_free(finder);
    return outcome;
}

int align_run(const struct align_settings *settings, struct align_result *result,
              struct error *error)
{
    struct sound_file *recording = NULL;
    memset(result, 0, sizeof *result);
    struct anchors *anchors = calloc(1, sizeof *anchors);
    if (!anchors) {
        return error_set(error, ERROR_MEMORY, "align: out of memory");
    }
    int outcome = gather(settings->night_path, anchors, result->night, error);
    if (outcome == 0) {
        outcome = sound_file_open(settings->recording_path, &recording, &result->info, error);
    }
    if (outcome == 0) {
        double way_s = settings->distance_m > 0.0 ? settings->distance_m / ALIGN_SOUND_M_S : 0.0;
        for (size_t i = 0; i < anchors->count; i++) {
            anchors->of[i].site_ns += llround(way_s * NS_PER_S);
        }
        result->chirps_marked = anchors->kinds[FINDER_CHIRP];
        result->claps_marked = anchors->kinds[FINDER_CLAP];
        result->from_nodes = anchors->from_nodes;
        outcome = run_with(settings, anchors, recording, result, error);
        sound_file_close(recording);
    }
    free(anchors);
    return outcome;
}

static void write_time(FILE *out, const char *head, int64_t ns, double sd_s)
{
    char time[TIMEFMT_SIZE];
    char sd[TIMEFMT_SIZE];
    timefmt_rfc3339(ns, time);
    timefmt_duration(llround(sd_s * NS_PER_S), sd);
    fprintf(out, "  %s %s, +- %s\n", head, time, sd);
}

void align_write(const struct align_settings *settings, const struct align_result *result,
                 FILE *out)
{
    const struct match *match = &result->match;
    double length_s = (double)result->info.frames / result->info.rate_hz;
    fprintf(out,
            "%s: %zu of %zu sounds to line up by were found (%zu chirps, %zu claps marked%s)\n",
            settings->recording_path, match->used, match->anchors, result->chirps_marked,
            result->claps_marked,
            result->from_nodes > 0 ? "; some timed by a node that heard them" : "");
    write_time(out, "its first sample:", match->start_ns, match_sd_s(match, 0));
    write_time(out, "its last sample: ", match_site_ns(match, length_s),
               match_sd_s(match, length_s));
    fprintf(out, "  its clock: %+.2f ppm, +- %.2f (%s)\n", -match->drift_ppm, match->drift_sd_ppm,
            fabs(match->drift_ppm) < 2.0 * match->drift_sd_ppm ? "right, as far as can be told"
            : match->drift_ppm > 0.0                           ? "it runs slow"
                                                               : "it runs fast");
    if (match->used == 2) {
        fprintf(out, "  two sounds make a line, but can't show whether it is straight: a third in"
                     " the middle would.\n");
    } else {
        char left[TIMEFMT_SIZE];
        timefmt_duration(llround(match->residual_s * NS_PER_S), left);
        fprintf(out, "  what is left over at the sounds: %s\n", left);
    }
    if (settings->distance_m < 0.0) {
        fprintf(out, "  Sound takes 2.9 ms for each metre; how far the recorder was from the sounds"
                     " was not told\n  (--distance), so all of the recording may be that much early"
                     " here.\n");
    }
}

int align_save(const struct align_settings *settings, const struct align_result *result,
               struct error *error)
{
    const struct match *match = &result->match;
    struct text path = {0};
    struct text json = {0};
    char start[TIMEFMT_SIZE];
    timefmt_rfc3339(match->start_ns, start);
    (void)text_append_format(&path, "%s.align.json", settings->recording_path);
    (void)text_append_format(
        &json,
        "{\"format\":\"roomwake-align\",\"version\":1,\n \"night\":\"%s\",\"start\":\"%s\","
        "\"drift_ppm\":%.6f,\"rate_hz\":%.17g,\"frames\":%" PRId64 ",\n"
        " \"middle_s\":%.3f,\"middle_sd_s\":%.9f,\"drift_sd_ppm\":%.6f,"
        "\"anchors_used\":%zu}\n",
        result->night, start, match->drift_ppm, result->info.rate_hz, result->info.frames,
        match->middle_s, match->middle_sd_s, match->drift_sd_ppm, match->used);
    struct whole whole;
    int outcome = path.failed || json.failed
                      ? error_set(error, ERROR_MEMORY, "align: out of memory")
                      : whole_open(&whole, path.bytes, true, error);
    if (outcome == 0) {
        (void)fwrite(json.bytes, 1, json.length, whole.out); /* whole_close tells of a failure */
        outcome = whole_close(&whole, error);
    }
    text_free(&path);
    text_free(&json);
    return outcome;
}
