/* The spool's frames in order: find, read, forget, give up.
 * Must never forget a frame that was not stored without counting it. Called through spool.h. */
#include "node/spool_inside.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <string.h>
#include <sys/statvfs.h>
#include <unistd.h>

#include "common/log.h"

static uint64_t segment_end(const struct spool_segment *segment)
{
    return segment->first_ordinal + segment->frames;
}

struct spool_segment *spool_find_segment(struct spool *spool, uint64_t ordinal)
{
    for (size_t i = 0; i < spool->segment_count; i++) {
        if (ordinal < segment_end(&spool->segments[i])) {
            return &spool->segments[i];
        }
    }
    return NULL;
}

int spool_read_fd(struct spool *spool, uint64_t segment_id, struct error *error)
{
    if (spool->read_fd >= 0 && spool->read_id == segment_id) {
        return spool->read_fd;
    }
    if (spool->read_fd >= 0) {
        close(spool->read_fd);
    }
    char name[SPOOL_SEGMENT_NAME_SIZE];
    spool_segment_name(segment_id, name);
    spool->read_id = segment_id;
    spool->read_fd = openat(spool->dir_fd, name, O_RDONLY | O_CLOEXEC);
    if (spool->read_fd < 0) {
        return error_set(error, ERROR_IO, "spool: %s: %s", name, strerror(errno));
    }
    return spool->read_fd;
}

uint64_t spool_first(const struct spool *spool)
{
    return spool->head.ordinal;
}

uint64_t spool_end(const struct spool *spool)
{
    return spool->disk_end + spool->memory.count;
}

/* The nearest known place at or before the ordinal, in its segment. */
static struct spool_place start_place(const struct spool *spool,
                                      const struct spool_segment *segment, uint64_t ordinal)
{
    struct spool_place place = {.segment_id = segment->id, .ordinal = segment->first_ordinal};
    const struct spool_place *known[2] = {&spool->head, &spool->next};
    for (int i = 0; i < 2; i++) {
        if (known[i]->segment_id == segment->id && known[i]->ordinal <= ordinal &&
            known[i]->ordinal >= place.ordinal) {
            place = *known[i];
        }
    }
    return place;
}

static int find_place(struct spool *spool, uint64_t ordinal, const struct spool_segment *segment,
                      struct spool_place *place, struct error *error)
{
    int fd = spool_read_fd(spool, segment->id, error);
    if (fd < 0) {
        return -1;
    }
    *place = start_place(spool, segment, ordinal);
    while (place->ordinal < ordinal) {
        struct spool_record record = {0};
        if (spool_segment_read_head(fd, place->offset, segment->bytes, &record, error)) {
            return -1;
        }
        place->offset += SPOOL_RECORD_HEAD + record.length;
        place->ordinal++;
    }
    return 0;
}

int spool_read(struct spool *spool, uint64_t ordinal, uint8_t *bytes, size_t size,
               struct spool_frame *frame, struct error *error)
{
    if (ordinal < spool_first(spool) || ordinal >= spool_end(spool)) {
        return error_set(error, ERROR_NOT_FOUND, "spool: no such frame");
    }
    if (ordinal >= spool->disk_end) {
        const struct spool_memory_frame *kept =
            spool_memory_at(&spool->memory, (size_t)(ordinal - spool->disk_end));
        if (kept->length > size) {
            return error_set(error, ERROR_FULL, "spool: message of %zu bytes into %zu",
                             kept->length, size);
        }
        memcpy(bytes, kept->bytes, kept->length);
        *frame = (struct spool_frame){kept->boot, kept->seq, kept->length};
        return 0;
    }
    const struct spool_segment *segment = spool_find_segment(spool, ordinal);
    struct spool_place place;
    struct spool_record record = {0};
    if (!segment || find_place(spool, ordinal, segment, &place, error) ||
        spool_segment_read(spool->read_fd, place.offset, segment->bytes, bytes, size, &record,
                           error)) {
        return -1;
    }
    *frame = (struct spool_frame){record.boot, record.seq, record.length};
    place.offset += SPOOL_RECORD_HEAD + record.length;
    place.ordinal++;
    spool->next = place;
    return 0;
}

static void remove_first_segment(struct spool *spool)
{
    struct spool_segment *first = &spool->segments[0];
    char name[SPOOL_SEGMENT_NAME_SIZE];
    spool_segment_name(first->id, name);
    if (spool->segment_count == 1) {
        spool_close_writer(spool);
    }
    if (unlinkat(spool->dir_fd, name, 0)) {
        log_warning("spool: %s is not to be removed: %s", name, strerror(errno));
    }
    spool->disk_bytes -= first->bytes;
    spool->segment_count--;
    memmove(first, first + 1, spool->segment_count * sizeof *first);
}

/* Everything before the ordinal is no longer needed. The file being written stays, unless frames in
 * memory go too: what is written next would then not follow in it. */
static void advance_head(struct spool *spool, uint64_t ordinal)
{
    if (ordinal > spool->disk_end) {
        spool_close_writer(spool);
    }
    while (spool->segment_count > 0 && segment_end(&spool->segments[0]) <= ordinal &&
           (spool->segment_count > 1 || spool->write_fd < 0)) {
        remove_first_segment(spool);
    }
    for (; spool->disk_end < ordinal && spool->memory.count > 0; spool->disk_end++) {
        spool_memory_pop(&spool->memory);
    }
    struct spool_place place = {.ordinal = ordinal};
    if (spool->segment_count > 0 && find_place(spool, ordinal, &spool->segments[0], &place, NULL)) {
        place = (struct spool_place){.segment_id = spool->segments[0].id,
                                     .ordinal = spool->segments[0].first_ordinal};
    }
    spool->head = place;
}

