/* Files of the simulate driver.
 * Must never know of samples. Called by simulate.c. */
#include "node/drivers/simulate_files.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "common/clock.h"
#include "common/small_file.h"
#include "common/text.h"
#include "common/timefmt.h"

#define START_FILE_MAX 128u

int simulate_path(const char *dir, const char *path, char out[SIMULATE_PATH_SIZE],
                  struct error *error)
{
    int length = path[0] == '/' ? snprintf(out, SIMULATE_PATH_SIZE, "%s", path)
                                : snprintf(out, SIMULATE_PATH_SIZE, "%s/%s", dir, path);
    if (length < 0 || length >= SIMULATE_PATH_SIZE) {
        return error_set(error, ERROR_RANGE, "%.64s...: path too long", path);
    }
    return 0;
}

static int io_error(struct error *error, const char *path)
{
    return error_set(error, errno == ENOENT ? ERROR_NOT_FOUND : ERROR_IO, "%.400s: %s", path,
                     strerror(errno));
}

static int read_start(const char *path, int64_t *start_ns, struct error *error)
{
    char *text = NULL;
    size_t length = 0;
    if (small_file_read(path, START_FILE_MAX, &text, &length, error)) {
        return -1;
    }
    while (length && (text[length - 1] == '\n' || text[length - 1] == '\r')) {
        length--;
    }
    int status = timefmt_parse_rfc3339(text, length, start_ns, error);
    free(text);
    return status ? error_wrap(error, "%.400s", path) : 0;
}

/* Writes a whole file under a name of its own, then gives it the shared name unless another node
 * was first. */
static int offer_start(const char *path, int64_t now_ns, struct error *error)
{
    char own[SIMULATE_PATH_SIZE + 32];
    char text[TIMEFMT_SIZE];
    (void)snprintf(own, sizeof own, "%s.%ld", path, (long)getpid());
    timefmt_rfc3339(now_ns, text);
    FILE *file = fopen(own, "wbe");
    if (!file) {
        return io_error(error, own);
    }
    int written = fprintf(file, "%s\n", text);
    int status = fclose(file) || written < 0 ? io_error(error, own) : 0;
    if (!status && link(own, path) && errno != EEXIST) {
        status = io_error(error, path);
    }
    (void)unlink(own);
    return status;
}

int simulate_agree_start(const char *path, int64_t now_ns, int64_t *start_ns, struct error *error)
{
    if (access(path, F_OK) && offer_start(path, now_ns, error)) {
        return -1;
    }
    return read_start(path, start_ns, error);
}

static void format_line(struct text *line, const char *node, int64_t start_ns,
                        const struct script *script, const struct world_truth *truth)
{
    char onset[TIMEFMT_SIZE];
    char peak[TIMEFMT_SIZE];
    char end[TIMEFMT_SIZE + 2] = "null";
    timefmt_rfc3339(start_ns + truth->onset_ns, onset);
    timefmt_rfc3339(start_ns + truth->peak_ns, peak);
    if (truth->end_ns != INT64_MAX) {
        char plain[TIMEFMT_SIZE];
        timefmt_rfc3339(start_ns + truth->end_ns, plain);
        (void)snprintf(end, sizeof end, "\"%s\"", plain);
    }
    const char *quantity =
        truth->quantity == QUANTITY_OTHER ? "node" : quantity_name(truth->quantity);
    (void)text_append_format(line,
                             "{\"time\":\"%s\",\"scenario_s\":%.9f,\"node\":\"%s\",\"event\":%zu,"
                             "\"kind\":\"%s\",\"who\":\"%s\",\"quantity\":\"%s\","
                             "\"amplitude\":%.6g,\"peak\":\"%s\",\"end\":%s}\n",
                             onset, (double)truth->onset_ns / (double)NS_PER_S, node, truth->event,
                             event_kind_text(truth->kind), script->events[truth->event].who,
                             quantity, truth->amplitude, peak, end);
}

int simulate_append_truth(const char *path, const char *node, int64_t start_ns,
                          const struct script *script, const struct world_truth *truth,
                          struct error *error)
{
    struct text line = {0};
    format_line(&line, node, start_ns, script, truth);
    if (line.failed) {
        text_free(&line);
        return error_set(error, ERROR_MEMORY, "%.400s: out of memory", path);
    }
    /* One write in append mode: lines of several nodes don't mix. */
    int file = open(path, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0644);
    int status = file < 0 ? io_error(error, path) : 0;
    if (!status) {
        ssize_t written = write(file, line.bytes, line.length);
        if (written != (ssize_t)line.length) {
            errno = written < 0 ? errno : ENOSPC;
            status = io_error(error, path);
        }
        if (close(file) && !status) {
            status = io_error(error, path);
        }
    }
    text_free(&line);
    return status;
}
