/* Records of one spool file: write, read back, check.
 * Must never trust a length that it read. Called by spool.c. */
#include "node/spool_segment.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/uio.h>
#include <unistd.h>

#include "common/bytes.h"
#include "common/crc.h"
#include "common/log.h"
#include "common/wire.h"

#define RECORD_MAGIC 0x31535752u /* "RWS1" */
#define HEAD_CHECKED 24u         /* bytes of the head before its checksum */

void spool_segment_name(uint64_t id, char name[SPOOL_SEGMENT_NAME_SIZE])
{
    snprintf(name, SPOOL_SEGMENT_NAME_SIZE, "%016" PRIx64 ".spool", id);
}

int spool_segment_parse_name(const char *name, uint64_t *id)
{
    int used = 0;
    if (strspn(name, "0123456789abcdef") != 16 ||
        sscanf(name, "%16" SCNx64 ".spool%n", id, &used) != 1 || used != 22 || name[22]) {
        return -1;
    }
    return 0;
}

static int fail_errno(struct error *error, const char *what)
{
    return error_set(error, ERROR_IO, "spool: %s: %s", what, strerror(errno));
}

/* All of `length` bytes, or -1 with errno (EIO where the file ends before). */
static int read_all(int fd, uint8_t *bytes, size_t length, uint64_t offset)
{
    size_t done = 0;
    while (done < length) {
        ssize_t got = pread(fd, bytes + done, length - done, (off_t)(offset + done));
        if (got < 0 && errno == EINTR) {
            continue;
        }
        if (got <= 0) {
            errno = got == 0 ? EIO : errno;
            return -1;
        }
        done += (size_t)got;
    }
    return 0;
}

static int parse_head(const uint8_t head[SPOOL_RECORD_HEAD], uint64_t room,
                      struct spool_record *record, uint32_t *checksum, struct error *error)
{
    struct bytes_reader reader = bytes_reader_of(head, SPOOL_RECORD_HEAD);
    uint32_t magic = bytes_read_u32(&reader);
    uint32_t length = bytes_read_u32(&reader);
    record->boot = bytes_read_u64(&reader);
    record->seq = bytes_read_u64(&reader);
    record->length = length;
    *checksum = bytes_read_u32(&reader);
    if (magic != RECORD_MAGIC || length == 0 || length > WIRE_MESSAGE_MAX ||
        SPOOL_RECORD_HEAD + (uint64_t)length > room) {
        return error_set(error, ERROR_FORMAT, "spool: no whole record here");
    }
    return 0;
}

static int read_head(int fd, uint64_t offset, uint64_t end, uint8_t head[SPOOL_RECORD_HEAD],
                     struct spool_record *record, uint32_t *checksum, struct error *error)
{
    if (offset > end || end - offset < SPOOL_RECORD_HEAD) {
        return error_set(error, ERROR_FORMAT, "spool: no whole record here");
    }
    if (read_all(fd, head, SPOOL_RECORD_HEAD, offset)) {
        return fail_errno(error, "read");
    }
    return parse_head(head, end - offset, record, checksum, error);
}

int spool_segment_read_head(int fd, uint64_t offset, uint64_t end, struct spool_record *record,
                            struct error *error)
{
    uint8_t head[SPOOL_RECORD_HEAD];
    uint32_t checksum;
    return read_head(fd, offset, end, head, record, &checksum, error);
}

int spool_segment_read(int fd, uint64_t offset, uint64_t end, uint8_t *bytes, size_t size,
                       struct spool_record *record, struct error *error)
{
    uint8_t head[SPOOL_RECORD_HEAD];
    uint32_t checksum;
    if (read_head(fd, offset, end, head, record, &checksum, error)) {
        return -1;
    }
    if (record->length > size) {
        return error_set(error, ERROR_FULL, "spool: message of %zu bytes into %zu", record->length,
                         size);
    }
    if (read_all(fd, bytes, record->length, offset + SPOOL_RECORD_HEAD)) {
        return fail_errno(error, "read");
    }
    uint32_t crc = crc32c_update(0, head, HEAD_CHECKED);
    if (crc32c_update(crc, bytes, record->length) != checksum) {
        return error_set(error, ERROR_CHECKSUM, "spool: a message is not as it was written");
    }
    return 0;
}

int spool_segment_scan(int dir_fd, uint64_t id, struct spool_segment *segment, struct error *error)
{
    char name[SPOOL_SEGMENT_NAME_SIZE];
    spool_segment_name(id, name);
    *segment = (struct spool_segment){.id = id};
    int fd = openat(dir_fd, name, O_RDONLY | O_CLOEXEC);
    struct stat status;
    if (fd < 0 || fstat(fd, &status)) {
        int code = errno;
        if (fd >= 0) {
            close(fd);
        }
        return error_set(error, ERROR_IO, "spool: %s: %s", name, strerror(code));
    }
    struct spool_record record = {0};
    while (spool_segment_read_head(fd, segment->bytes, (uint64_t)status.st_size, &record, NULL) ==
           0) {
        if (segment->frames == 0) {
            segment->boot = record.boot;
            segment->first_seq = record.seq;
        } else if (record.boot != segment->boot || record.seq <= segment->last_seq) {
            break;
        }
        segment->last_seq = record.seq;
        segment->frames++;
        segment->bytes += SPOOL_RECORD_HEAD + record.length;
    }
    uint64_t left = (uint64_t)status.st_size - segment->bytes;
    if (left > 0) {
        log_warning("spool: %s: the last %" PRIu64 " bytes are no whole frame", name, left);
    }
    close(fd);
    return 0;
}

int spool_segment_append(int fd, uint64_t end, const struct spool_record *record,
                         const uint8_t *bytes, struct error *error)
{
    uint8_t head[SPOOL_RECORD_HEAD];
    struct bytes_writer writer = bytes_writer_of(head, sizeof head);
    bytes_write_u32(&writer, RECORD_MAGIC);
    bytes_write_u32(&writer, (uint32_t)record->length);
    bytes_write_u64(&writer, record->boot);
    bytes_write_u64(&writer, record->seq);
    uint32_t crc = crc32c_update(0, head, HEAD_CHECKED);
    bytes_write_u32(&writer, crc32c_update(crc, bytes, record->length));
    struct iovec parts[2] = {{.iov_base = head, .iov_len = sizeof head},
                             /* NOLINTNEXTLINE(performance-no-int-to-ptr): writev reads it only. */
                             {.iov_base = (void *)(uintptr_t)bytes, .iov_len = record->length}};
    ssize_t written;
    do {
        errno = 0;
        written = writev(fd, parts, 2);
    } while (written < 0 && errno == EINTR);
    if (written == (ssize_t)(sizeof head + record->length)) {
        return 0;
    }
    int code = written < 0 ? errno : ENOSPC;
    if (written > 0 && ftruncate(fd, (off_t)end)) {
        return error_set(error, ERROR_STATE, "spool: write: %s; not to be cut back: %s",
                         strerror(code), strerror(errno));
    }
    bool full = code == ENOSPC || code == EDQUOT;
    return error_set(error, full ? ERROR_FULL : ERROR_IO, "spool: write: %s", strerror(code));
}
