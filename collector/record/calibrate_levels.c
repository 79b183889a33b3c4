/* When which current flowed: from a small file, or from the marks of the night.
 * Must never guess a current. Called by calibrate.c. */
#include "collector/record/calibrate_session.h"

#include <errno.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/night/reader.h"
#include "common/decimal.h"
#include "common/timefmt.h"

#define LINE_SIZE 256

struct list {
    struct level *levels;
    size_t size;
    size_t count;
};

static int add(struct list *list, const struct level *level, struct error *error)
{
    if (list->count == list->size) {
        return error_set(error, ERROR_RANGE, "more than %zu levels", list->size);
    }
    list->levels[list->count++] = *level;
    return 0;
}

static int read_time(const char *text, int64_t *time_ns)
{
    struct error ignored;
    return timefmt_parse_rfc3339(text, strlen(text), time_ns, &ignored) == 0
               ? 0
               : timefmt_parse_seconds(text, strlen(text), time_ns, &ignored);
}

static int read_amperes(const char *text, double *amperes)
{
    struct error ignored;
    struct decimal value;
    if (decimal_parse(text, strlen(text), &value, &ignored) != 0) {
        return -1;
    }
    *amperes = decimal_to_double(value);
    return 0;
}

/* ---- the file ---- */

static int read_row(char *line, struct level *level)
{
    char *rest = NULL;
    const char *start = strtok_r(line, ",", &rest);
    const char *end = strtok_r(NULL, ",", &rest);
    const char *amperes = strtok_r(NULL, ",", &rest);
    return start && end && amperes && !strtok_r(NULL, ",", &rest) &&
                   read_time(start, &level->start_ns) == 0 && read_time(end, &level->end_ns) == 0 &&
                   level->end_ns > level->start_ns && read_amperes(amperes, &level->current_a) == 0
               ? 0
               : -1;
}

static int read_rows(FILE *file, const char *path, struct list *list, struct error *error)
{
    char line[LINE_SIZE];
    for (uint64_t number = 1; fgets(line, sizeof line, file); number++) {
        struct level level;
        line[strcspn(line, "\r\n")] = '\0';
        if (number == 1 && strcmp(line, "start,end,amperes") != 0) {
            return error_set(error, ERROR_FORMAT, "%s:1: must be \"start,end,amperes\"", path);
        }
        if (number == 1 || line[0] == '\0') {
            continue;
        }
        if (read_row(line, &level) != 0) {
            return error_set(error, ERROR_FORMAT,
                             "%s:%" PRIu64 ": must be START,END,AMPERES, times as in the recording",
                             path, number);
        }
        if (add(list, &level, error) != 0) {
            return -1;
        }
    }
    return ferror(file) ? error_set(error, ERROR_IO, "%s: %s", path, strerror(errno)) : 0;
}

/* ---- marks ---- */

struct marked {
    struct list *list;
    struct error *error;
};

/* "coil 0.1 A": the last two words. */
static int take_mark(void *context, const struct mark *mark)
{
    const struct marked *to = context;
    struct level level = {.start_ns = mark->start_ns, .end_ns = mark->end_ns};
    char text[MARK_TEXT_SIZE];
    char *rest = NULL;
    const char *before = "";
    const char *last = "";
    (void)snprintf(text, sizeof text, "%s", mark->text);
    for (char *word = strtok_r(text, " ", &rest); word; word = strtok_r(NULL, " ", &rest)) {
        before = last;
        last = word;
    }
    return strcmp(last, "A") == 0 && read_amperes(before, &level.current_a) == 0
               ? add(to->list, &level, to->error)
               : 0;
}

static int read_marks(const char *path, struct list *list, struct error *error)
{
    struct night_reader *reader = NULL;
    struct marked marked = {list, error};
    if (night_reader_open(path, &reader, error) != 0) {
        return -1;
    }
    int result = night_each_mark(reader, take_mark, &marked, error);
    night_reader_close(reader);
    return result;
}

int calibrate_session_levels(const struct calibrate_settings *settings, struct level *levels,
                             size_t size, size_t *count, struct error *error)
{
    struct list list = {levels, size, 0};
    int result;
    if (settings->levels_path) {
        FILE *file = fopen(settings->levels_path, "re");
        if (!file) {
            return error_set(error, ERROR_IO, "%s: %s", settings->levels_path, strerror(errno));
        }
        result = read_rows(file, settings->levels_path, &list, error);
        (void)fclose(file);
    } else if (settings->site_path) {
        return error_set(error, ERROR_USAGE,
                         "--levels: needed: a file with rows start,end,amperes says when which "
                         "current flowed");
    } else {
        result = read_marks(settings->session_path, &list, error);
    }
    *count = list.count;
    if (result == 0 && list.count == 0) {
        return error_set(error, ERROR_STATE,
                         "no levels: mark each current while it flows (roomwake mark --text \"coil "
                         "0.1 A\" --for 20), or give --levels FILE");
    }
    return result;
}
