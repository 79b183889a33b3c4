/* Reads a few small files of the kernel's again and again, on a thread of its own: such a read may
 * take a second, or for ever. Must never let the loop wait, nor a file that hangs hold up the end.
 * Used by iio.c, hwmon.c and onewire.c. */
#ifndef ROOMWAKE_NODE_DRIVERS_SYSFS_READER_H
#define ROOMWAKE_NODE_DRIVERS_SYSFS_READER_H

#include <stddef.h>
#include <stdint.h>

#include "common/clock.h"
#include "common/decimal.h"

#define SYSFS_FILES_MAX 4
#define SYSFS_TEXT_SIZE 256
#define SYSFS_PATH_SIZE 512

/* One round through the files. */
struct sysfs_round {
    int64_t time_ns; /* the middle of it, node time */
    int64_t took_ns;
    char fault[192];                              /* "": all were read */
    char texts[SYSFS_FILES_MAX][SYSFS_TEXT_SIZE]; /* without the line's end */
};

struct sysfs_reader;

/* `paths` are copied. NULL: no memory or no thread. */
struct sysfs_reader *sysfs_reader_start(const char paths[][SYSFS_PATH_SIZE], size_t count,
                                        int64_t period_ns, const struct clock_source *clock);
/* 1: the oldest round that was not taken yet; 0: none. */
int sysfs_reader_take(struct sysfs_reader *reader, struct sysfs_round *round);
/* How long the round under way, or the wait for it, has lasted beyond its time. */
int64_t sysfs_reader_late_ns(struct sysfs_reader *reader, int64_t now_ns);
/* Rounds that found no room since the start. */
uint64_t sysfs_reader_lost(struct sysfs_reader *reader);
/* Returns at once; a thread that hangs in a read frees itself when the read comes back. */
void sysfs_reader_stop(struct sysfs_reader *reader);

/* The first line of a file, at once. */
int sysfs_read_text(const char *path, char *text, size_t size, struct error *error);
/* A whole number that fits a sample. */
int sysfs_parse_count(const char *text, int32_t *count, struct error *error);
/* root/rest as a path; -1 where it is too long. */
int sysfs_join(char path[SYSFS_PATH_SIZE], const char *root, const char *rest, struct error *error);

#endif
