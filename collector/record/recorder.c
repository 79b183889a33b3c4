/* A copy of the night, the recorder's samples at its end, an analysis.
 * Must never leave half a night under the name that was asked for. Called by cmd_align.c. */
#include "collector/record/recorder.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "collector/align/level.h"
#include "collector/night/night_copy.h"
#include "collector/night/reader.h"
#include "collector/night/writer.h"
#include "collector/record/analyse.h"
#include "collector/record/recorder_sum.h"
#include "common/clock.h"
#include "common/text.h"

/* A message has a second of sound, as a node's has; its clock is told once a minute. */
#define ROWS_A_MESSAGE LEVEL_RATE_HZ
#define CLOCK_EVERY_S 60.0
/* dB with two digits: finer than any recorder is. */
#define STEP_EXPONENT (-2)
#define STEPS_A_DB 100.0
#define PPT_A_PPM 1e6
#define PERIOD_PS (1e12 / LEVEL_RATE_HZ)
#define WHY_SIZE 128

struct adding {
    const struct recorder_settings *settings;
    const struct align_result *line;
    const struct align_levels *levels;
    struct night_info info;
    struct site *site;
    struct site *more;
    char *more_text;
    char *part; /* the copy's name until it is whole */
    char root[65];
    struct recorder_result *result;
};

static int no_memory(struct error *error)
{
    return error_set(error, ERROR_MEMORY, "recorder: out of memory");
}

static int check_free(const char *path, struct error *error)
{
    struct stat there;
    return stat(path, &there) == 0
               ? error_set(error, ERROR_BUSY, "%s: exists already; give the new night another name",
                           path)
               : 0;
}

/* The site, with the recorder in it where it has none. */
static int read_night(struct adding *adding, struct error *error)
{
    struct night_reader *reader = NULL;
    struct text text = {0};
    const struct recorder_settings *settings = adding->settings;
    struct night_node_summary summary = {0};
    if (night_reader_open(settings->night_path, &reader, error) != 0) {
        return -1;
    }
    int result = night_read_info(reader, &adding->info, error);
    if (result == 0 && adding->info.end_ns == 0) {
        result = error_set(error, ERROR_STATE, "%s: is not closed yet", settings->night_path);
    }
    if (result == 0 && (night_read_root(reader, adding->root, error) != 0 ||
                        night_read_site(reader, 0, &adding->site, error) != 0 ||
                        night_read_site_text(reader, &text, error) != 0 ||
                        recorder_site(adding->site, text.bytes, &settings->place, &adding->more,
                                      &adding->more_text, error) != 0)) {
        result = -1;
    }
    if (result == 0 && !adding->more) {
        uint32_t node = (uint32_t)site_find_node(adding->site, settings->place.node);
        result = night_read_node_summary(reader, node, &summary, error);
    }
    if (result == 0 && summary.samples > 0) {
        result = error_set(error, ERROR_STATE,
                           "%s: has samples of \"%s\" already: give this recorder another name",
                           settings->night_path, settings->place.node);
    }
    text_free(&text);
    night_reader_close(reader);
    return result;
}

static void forget(struct adding *adding)
{
    site_free(adding->site);
    site_free(adding->more);
    free(adding->more_text);
    free(adding->part);
}

int recorder_check(const struct recorder_settings *settings, struct error *error)
{
    struct adding adding = {.settings = settings};
    int result = check_free(settings->into_path, error) != 0 ? -1 : read_night(&adding, error);
    forget(&adding);
    return result;
}

static const struct site *site_of(const struct adding *adding)
{
    return adding->more ? adding->more : adding->site;
}

static int or_wait(struct night_writer *writer, int result, struct error *error, bool *again)
{
    *again = result != 0 && error->code == ERROR_FULL;
    return *again ? night_writer_flush(writer, error) : result;
}

static int put_clock(struct adding *adding, struct night_writer *writer, uint32_t node,
                     double own_s, struct error *error)
{
    const struct match *match = &adding->line->match;
    bool again = true;
    int result = 0;
    while (again) {
        result = or_wait(writer,
                         night_put_clock(writer, node, match_site_ns(match, own_s),
                                         llround(match_sd_s(match, own_s) * 1e9), error),
                         error, &again);
        if (result != 0) {
            return result;
        }
    }
    return 0;
}

