/* Marks from findings.
 * Must never take a mark that it does not understand whole. Called by import.c. */
#include "collector/record/import_marks.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/ingest/recording.h"
#include "common/json.h"
#include "common/timefmt.h"

#define BYTES_MAX ((size_t)256 * 1024 * 1024)

static int read_time(const cJSON *item, const char *path, const char *field, int64_t *time_ns,
                     struct error *error)
{
    char text[TIMEFMT_SIZE];
    if (json_get_text(item, path, field, text, sizeof text, error) != 0) {
        return -1;
    }
    if (timefmt_parse_rfc3339(text, strlen(text), time_ns, error) != 0) {
        return error_wrap(error, "%s.%s", path, field);
    }
    return 0;
}

static int read_room(const cJSON *item, const char *path, const struct site *site,
                     struct mark *mark, struct error *error)
{
    if (cJSON_IsNull(cJSON_GetObjectItemCaseSensitive(item, "room"))) {
        return 0;
    }
    if (json_get_text(item, path, "room", mark->room, sizeof mark->room, error) != 0) {
        return -1;
    }
    return site_find_room(site, mark->room) != SIZE_MAX
               ? 0
               : error_set(error, ERROR_FORMAT, "%s.room: no room \"%s\" in the site file", path,
                           mark->room);
}

/* What only rows have, and what earlier exports did not tell. */
static int read_row(const cJSON *item, const char *path, int64_t before, struct mark *mark,
                    struct error *error)
{
    double corrects = 0;
    bool running = false;
    mark->noted_ns = mark->start_ns;
    if ((cJSON_GetObjectItemCaseSensitive(item, "noted") &&
         read_time(item, path, "noted", &mark->noted_ns, error) != 0) ||
        json_get_text_or(item, path, "who", "", mark->who, sizeof mark->who, error) != 0 ||
        json_get_number_or(item, path, "corrects", 0, (double)before, 0, &corrects, error) != 0 ||
        json_get_bool_or(item, path, "running", false, &running, error) != 0 ||
        json_get_bool_or(item, path, "withdrawn", false, &mark->withdrawn, error) != 0) {
        return -1;
    }
    mark->corrects = (int64_t)corrects;
    mark->end_ns = running ? MARK_RUNNING_NS : mark->end_ns;
    return 0;
}

static int read_mark(const cJSON *item, const char *list, size_t index, const struct site *site,
                     struct mark *mark, struct error *error)
{
    char path[40];
    (void)snprintf(path, sizeof path, "%s[%zu]", list, index);
    *mark = (struct mark){.id = (int64_t)index + 1};
    if (read_time(item, path, "start", &mark->start_ns, error) != 0 ||
        read_time(item, path, "end", &mark->end_ns, error) != 0 ||
        json_get_text(item, path, "text", mark->text, sizeof mark->text, error) != 0) {
        return -1;
    }
    if (mark->end_ns < mark->start_ns) {
        return error_set(error, ERROR_RANGE, "%s.end: before its start", path);
    }
    return read_row(item, path, mark->id - 1, mark, error) != 0
               ? -1
               : read_room(item, path, site, mark, error);
}

static int read_all(const cJSON *list, const char *name, const struct site *site,
                    struct mark **marks, size_t *count, struct error *error)
{
    const cJSON *item = NULL;
    size_t size = (size_t)cJSON_GetArraySize(list);
    *marks = calloc(size + 1, sizeof **marks);
    *count = 0;
    if (!*marks) {
        return error_set(error, ERROR_MEMORY, "out of memory");
    }
    cJSON_ArrayForEach(item, list)
    {
        if (read_mark(item, name, *count, site, &(*marks)[*count], error) != 0) {
            free(*marks);
            *marks = NULL;
            return -1;
        }
        (*count)++;
    }
    return 0;
}

int import_findings_read(const char *path, cJSON **findings, struct error *error)
{
    const char *bytes = NULL;
    size_t length = 0;
    if (recording_map(path, &bytes, &length, error) != 0) {
        return -1;
    }
    int result = length <= BYTES_MAX
                     ? json_parse(bytes, length, path, findings, error)
                     : error_set(error, ERROR_RANGE, "%s: too large for findings", path);
    recording_unmap(bytes, length);
    return result;
}

int import_marks_read(const cJSON *findings, const char *path, const struct site *site,
                      struct mark **marks, size_t *count, struct error *error)
{
    const cJSON *list = NULL;
    /* Where the rows say more, the rows; else the marks are the rows. */
    const char *name =
        cJSON_GetObjectItemCaseSensitive(findings, "mark_rows") ? "mark_rows" : "marks";
    int result = json_get_array(findings, "", name, &list, error) == 0
                     ? read_all(list, name, site, marks, count, error)
                     : -1;
    return result == 0 ? 0 : error_wrap(error, "%s", path);
}
