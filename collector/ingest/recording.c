/* Looks at every sample of a recording once: what is wrong, how fine the values are, from when to
 * when. Must never hand anything on: that is recording_run.c. Called by the import. */
#include "collector/ingest/recording.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

#include "collector/ingest/recording_inside.h"
#include "collector/ingest/series.h"

#define CLOCK_EXPONENT (-9)
#define CLOCK_MOST_NS INT64_C(1000000000000000) /* eleven days: nobody's clock */

int recording_clock_ns(const struct recording *recording, const struct recording_sample *sample,
                       int64_t *clock_sd_ns, struct error *error)
{
    if (decimal_rescale(sample->value, CLOCK_EXPONENT, clock_sd_ns) || *clock_sd_ns < 0 ||
        *clock_sd_ns > CLOCK_MOST_NS) {
        return recording->source.fail(
            recording->source.context, sample->place, ERROR_FORMAT,
            RECORDING_CLOCK_NAME ": not a number of seconds, 0 or more, to the ns", error);
    }
    return 0;
}

static int look_at(struct recording *recording, const struct recording_sample *sample,
                   int64_t *latest_ns, struct error *error)
{
    if (sample->time_ns < *latest_ns - RECORDING_DISORDER_NS) {
        return recording->source.fail(recording->source.context, sample->place, ERROR_RANGE,
                                      "more than 10 s behind an earlier row", error);
    }
    *latest_ns = sample->time_ns > *latest_ns ? sample->time_ns : *latest_ns;
    if (sample->channel == RECORDING_CLOCK) {
        int64_t clock_sd_ns;
        return recording_clock_ns(recording, sample, &clock_sd_ns, error);
    }
    struct recording_node *node = &recording->nodes[sample->node];
    if (node->samples == 0 || sample->time_ns < node->first_ns) {
        node->first_ns = sample->time_ns;
    }
    if (node->samples == 0 || sample->time_ns > node->last_ns) {
        node->last_ns = sample->time_ns;
    }
    node->samples++;
    struct decimal *step = &node->channels[sample->channel].step;
    step->exponent = (int16_t)series_finest(step->exponent, sample->value);
    return 0;
}

/* Steps begin far above all and come down to what the values need. */
static int begin_nodes(struct recording *recording, struct error *error)
{
    const struct site *site = recording->site;
    recording->nodes = calloc(site->node_count + 1, sizeof *recording->nodes);
    if (!recording->nodes) {
        return error_set(error, ERROR_MEMORY, "%s: out of memory", recording->name);
    }
    for (size_t i = 0; i < site->node_count; i++) {
        const struct site_node *node = &site->nodes[i];
        recording->nodes[i].channel_count = node->channel_count;
        for (size_t c = 0; c < node->channel_count; c++) {
            recording->nodes[i].channels[c] = node->channels[c];
            recording->nodes[i].channels[c].step = (struct decimal){1, INT16_MAX};
            recording->nodes[i].channels[c].offset = (struct decimal){0, 0};
        }
    }
    return 0;
}

static void end_nodes(struct recording *recording)
{
    recording->first_ns = INT64_MAX;
    recording->last_ns = INT64_MIN;
    for (size_t i = 0; i < recording->site->node_count; i++) {
        struct recording_node *node = &recording->nodes[i];
        for (size_t c = 0; c < node->channel_count; c++) {
            if (node->channels[c].step.exponent == INT16_MAX) {
                node->channels[c].step.exponent = 0; /* no value, or none but zero */
            }
        }
        if (node->samples > 0) {
            recording->first_ns =
                node->first_ns < recording->first_ns ? node->first_ns : recording->first_ns;
            recording->last_ns =
                node->last_ns > recording->last_ns ? node->last_ns : recording->last_ns;
            recording->samples += node->samples;
        }
    }
}

static int look_at_all(struct recording *recording, struct error *error)
{
    struct recording_sample sample;
    int64_t latest = INT64_MIN + RECORDING_DISORDER_NS;
    int result;
    while ((result = recording->source.next(recording->source.context, &sample, error)) > 0) {
        if (look_at(recording, &sample, &latest, error)) {
            return -1;
        }
    }
    if (result < 0) {
        return -1;
    }
    end_nodes(recording);
    return recording->samples > 0
               ? 0
               : error_set(error, ERROR_FORMAT, "%s: no samples", recording->name);
}

int recording_open(const char *name, const struct recording_source *source, const struct site *site,
                   struct recording **out, struct error *error)
{
    struct recording *recording = calloc(1, sizeof *recording);
    if (!recording || !(recording->name = strdup(name))) {
        free(recording);
        (void)error_set(error, ERROR_MEMORY, "%s: out of memory", name); /* the source may own it */
        source->close(source->context);
        return -1;
    }
    recording->site = site;
    recording->source = *source;
    if (begin_nodes(recording, error) || look_at_all(recording, error)) {
        recording_close(recording);
        return -1;
    }
    *out = recording;
    return 0;
}

void recording_close(struct recording *recording)
{
    if (!recording) {
        return;
    }
    recording->source.close(recording->source.context);
    free(recording->nodes);
    free(recording->name);
    free(recording);
}

int recording_map(const char *path, const char **bytes, size_t *length, struct error *error)
{
    struct stat status;
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    if (fd < 0) {
        return error_set(error, errno == ENOENT ? ERROR_NOT_FOUND : ERROR_IO, "%s: %s", path,
                         strerror(errno));
    }
    int result = 0;
    if (fstat(fd, &status) || !S_ISREG(status.st_mode)) {
        result = error_set(error, ERROR_IO, "%s: not a regular file", path);
    } else if (status.st_size == 0) {
        result = error_set(error, ERROR_FORMAT, "%s:1: empty file", path);
    } else {
        void *mapped = mmap(NULL, (size_t)status.st_size, PROT_READ, MAP_PRIVATE, fd, 0);
        if (mapped == MAP_FAILED) {
            result = error_set(error, ERROR_IO, "%s: %s", path, strerror(errno));
        } else {
            *bytes = mapped;
            *length = (size_t)status.st_size;
            (void)madvise(mapped, *length, MADV_SEQUENTIAL);
        }
    }
    (void)close(fd);
    return result;
}

void recording_unmap(const char *bytes, size_t length)
{
    if (bytes) {
        /* NOLINTNEXTLINE(performance-no-int-to-ptr): takes the const away, which munmap hasn't. */
        (void)munmap((void *)(uintptr_t)bytes, length);
    }
}

const struct recording_node *recording_get_node(const struct recording *recording, size_t node)
{
    return &recording->nodes[node];
}

int64_t recording_first_ns(const struct recording *recording)
{
    return recording->first_ns;
}

int64_t recording_last_ns(const struct recording *recording)
{
    return recording->last_ns;
}

uint64_t recording_samples(const struct recording *recording)
{
    return recording->samples;
}
