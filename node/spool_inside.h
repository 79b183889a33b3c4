/* The inside of the spool, shared by its own files. Must never be included by anybody else. */
#ifndef ROOMWAKE_NODE_SPOOL_INSIDE_H
#define ROOMWAKE_NODE_SPOOL_INSIDE_H

#include "node/spool.h"
#include "node/spool_memory.h"
#include "node/spool_segment.h"

#define SPOOL_SEGMENTS_MAX 4096u

/* Where a frame on disk begins. */
struct spool_place {
    uint64_t segment_id;
    uint64_t offset;
    uint64_t ordinal;
};

struct spool {
    int dir_fd;
    int lock_fd;
    uint64_t max_bytes;
    uint64_t segment_bytes;
    struct spool_segment *segments;
    size_t segment_count;
    size_t segment_size;
    uint64_t next_id;
    uint64_t disk_bytes;     /* of all segments */
    uint64_t disk_end;       /* ordinal after the last frame on disk; memory goes on from there */
    struct spool_place head; /* the first frame held */
    struct spool_place next; /* where the last read ended */
    int write_fd;            /* of the last segment, while this run writes it; else -1 */
    int read_fd;
    uint64_t read_id;
    struct spool_memory memory;
    uint64_t dropped;
    uint64_t taken;
    int rolled_fd; /* a full file that the disk may not have yet; else -1 */
    bool unsynced;
    bool new_file;      /* the folder has a name that the disk may not have yet */
    uint64_t doubt_end; /* frames before this may not be on the disk, whatever later syncs say */
    bool disk_full;     /* why the last write failed */
    char write_fault[256];
    char sync_fault[256];
};

/* spool_order.c: what is held, in order. */
struct spool_segment *spool_find_segment(struct spool *spool, uint64_t ordinal);
int spool_read_fd(struct spool *spool, uint64_t segment_id, struct error *error);
void spool_drop_segment(struct spool *spool); /* the oldest; counts what goes unstored */
void spool_count_dropped(struct spool *spool, uint64_t frames); /* and says so, ever more rarely */
void spool_close_writer(struct spool *spool);
void spool_drop_stored(struct spool *spool); /* the last file too, where all of it is stored */
/* spool_hello.c */
void spool_clean_hellos(struct spool *spool);

#endif
