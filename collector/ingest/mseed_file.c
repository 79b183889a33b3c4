/* The samples of a miniSEED file in time order, whatever the order of its records.
 * Must never hold more of it than where its records are, and those that are open at one time.
 * Called by the import. */
#include "collector/ingest/mseed_file.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include <libmseed.h>

#include "collector/ingest/mseed_record.h"
#include "common/clock.h"

struct entry {
    int64_t start_ns;
    size_t offset;
};

struct mseed_file {
    char *name; /* the path */
    const char *bytes;
    size_t length;
    bool mapped; /* bytes are the file's */
    struct mseed_names names;
    struct entry *entries; /* by start */
    size_t entry_count;
    size_t entry_size;
    size_t next_entry;
    struct mseed_samples **heap; /* open records, by the time of their next sample */
    size_t heap_count;
    size_t heap_size;
    struct mseed_samples **spare;
    size_t spare_count;
};

static int fail(void *context, uint64_t record, enum error_code code, const char *what,
                struct error *error)
{
    const struct mseed_file *file = context;
    return error_set(error, code, "%s: record %" PRIu64 ": %s", file->name, record, what);
}

static int out_of_memory(const struct mseed_file *file, struct error *error)
{
    return error_set(error, ERROR_MEMORY, "%s: out of memory", file->name);
}

static int64_t time_of(const struct mseed_samples *samples)
{
    int64_t after_ps = (int64_t)samples->next * samples->period_ps;
    return samples->t0_ns + (after_ps + 500) / 1000;
}

static bool before(const struct mseed_samples *a, const struct mseed_samples *b)
{
    int64_t time_a = time_of(a);
    int64_t time_b = time_of(b);
    return time_a != time_b ? time_a < time_b : a->place < b->place;
}

static void sink(struct mseed_file *file)
{
    struct mseed_samples *moved = file->heap[0];
    size_t at = 0;
    for (;;) {
        size_t child = 2 * at + 1;
        if (child + 1 < file->heap_count && before(file->heap[child + 1], file->heap[child])) {
            child++;
        }
        if (child >= file->heap_count || !before(file->heap[child], moved)) {
            break;
        }
        file->heap[at] = file->heap[child];
        at = child;
    }
    file->heap[at] = moved;
}

static void push(struct mseed_file *file, struct mseed_samples *samples)
{
    size_t at = file->heap_count++;
    while (at > 0 && before(samples, file->heap[(at - 1) / 2])) {
        file->heap[at] = file->heap[(at - 1) / 2];
        at = (at - 1) / 2;
    }
    file->heap[at] = samples;
}

/* Room for one more open record: in the heap, and among the spare ones when it is done. */
static int make_room(struct mseed_file *file, struct error *error)
{
    if (file->heap_count + file->spare_count < file->heap_size && file->heap) {
        return 0;
    }
    size_t size = file->heap_size ? 2 * file->heap_size : 64;
    struct mseed_samples **heap = realloc(file->heap, size * sizeof(struct mseed_samples *));
    if (!heap) {
        return out_of_memory(file, error);
    }
    file->heap = heap;
    struct mseed_samples **spare = realloc(file->spare, size * sizeof(struct mseed_samples *));
    if (!spare) {
        return out_of_memory(file, error);
    }
    file->spare = spare;
    file->heap_size = size;
    return 0;
}

static int open_record(struct mseed_file *file, struct error *error)
{
    size_t index = file->next_entry++;
    size_t offset = file->entries[index].offset;
    size_t length = 0;
    int64_t start_ns = 0;
    if (file->spare_count == 0 && make_room(file, error) != 0) {
        return -1;
    }
    struct mseed_samples *samples =
        file->spare_count > 0 ? file->spare[--file->spare_count] : calloc(1, sizeof *samples);
    if (!samples) {
        return out_of_memory(file, error);
    }
    int result = mseed_record_look(file->bytes + offset, file->length - offset, &length, &start_ns);
    if (result == MSEED_NO_MEMORY) {
        result = out_of_memory(file, error);
    } else if (result != 0) {
        result = error_set(error, ERROR_FORMAT, "%s: changed while it was read", file->name);
    } else {
        result = mseed_record_read(&file->names, file->bytes + offset, length, index + 1, samples,
                                   error);
    }
    if (result != 0 || samples->count == 0) {
        file->spare[file->spare_count++] = samples;
        return result;
    }
    push(file, samples);
    return 0;
}

/* Opens every record that begins no later than the first sample on hand. A note's time is less than
 * a microsecond after the record's. */
static int fill(struct mseed_file *file, struct error *error)
{
    while (file->next_entry < file->entry_count &&
           (file->heap_count == 0 ||
            file->entries[file->next_entry].start_ns <= time_of(file->heap[0]))) {
        if (open_record(file, error) != 0) {
            return -1;
        }
    }
    return 0;
}

