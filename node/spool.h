/* A bounded folder of frames that wait until the collector has stored them.
 * Must never lose a whole record to a cut at any byte, grow past its bound, or forget what was not
 * stored without counting it. One thread, the loop's, owns it; only spool_sync_run is called on
 * another. */
#ifndef ROOMWAKE_NODE_SPOOL_H
#define ROOMWAKE_NODE_SPOOL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/error.h"

struct spool;

/* Frames have ordinals, without a hole, from spool_first to before spool_end; an ordinal means the
 * same frame as long as this process lives. */
struct spool_frame {
    uint64_t boot;
    uint64_t seq;
    size_t length;
};

struct spool_counts {
    uint64_t frames;
    uint64_t bytes;
    uint64_t dropped; /* frames that went unstored since opening: full, or damaged */
    uint64_t room;    /* bytes that it may still take: by its bound, and what its disk has */
    uint64_t taken;   /* bytes ever appended since opening */
};

/* Makes the folder where it is missing, takes it for this process alone (ERROR_BUSY) and finds the
 * frames of earlier runs. Each run writes files of its own. On success the caller owns *spool. */
int spool_open(const char *path, uint64_t max_bytes, struct spool **spool, struct error *error);
/* Writes what is in memory if the disk takes it, and waits until the disk has all. */
void spool_close(struct spool *spool);

/* Keeps a copy: on disk, or in memory while the disk fails (spool_fault says so). The oldest go
 * where there is no room. All frames of a process have one boot and rising seqs. */
void spool_append(struct spool *spool, uint64_t boot, uint64_t seq, const uint8_t *bytes,
                  size_t length);

uint64_t spool_first(const struct spool *spool);
uint64_t spool_end(const struct spool *spool);
/* Reads in order are cheap. ERROR_NOT_FOUND outside first..end; otherwise damaged on disk. */
int spool_read(struct spool *spool, uint64_t ordinal, uint8_t *bytes, size_t size,
               struct spool_frame *frame, struct error *error);
/* Gives up the first frame (with what follows in its file, if its length cannot be told). */
void spool_drop_first(struct spool *spool);

/* Everything of `boot` up to and with `seq`, and all that came before it. Nothing where no frame of
 * that boot is held. */
void spool_forget(struct spool *spool, uint64_t boot, uint64_t seq);
/* The lowest seq of `boot` that is held; `fallback` where there is none. */
uint64_t spool_oldest_seq(struct spool *spool, uint64_t boot, uint64_t fallback);

/* The hello of a boot whose frames may be here, as JSON; those of boots without frames go at the
 * next opening. At most `size` - 1 bytes are read; ERROR_NOT_FOUND where there is none. */
int spool_keep_hello(struct spool *spool, uint64_t boot, const char *text, size_t length,
                     struct error *error);
int spool_read_hello(struct spool *spool, uint64_t boot, char *text, size_t size, size_t *length,
                     struct error *error);

void spool_count(const struct spool *spool, struct spool_counts *counts);
/* What is wrong with the disk, in words; "" while all is well. */
const char *spool_fault(const struct spool *spool);

/* Getting written frames through to the disk, off the loop's thread. */
#define SPOOL_SYNC_FILES 2

struct spool_sync {
    int fds[SPOOL_SYNC_FILES + 1]; /* duplicates, -1 where there is none; the last is the folder */
};

/* False where nothing was written since the last. */
bool spool_sync_take(struct spool *spool, struct spool_sync *sync);
/* Any thread: waits for the disk, closes the duplicates; 0 or an errno. */
int spool_sync_run(struct spool_sync *sync);
/* On the loop's thread, with what spool_sync_run returned. */
void spool_sync_done(struct spool *spool, int code);

#endif
