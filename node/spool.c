/* The spool's folder: open, append, sync, close.
 * Must never write to a file of an earlier run, nor wait for the disk while appending. Called by
 * the node's loop. */
#include "node/spool_inside.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "common/log.h"

#define SEGMENT_BYTES (UINT64_C(4) * 1024 * 1024)
#define SEGMENTS_LEAST                                                                             \
    8 /* the oldest go by whole files: at most an eighth of the bound at once                      \
       */

/* ---- opening ---- */

static int open_folder(struct spool *spool, const char *path, struct error *error)
{
    if (mkdir(path, 0750) && errno != EEXIST) {
        return error_set(error, ERROR_IO, "spool %s: %s", path, strerror(errno));
    }
    spool->dir_fd = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (spool->dir_fd < 0) {
        return error_set(error, ERROR_IO, "spool %s: %s", path, strerror(errno));
    }
    spool->lock_fd = openat(spool->dir_fd, "lock", O_RDWR | O_CREAT | O_CLOEXEC, 0640);
    if (spool->lock_fd < 0) {
        return error_set(error, ERROR_IO, "spool %s: lock: %s", path, strerror(errno));
    }
    if (flock(spool->lock_fd, LOCK_EX | LOCK_NB)) {
        return error_set(error, ERROR_BUSY, "spool %s: another node uses it", path);
    }
    return 0;
}

static int compare_ids(const void *a, const void *b)
{
    uint64_t left = ((const struct spool_segment *)a)->id;
    uint64_t right = ((const struct spool_segment *)b)->id;
    return left < right ? -1 : left > right;
}

static struct spool_segment *add_segment(struct spool *spool, uint64_t id)
{
    if (spool->segment_count == spool->segment_size) {
        size_t size = spool->segment_size ? spool->segment_size * 2 : 16;
        struct spool_segment *grown = realloc(spool->segments, size * sizeof *grown);
        if (!grown) {
            return NULL;
        }
        spool->segments = grown;
        spool->segment_size = size;
    }
    struct spool_segment *segment = &spool->segments[spool->segment_count++];
    *segment = (struct spool_segment){.id = id};
    return segment;
}

