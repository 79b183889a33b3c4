/* One file of the spool: records back to back, each checked, all of one boot.
 * A record: "RWS1", length, boot, seq, CRC-32C of those and the message; then the message. All
 * little-endian. Must never write over what is there. Used by spool.c alone. */
#ifndef ROOMWAKE_NODE_SPOOL_SEGMENT_H
#define ROOMWAKE_NODE_SPOOL_SEGMENT_H

#include <stddef.h>
#include <stdint.h>

#include "common/error.h"

#define SPOOL_RECORD_HEAD 28u
#define SPOOL_SEGMENT_NAME_SIZE 32

/* What is known of a file; caller-owned. */
struct spool_segment {
    uint64_t id; /* files are in order of it */
    uint64_t boot;
    uint64_t first_seq;
    uint64_t last_seq;
    uint64_t frames;
    uint64_t bytes;         /* of whole records */
    uint64_t first_ordinal; /* set by the spool */
};

struct spool_record {
    uint64_t boot;
    uint64_t seq;
    size_t length; /* of the message */
};

void spool_segment_name(uint64_t id, char name[SPOOL_SEGMENT_NAME_SIZE]);
/* -1 where the name is none of a segment. */
int spool_segment_parse_name(const char *name, uint64_t *id);

/* Reads the heads of all records up to the first that is not whole. frames may be 0. */
int spool_segment_scan(int dir_fd, uint64_t id, struct spool_segment *segment, struct error *error);
/* The head of the record at `offset`, which must end before `end`. */
int spool_segment_read_head(int fd, uint64_t offset, uint64_t end, struct spool_record *record,
                            struct error *error);
/* The message as well, at most `size` bytes, checked. ERROR_CHECKSUM where it is not as written. */
int spool_segment_read(int fd, uint64_t offset, uint64_t end, uint8_t *bytes, size_t size,
                       struct spool_record *record, struct error *error);
/* Appends with one write to a file opened with O_APPEND whose whole records end at `end`; after a
 * failure the file is cut back to that (ERROR_STATE where it cannot be). ERROR_FULL: no space. */
int spool_segment_append(int fd, uint64_t end, const struct spool_record *record,
                         const uint8_t *bytes, struct error *error);

#endif