static int next(void *context, struct recording_sample *sample, struct error *error)
{
    struct mseed_file *file = context;
    if (fill(file, error) != 0) {
        return -1;
    }
    if (file->heap_count == 0) {
        return 0;
    }
    struct mseed_samples *top = file->heap[0];
    *sample = (struct recording_sample){.place = top->place,
                                        .time_ns = time_of(top),
                                        .node = top->node,
                                        .channel = top->channel,
                                        .value = top->values[top->next]};
    if (++top->next == top->count) {
        file->spare[file->spare_count++] = top;
        file->heap[0] = file->heap[--file->heap_count];
    }
    if (file->heap_count > 0) {
        sink(file);
    }
    return 1;
}

static void rewind_file(void *context)
{
    struct mseed_file *file = context;
    while (file->heap_count > 0) {
        file->spare[file->spare_count++] = file->heap[--file->heap_count];
    }
    file->next_entry = 0;
}

static void close_file(void *context)
{
    struct mseed_file *file = context;
    rewind_file(file);
    while (file->spare_count > 0) {
        mseed_record_free(file->spare[--file->spare_count]);
        free(file->spare[file->spare_count]);
    }
    if (file->mapped) {
        recording_unmap(file->bytes, file->length);
    }
    free(file->heap);
    free(file->spare);
    free(file->entries);
    free(file->names.steps);
    free(file->name);
    free(file);
}

static int by_start(const void *left, const void *right)
{
    const struct entry *a = left;
    const struct entry *b = right;
    if (a->start_ns != b->start_ns) {
        return a->start_ns < b->start_ns ? -1 : 1;
    }
    return a->offset < b->offset ? -1 : a->offset > b->offset;
}

static int add_entry(struct mseed_file *file, struct entry entry, struct error *error)
{
    if (file->entry_count == file->entry_size) {
        size_t size = file->entry_size ? 2 * file->entry_size : 256;
        struct entry *entries = realloc(file->entries, size * sizeof *entries);
        if (!entries) {
            return out_of_memory(file, error);
        }
        file->entries = entries;
        file->entry_size = size;
    }
    file->entries[file->entry_count++] = entry;
    return 0;
}

static int find_records(struct mseed_file *file, struct error *error)
{
    for (size_t at = 0; at < file->length;) {
        struct entry entry = {.offset = at};
        size_t length = 0;
        int looked =
            mseed_record_look(file->bytes + at, file->length - at, &length, &entry.start_ns);
        if (looked != 0) {
            return looked == MSEED_NO_MEMORY
                       ? out_of_memory(file, error)
                       : fail(file, file->entry_count + 1, ERROR_FORMAT,
                              at == 0 ? "not miniSEED 2" : "damaged or cut short", error);
        }
        if (add_entry(file, entry, error) != 0) {
            return -1;
        }
        at += length;
    }
    if (file->entry_count == 0) {
        return fail(file, 1, ERROR_FORMAT, "not miniSEED 2", error);
    }
    qsort(file->entries, file->entry_count, sizeof *file->entries, by_start);
    return 0;
}

static void say_nothing(char *words)
{
    (void)words;
}

static int look(struct mseed_file *file, struct recording **out, struct error *error)
{
    ms_loginit(say_nothing, NULL, say_nothing, NULL);
    if (find_records(file, error) != 0) {
        close_file(file);
        return -1;
    }
    const struct recording_source source = {file, next, rewind_file, fail, close_file};
    return recording_open(file->name, &source, file->names.site, out, error);
}

static struct mseed_file *make(const char *name, const struct site *site,
                               const struct mseed_step *steps, size_t step_count,
                               struct error *error)
{
    struct mseed_file *file = calloc(1, sizeof *file);
    if (!file || !(file->name = strdup(name)) ||
        !(file->names.steps = calloc(step_count + 1, sizeof *steps))) {
        (void)error_set(error, ERROR_MEMORY, "%s: out of memory", name);
        free(file ? file->name : NULL);
        free(file);
        return NULL;
    }
    for (size_t i = 0; i < step_count; i++) {
        file->names.steps[i] = steps[i];
    }
    file->names.step_count = step_count;
    file->names.file = file->name;
    file->names.site = site;
    return file;
}

int mseed_file_open(const char *path, const struct site *site, const struct mseed_step *steps,
                    size_t step_count, struct recording **out, struct error *error)
{
    struct mseed_file *file = make(path, site, steps, step_count, error);
    if (!file) {
        return -1;
    }
    if (recording_map(path, &file->bytes, &file->length, error)) {
        close_file(file);
        return -1;
    }
    file->mapped = true;
    return look(file, out, error);
}

int mseed_file_open_bytes(const char *name, const char *bytes, size_t length,
                          const struct site *site, const struct mseed_step *steps,
                          size_t step_count, struct recording **out, struct error *error)
{
    struct mseed_file *file = make(name, site, steps, step_count, error);
    if (!file) {
        return -1;
    }
    file->bytes = bytes;
    file->length = length;
    return look(file, out, error);
}