static int list_segments(struct spool *spool, struct error *error)
{
    int fd = openat(spool->dir_fd, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    DIR *dir = fd >= 0 ? fdopendir(fd) : NULL;
    if (!dir) {
        int code = errno;
        if (fd >= 0) {
            close(fd);
        }
        return error_set(error, ERROR_IO, "spool: listing the folder: %s", strerror(code));
    }
    int rc = 0;
    const struct dirent *entry;
    while (rc == 0 && (entry = readdir(dir)) != NULL) {
        uint64_t id;
        if (spool_segment_parse_name(entry->d_name, &id) == 0 && id > 0 && id < UINT64_MAX &&
            !add_segment(spool, id)) {
            rc = error_set(error, ERROR_MEMORY, "spool: out of memory");
        }
    }
    closedir(dir);
    if (spool->segment_count > 0) {
        qsort(spool->segments, spool->segment_count, sizeof *spool->segments, compare_ids);
    }
    return rc;
}

/* Finds the whole records of each file; files without one go. */
static int scan_segments(struct spool *spool, struct error *error)
{
    size_t kept = 0;
    for (size_t i = 0; i < spool->segment_count; i++) {
        struct spool_segment segment;
        uint64_t id = spool->segments[i].id;
        spool->next_id = id + 1;
        if (spool_segment_scan(spool->dir_fd, id, &segment, error)) {
            return -1;
        }
        if (segment.frames == 0) {
            char name[SPOOL_SEGMENT_NAME_SIZE];
            spool_segment_name(id, name);
            (void)unlinkat(spool->dir_fd, name, 0);
            continue;
        }
        segment.first_ordinal = spool->disk_end;
        spool->disk_end += segment.frames;
        spool->disk_bytes += segment.bytes;
        spool->segments[kept++] = segment;
    }
    spool->segment_count = kept;
    if (kept > 0) {
        spool->head.segment_id = spool->segments[0].id;
    }
    return 0;
}

int spool_open(const char *path, uint64_t max_bytes, struct spool **out, struct error *error)
{
    struct spool *spool = calloc(1, sizeof *spool);
    if (!spool) {
        return error_set(error, ERROR_MEMORY, "spool: out of memory");
    }
    spool->dir_fd = spool->lock_fd = spool->write_fd = spool->read_fd = spool->rolled_fd = -1;
    spool->max_bytes = max_bytes;
    spool->segment_bytes =
        max_bytes / SEGMENTS_LEAST < SEGMENT_BYTES ? max_bytes / SEGMENTS_LEAST : SEGMENT_BYTES;
    spool->next_id = 1;
    if (open_folder(spool, path, error) || list_segments(spool, error) ||
        scan_segments(spool, error)) {
        spool_close(spool);
        return -1;
    }
    spool_clean_hellos(spool);
    *out = spool;
    return 0;
}

/* ---- appending ---- */

void spool_close_writer(struct spool *spool)
{
    if (spool->write_fd < 0) {
        return;
    }
    if (spool->rolled_fd >= 0) {
        close(spool->rolled_fd); /* two files filled within a second: the older one goes unsynced */
    }
    spool->rolled_fd = spool->write_fd;
    spool->write_fd = -1;
}

static int open_writer(struct spool *spool, uint64_t boot, uint64_t seq, struct error *error)
{
    char name[SPOOL_SEGMENT_NAME_SIZE];
    uint64_t id = spool->next_id;
    spool_segment_name(id, name);
    int fd = openat(spool->dir_fd, name, O_WRONLY | O_CREAT | O_EXCL | O_APPEND | O_CLOEXEC, 0640);
    if (fd < 0) {
        bool full = errno == ENOSPC || errno == EDQUOT;
        return error_set(error, full ? ERROR_FULL : ERROR_IO, "spool: %s: %s", name,
                         strerror(errno));
    }
    struct spool_segment *segment = add_segment(spool, id);
    if (!segment) {
        close(fd);
        (void)unlinkat(spool->dir_fd, name, 0);
        return error_set(error, ERROR_MEMORY, "spool: out of memory");
    }
    spool->next_id = id + 1;
    segment->boot = boot;
    segment->first_seq = seq;
    segment->first_ordinal = spool->disk_end;
    spool->write_fd = fd;
    spool->new_file = true;
    return 0;
}

static void make_room(struct spool *spool, uint64_t size)
{
    while (spool->segment_count > 0 && (spool->disk_bytes + size > spool->max_bytes ||
                                        spool->segment_count >= SPOOL_SEGMENTS_MAX)) {
        spool_drop_segment(spool);
    }
}

static int write_record(struct spool *spool, const struct spool_record *record,
                        const uint8_t *bytes, struct error *error)
{
    uint64_t size = SPOOL_RECORD_HEAD + record->length;
    make_room(spool, size);
    if (spool->write_fd >= 0 &&
        spool->segments[spool->segment_count - 1].bytes + size > spool->segment_bytes) {
        spool_close_writer(spool);
    }
    if (spool->write_fd < 0 && open_writer(spool, record->boot, record->seq, error)) {
        return -1;
    }
    struct spool_segment *segment = &spool->segments[spool->segment_count - 1];
    if (spool_segment_append(spool->write_fd, segment->bytes, record, bytes, error)) {
        if (error->code == ERROR_STATE) {
            spool_close_writer(spool);
        }
        return -1;
    }
    if (segment->frames == 0) {
        segment->first_seq = record->seq;
    }
    segment->last_seq = record->seq;
    segment->frames++;
    segment->bytes += size;
    spool->disk_bytes += size;
    spool->disk_end++;
    spool->unsynced = true;
    return 0;
}

static int write_or_say(struct spool *spool, const struct spool_record *record,
                        const uint8_t *bytes)
{
    struct error error;
    int rc = write_record(spool, record, bytes, &error);
    spool->disk_full = rc && error.code == ERROR_FULL;
    if (rc) {
        if (!spool->write_fault[0]) {
            log_error("%s; going on in memory", error.text);
        }
        snprintf(spool->write_fault, sizeof spool->write_fault, "%.250s", error.text);
    } else {
        spool->write_fault[0] = '\0';
    }
    return rc;
}

static int flush_memory(struct spool *spool)
{
    while (spool->memory.count > 0) {
        const struct spool_memory_frame *frame = spool_memory_at(&spool->memory, 0);
        struct spool_record record = {frame->boot, frame->seq, frame->length};
        if (write_or_say(spool, &record, frame->bytes)) {
            return -1;
        }
        spool_memory_pop(&spool->memory);
    }
    return 0;
}

/* What waits in memory first. */
static int write_all(struct spool *spool, const struct spool_record *record, const uint8_t *bytes)
{
    return flush_memory(spool) == 0 ? write_or_say(spool, record, bytes) : -1;
}

void spool_append(struct spool *spool, uint64_t boot, uint64_t seq, const uint8_t *bytes,
                  size_t length)
{
    struct spool_record record = {.boot = boot, .seq = seq, .length = length};
    spool->taken += length;
    if (write_all(spool, &record, bytes) == 0) {
        return;
    }
    /* A disk that others filled may have room again soon, so memory takes what it can. After that
     * it is treated as a spool at its bound: the oldest file goes, one a frame at most. */
    if (spool->disk_full && spool->segment_count > 1 &&
        !spool_memory_has_room(&spool->memory, length)) {
        spool_drop_segment(spool);
        if (write_all(spool, &record, bytes) == 0) {
            return;
        }
    }
    /* Where older frames are still on disk, it is the new one that finds no room in memory. */
    while (!spool_memory_has_room(&spool->memory, length) && spool->memory.count > 0 &&
           spool_first(spool) >= spool->disk_end) {
        spool_drop_first(spool);
    }
    if (spool_memory_push(&spool->memory, boot, seq, bytes, length)) {
        spool_count_dropped(spool, 1);
    }
}

const char *spool_fault(const struct spool *spool)
{
    return spool->write_fault[0] ? spool->write_fault : spool->sync_fault;
}

/* ---- through to the disk ---- */

static int duplicate(int fd)
{
    return fd >= 0 ? fcntl(fd, F_DUPFD_CLOEXEC, 0) : -1;
}

bool spool_sync_take(struct spool *spool, struct spool_sync *sync)
{
    if (!spool->unsynced && !spool->new_file && spool->rolled_fd < 0) {
        return false;
    }
    sync->fds[0] = spool->rolled_fd; /* goes over to the job, which closes it */
    sync->fds[1] = spool->unsynced ? duplicate(spool->write_fd) : -1;
    sync->fds[2] = spool->new_file ? duplicate(spool->dir_fd) : -1;
    spool->rolled_fd = -1;
    spool->unsynced = false;
    spool->new_file = false;
    return true;
}

int spool_sync_run(struct spool_sync *sync)
{
    int code = 0;
    for (int i = 0; i <= SPOOL_SYNC_FILES; i++) {
        if (sync->fds[i] < 0) {
            continue;
        }
        int rc = i < SPOOL_SYNC_FILES ? fdatasync(sync->fds[i]) : fsync(sync->fds[i]);
        if (rc && code == 0) {
            code = errno;
        }
        close(sync->fds[i]);
        sync->fds[i] = -1;
    }
    return code;
}

void spool_sync_done(struct spool *spool, int code)
{
    if (code != 0) {
        snprintf(spool->sync_fault, sizeof spool->sync_fault,
                 "spool: fdatasync: %s; the newest frames may not outlive a power cut",
                 strerror(code));
        log_error("%s", spool->sync_fault);
        spool->doubt_end = spool->disk_end;
        spool_close_writer(spool); /* what comes now goes into a file of its own */
    } else if (spool_first(spool) >= spool->doubt_end) {
        spool->sync_fault[0] = '\0';
    }
}

static void close_fd(int fd)
{
    if (fd >= 0) {
        close(fd);
    }
}

void spool_close(struct spool *spool)
{
    if (!spool) {
        return;
    }
    struct spool_sync sync;
    if (spool->memory.count > 0 && flush_memory(spool)) {
        log_error("spool: %zu frames in memory are lost", spool->memory.count);
    }
    spool_drop_stored(spool);
    if (spool_sync_take(spool, &sync)) {
        int code = spool_sync_run(&sync);
        if (code != 0) {
            log_error("spool: fdatasync: %s", strerror(code));
        }
    }
    spool_memory_clear(&spool->memory);
    close_fd(spool->write_fd);
    close_fd(spool->read_fd);
    close_fd(spool->lock_fd);
    close_fd(spool->dir_fd);
    free(spool->segments);
    free(spool);
}
