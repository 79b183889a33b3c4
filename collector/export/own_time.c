/* The line of RECORDING.align.json, and times on it.
 * Must never take a line that is not whole. Called by webvtt.c and cmd_export.c. */
#include "collector/export/own_time.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "common/json.h"
#include "common/small_file.h"
#include "common/text.h"
#include "common/timefmt.h"

#define FILE_MOST 65536u
#define NS_PER_S 1e9
#define DRIFT_MOST_PPM 2000.0 /* twice what a line may have */
#define RATE_MOST_HZ 1e6
#define FRAMES_MOST 1e13

static const char *const fields[] = {"format",      "version",      "night",        "start",
                                     "drift_ppm",   "rate_hz",      "frames",       "middle_s",
                                     "middle_sd_s", "drift_sd_ppm", "anchors_used", NULL};

static int read_line(const cJSON *tree, struct own_time *own, struct error *error)
{
    char format[32];
    char start[TIMEFMT_SIZE];
    double version = 0.0;
    double rate_hz = 0.0;
    double frames = 0.0;
    if (json_check_fields(tree, "", fields, error) != 0 ||
        json_get_text(tree, "", "format", format, sizeof format, error) != 0 ||
        json_get_number(tree, "", "version", 1, 1, &version, error) != 0 ||
        json_get_text(tree, "", "night", own->night, sizeof own->night, error) != 0 ||
        json_get_text(tree, "", "start", start, sizeof start, error) != 0 ||
        json_get_number(tree, "", "drift_ppm", -DRIFT_MOST_PPM, DRIFT_MOST_PPM, &own->drift_ppm,
                        error) != 0 ||
        json_get_number(tree, "", "rate_hz", 1, RATE_MOST_HZ, &rate_hz, error) != 0 ||
        json_get_number(tree, "", "frames", 1, FRAMES_MOST, &frames, error) != 0) {
        return -1;
    }
    if (strcmp(format, "roomwake-align") != 0) {
        return error_set(error, ERROR_FORMAT, "format: is not roomwake-align");
    }
    double length_ns = frames / rate_hz * NS_PER_S;
    if (length_ns > 1e18) {
        return error_set(error, ERROR_RANGE, "frames: longer than any recording");
    }
    own->length_ns = llround(length_ns);
    return timefmt_parse_rfc3339(start, strlen(start), &own->start_ns, error) == 0
               ? 0
               : error_wrap(error, "start");
}

static int read_file(const char *path, struct own_time *own, struct error *error)
{
    char *bytes = NULL;
    size_t length = 0;
    cJSON *tree = NULL;
    if (small_file_read(path, FILE_MOST, &bytes, &length, error) != 0) {
        return error->code == ERROR_NOT_FOUND
                   ? error_wrap(error, "first \"roomwake align NIGHT RECORDING\"")
                   : -1;
    }
    int result = json_parse(bytes, length, path, &tree, error);
    free(bytes);
    if (result == 0 && read_line(tree, own, error) != 0) {
        result = error_wrap(error, "%s", path);
    }
    cJSON_Delete(tree);
    return result;
}

int own_time_read(const char *recording, struct own_time *own, struct error *error)
{
    struct text path = {0};
    (void)text_append_format(&path, "%s.align.json", recording);
    int result = path.failed ? error_set(error, ERROR_MEMORY, "%s: out of memory", recording)
                             : read_file(path.bytes, own, error);
    text_free(&path);
    return result;
}

int64_t own_time_ns(const struct own_time *own, int64_t site_ns)
{
    /* The correction alone as a double: a night's length would lose nanoseconds in one. */
    int64_t after_ns = site_ns - own->start_ns;
    double slope = own->drift_ppm * 1e-6 / (1.0 + own->drift_ppm * 1e-6);
    return after_ns - llround((double)after_ns * slope);
}