/* Its own time counts from its first sample. */
static int put_rows(struct adding *adding, struct night_writer *writer, struct night_frame_id *id,
                    const struct level_row *rows, size_t count, struct error *error)
{
    const struct match *match = &adding->line->match;
    int32_t loudness[ROWS_A_MESSAGE];
    int32_t peak[ROWS_A_MESSAGE];
    struct block blocks[2];
    int64_t node_t0_ns[2];
    const struct clock_fit fit = {.known = true,
                                  .ref_node_ns = llround(match->middle_s * 1e9),
                                  .offset_ns = match_site_ns(match, match->middle_s) -
                                               llround(match->middle_s * 1e9),
                                  .rate_ppt = llround(match->drift_ppm * PPT_A_PPM),
                                  .uncertainty_ns = llround(match->middle_sd_s * 1e9),
                                  .growth_ppb = llround(match->drift_sd_ppm * 1e3)};
    for (size_t i = 0; i < count; i++) {
        loudness[i] = (int32_t)lroundf(rows[i].loudness_db * (float)STEPS_A_DB);
        peak[i] = (int32_t)lroundf(rows[i].peak_db * (float)STEPS_A_DB);
    }
    for (uint16_t c = 0; c < 2; c++) {
        blocks[c] = (struct block){.channel = c,
                                   .count = (uint32_t)count,
                                   .t0_ns = match_site_ns(match, rows[0].own_s),
                                   .period_ps = llround(PERIOD_PS * (1 + match->drift_ppm * 1e-6)),
                                   .counts = c == 0 ? loudness : peak};
        node_t0_ns[c] = llround(rows[0].own_s * 1e9);
    }
    id->seq++;
    adding->result->samples += 2 * count;
    bool again = true;
    while (again) {
        if (or_wait(writer, night_put_frame(writer, id, &fit, blocks, node_t0_ns, 2, false, error),
                    error, &again) != 0) {
            return -1;
        }
    }
    return 0;
}

static bool stopped(const struct adding *adding)
{
    return adding->settings->stop && *adding->settings->stop;
}

/* What lies within the night: its end is sealed. */
static int put_levels(struct adding *adding, struct night_writer *writer, struct night_frame_id *id,
                      struct error *error)
{
    const struct align_levels *levels = adding->levels;
    const struct match *match = &adding->line->match;
    double first_s = match_own_s(match, adding->info.start_ns);
    double last_s = match_own_s(match, adding->info.end_ns);
    double clock_at_s = -INFINITY;
    size_t at = 0;
    while (at < levels->count && levels->rows[at].own_s < first_s) {
        at++;
    }
    while (at < levels->count && levels->rows[at].own_s <= last_s) {
        const struct level_row *rows = &levels->rows[at];
        size_t count = 0;
        while (count < ROWS_A_MESSAGE && at + count < levels->count &&
               rows[count].own_s <= last_s) {
            count++;
        }
        if (stopped(adding)) {
            return error_set(error, ERROR_STATE, "stopped; nothing was made");
        }
        if (rows[0].own_s >= clock_at_s + CLOCK_EVERY_S) {
            clock_at_s = rows[0].own_s;
            if (put_clock(adding, writer, id->node, clock_at_s, error) != 0) {
                return -1;
            }
        }
        if (put_rows(adding, writer, id, rows, count, error) != 0) {
            return -1;
        }
        at += count;
    }
    return adding->result->samples > 0
               ? 0
               : error_set(error, ERROR_STATE, "the recording has nothing within the night");
}