void spool_drop_stored(struct spool *spool)
{
    if (spool_first(spool) == spool_end(spool)) {
        while (spool->segment_count > 0) {
            remove_first_segment(spool);
        }
    }
}

void spool_count_dropped(struct spool *spool, uint64_t frames)
{
    uint64_t before = spool->dropped;
    spool->dropped += frames;
    if (frames > 0 && (before == 0 || spool->dropped / before > 1)) {
        log_warning("spool: no room: %" PRIu64 " frames given up since the start, the oldest first",
                    spool->dropped);
    }
}

void spool_drop_segment(struct spool *spool)
{
    uint64_t end = segment_end(&spool->segments[0]);
    uint64_t held = end > spool->head.ordinal ? end - spool->head.ordinal : 0;
    spool_count_dropped(spool, held);
    remove_first_segment(spool);
    advance_head(spool, end > spool->head.ordinal ? end : spool->head.ordinal);
}

void spool_drop_first(struct spool *spool)
{
    uint64_t ordinal = spool_first(spool);
    if (ordinal >= spool_end(spool)) {
        return;
    }
    struct spool_segment *segment = spool_find_segment(spool, ordinal);
    struct spool_place place;
    if (ordinal < spool->disk_end &&
        (!segment || find_place(spool, ordinal + 1, segment, &place, NULL))) {
        log_warning("spool: the rest of a file cannot be read and is given up");
        spool_drop_segment(spool);
        return;
    }
    spool_count_dropped(spool, 1);
    advance_head(spool, ordinal + 1);
}

/* The ordinal after the last frame of the segment with seq <= `seq`. */
static uint64_t after_seq(struct spool *spool, const struct spool_segment *segment, uint64_t seq)
{
    if (segment->last_seq <= seq) {
        return segment_end(segment);
    }
    int fd = spool_read_fd(spool, segment->id, NULL);
    struct spool_place place = start_place(spool, segment, spool->head.ordinal);
    struct spool_record record = {0};
    while (fd >= 0 && place.ordinal < segment_end(segment) &&
           spool_segment_read_head(fd, place.offset, segment->bytes, &record, NULL) == 0 &&
           record.seq <= seq) {
        place.offset += SPOOL_RECORD_HEAD + record.length;
        place.ordinal++;
    }
    return place.ordinal;
}

void spool_forget(struct spool *spool, uint64_t boot, uint64_t seq)
{
    for (size_t i = spool->memory.count; i > 0; i--) {
        const struct spool_memory_frame *frame = spool_memory_at(&spool->memory, i - 1);
        if (frame->boot == boot && frame->seq <= seq) {
            advance_head(spool, spool->disk_end + i);
            return;
        }
    }
    for (size_t i = spool->segment_count; i > 0; i--) {
        const struct spool_segment *segment = &spool->segments[i - 1];
        if (segment->frames > 0 && segment->boot == boot && segment->first_seq <= seq) {
            uint64_t ordinal = after_seq(spool, segment, seq);
            if (ordinal > spool->head.ordinal) {
                advance_head(spool, ordinal);
            }
            return;
        }
    }
}

static bool head_seq(struct spool *spool, uint64_t *boot, uint64_t *seq)
{
    uint64_t ordinal = spool_first(spool);
    if (ordinal >= spool_end(spool)) {
        return false;
    }
    if (ordinal >= spool->disk_end) {
        const struct spool_memory_frame *frame = spool_memory_at(&spool->memory, 0);
        *boot = frame->boot;
        *seq = frame->seq;
        return true;
    }
    const struct spool_segment *segment = spool_find_segment(spool, ordinal);
    struct spool_record record = {0};
    struct spool_place place;
    if (!segment || find_place(spool, ordinal, segment, &place, NULL) ||
        spool_segment_read_head(spool->read_fd, place.offset, segment->bytes, &record, NULL)) {
        return false;
    }
    *boot = record.boot;
    *seq = record.seq;
    return true;
}

uint64_t spool_oldest_seq(struct spool *spool, uint64_t boot, uint64_t fallback)
{
    uint64_t first_boot, seq;
    if (head_seq(spool, &first_boot, &seq) && first_boot == boot) {
        return seq;
    }
    for (size_t i = 0; i < spool->segment_count; i++) {
        const struct spool_segment *segment = &spool->segments[i];
        if (segment->boot == boot && segment->first_ordinal > spool->head.ordinal) {
            return segment->first_seq;
        }
    }
    for (size_t i = 0; i < spool->memory.count; i++) {
        const struct spool_memory_frame *frame = spool_memory_at(&spool->memory, i);
        if (frame->boot == boot) {
            return frame->seq;
        }
    }
    return fallback;
}

static uint64_t find_room(const struct spool *spool)
{
    struct statvfs disk;
    uint64_t bound =
        spool->max_bytes > spool->disk_bytes ? spool->max_bytes - spool->disk_bytes : 0;
    if (fstatvfs(spool->dir_fd, &disk) != 0) {
        return bound;
    }
    uint64_t free_bytes = (uint64_t)disk.f_bavail * (uint64_t)disk.f_frsize;
    return free_bytes < bound ? free_bytes : bound;
}

void spool_count(const struct spool *spool, struct spool_counts *counts)
{
    counts->frames = spool_end(spool) - spool_first(spool);
    counts->bytes = spool->disk_bytes + spool->memory.bytes;
    if (spool->segment_count > 0 && spool->head.segment_id == spool->segments[0].id) {
        counts->bytes -= spool->head.offset;
    }
    counts->dropped = spool->dropped;
    counts->taken = spool->taken;
    counts->room = find_room(spool);
}