/* What a stranger needs to see whence these samples are. */
static int put_log(struct adding *adding, struct night_writer *writer, struct error *error)
{
    const struct match *match = &adding->line->match;
    const char *slash = strrchr(adding->settings->recording_path, '/');
    const char *name = slash ? slash + 1 : adding->settings->recording_path;
    struct text text = {0};
    (void)text_append_format(
        &text,
        "the level of recording \"%.100s\" (SHA-256 %s) was added as node %s after the night's end:"
        " lined up by %zu sounds, its clock %+.3f ppm +- %.3f, +- %.3f ms in the middle; the night"
        " before had the root %s",
        name, adding->result->sha256_hex, adding->settings->place.node, match->used,
        -match->drift_ppm, match->drift_sd_ppm, match->middle_sd_s * 1e3, adding->root);
    int result = text.failed
                     ? no_memory(error)
                     : night_put_log(writer, adding->info.end_ns, "info", text.bytes, error);
    text_free(&text);
    return result;
}

static int put_channels(struct night_writer *writer, struct night_frame_id *id,
                        const struct site_node *node, struct error *error)
{
    struct channel channels[2];
    for (size_t c = 0; c < 2; c++) {
        channels[c] = node->channels[c];
        channels[c].step = (struct decimal){1, STEP_EXPONENT};
    }
    return night_put_channels(writer, id->node, id->boot, channels, 2, error);
}

static int extend(struct adding *adding, struct error *error)
{
    struct night_writer *writer = NULL;
    const struct site *site = site_of(adding);
    struct night_frame_id id = {.node =
                                    (uint32_t)site_find_node(site, adding->settings->place.node),
                                .boot = recorder_boot(adding->result->sha256_hex)};
    if (night_writer_open_to_extend(adding->part, site, adding->more_text, &writer, error) != 0) {
        return -1;
    }
    if (put_log(adding, writer, error) != 0 ||
        put_channels(writer, &id, &site->nodes[id.node], error) != 0 ||
        put_levels(adding, writer, &id, error) != 0) {
        night_writer_abandon(writer);
        return -1;
    }
    return night_writer_close(writer, adding->info.end_ns, error);
}

static int make_part(struct adding *adding, struct error *error)
{
    if (asprintf(&adding->part, "%s.XXXXXX", adding->settings->into_path) < 0) {
        adding->part = NULL;
        return no_memory(error);
    }
    int descriptor = mkstemp(adding->part);
    if (descriptor < 0 || fchmod(descriptor, 0644) != 0) {
        (void)error_set(error, ERROR_IO, "%s: %s", adding->settings->into_path, strerror(errno));
        if (descriptor >= 0) {
            (void)close(descriptor);
            (void)unlink(adding->part);
        }
        return -1;
    }
    (void)close(descriptor);
    return 0;
}

static int fill_part(struct adding *adding, const struct findings_hooks *hooks, struct error *error)
{
    const struct recorder_settings *settings = adding->settings;
    char why[WHY_SIZE];
    (void)snprintf(why, sizeof why, "with the recorder %s", settings->place.node);
    if (recorder_sum(settings->recording_path, settings->stop, adding->result->sha256_hex, error) !=
            0 ||
        night_copy(settings->night_path, adding->part, settings->stop, error) != 0 ||
        extend(adding, error) != 0 ||
        analyse_night(adding->part, NULL, why, hooks, &adding->result->findings, NULL, error) !=
            0) {
        return -1;
    }
    if (stopped(adding)) {
        return error_set(error, ERROR_STATE, "stopped; nothing was made");
    }
    return renameat2(AT_FDCWD, adding->part, AT_FDCWD, settings->into_path, RENAME_NOREPLACE) == 0
               ? 0
               : error_set(error, errno == EEXIST ? ERROR_BUSY : ERROR_IO, "%s: %s",
                           settings->into_path, strerror(errno));
}

int recorder_add(const struct recorder_settings *settings, const struct align_result *line,
                 const struct align_levels *levels, const struct findings_hooks *hooks,
                 struct recorder_result *result, struct error *error)
{
    struct adding adding = {.settings = settings, .line = line, .levels = levels, .result = result};
    *result = (struct recorder_result){0};
    int outcome = check_free(settings->into_path, error);
    if (outcome == 0 && read_night(&adding, error) == 0 && make_part(&adding, error) == 0) {
        outcome = fill_part(&adding, hooks, error);
        if (outcome != 0) {
            night_remove(adding.part);
        }
    } else {
        outcome = -1;
    }
    forget(&adding);
    return outcome;
}
