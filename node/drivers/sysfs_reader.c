/* A thread that reads files at a cadence into a ring.
 * Must never be waited for: whoever lets go last frees. Called by iio.c, hwmon.c and onewire.c. */
#include "node/drivers/sysfs_reader.h"

#include <errno.h>
#include <pthread.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define RING 64

struct sysfs_reader {
    pthread_mutex_t lock;
    pthread_cond_t wake;
    struct clock_source clock;
    int64_t period_ns;
    size_t count;
    char paths[SYSFS_FILES_MAX][SYSFS_PATH_SIZE];
    struct sysfs_round ring[RING];
    size_t in;
    size_t out;
    uint64_t lost;
    int64_t due_ns; /* of the round under way or waited for */
    bool stop;
    int holders; /* the thread and the driver */
};

/* ---- files ---- */

int sysfs_join(char path[SYSFS_PATH_SIZE], const char *root, const char *rest, struct error *error)
{
    int length = snprintf(path, SYSFS_PATH_SIZE, "%s/%s", root, rest);
    return length < 0 || length >= SYSFS_PATH_SIZE
               ? error_set(error, ERROR_RANGE, "%.100s...: the path is too long", root)
               : 0;
}

int sysfs_read_text(const char *path, char *text, size_t size, struct error *error)
{
    FILE *file = fopen(path, "re");
    if (!file) {
        return error_set(error, ERROR_IO, "%s: %s", path, strerror(errno));
    }
    errno = 0;
    size_t length = fread(text, 1, size - 1, file);
    bool failed = ferror(file) != 0;
    int why = errno;
    (void)fclose(file);
    if (failed || length == 0) {
        return error_set(error, ERROR_IO, "%s: %s", path, failed ? strerror(why) : "empty");
    }
    text[length] = '\0';
    while (length > 0 && (text[length - 1] == '\n' || text[length - 1] == ' ')) {
        text[--length] = '\0';
    }
    return 0;
}

int sysfs_parse_count(const char *text, int32_t *count, struct error *error)
{
    struct decimal value;
    int64_t wide;
    if (decimal_parse(text, strlen(text), &value, error)) {
        return -1;
    }
    if (decimal_rescale(value, 0, &wide) || wide < INT32_MIN || wide > INT32_MAX) {
        return error_set(error, ERROR_RANGE, "\"%.40s\" is not a whole number of 32 bits", text);
    }
    *count = (int32_t)wide;
    return 0;
}

/* ---- the thread ---- */

static int64_t read_clock(const struct sysfs_reader *reader)
{
    return reader->clock.mono_ns(reader->clock.context);
}

static void let_go(struct sysfs_reader *reader)
{
    bool last = --reader->holders == 0;
    pthread_mutex_unlock(&reader->lock);
    if (last) {
        pthread_cond_destroy(&reader->wake);
        pthread_mutex_destroy(&reader->lock);
        free(reader);
    }
}

static void read_round(const struct sysfs_reader *reader, struct sysfs_round *round)
{
    struct error error = {0};
    int64_t began_ns = read_clock(reader);
    round->fault[0] = '\0';
    for (size_t i = 0; i < reader->count && !round->fault[0]; i++) {
        if (sysfs_read_text(reader->paths[i], round->texts[i], SYSFS_TEXT_SIZE, &error)) {
            snprintf(round->fault, sizeof round->fault, "%.190s", error.text);
        }
    }
    round->took_ns = read_clock(reader) - began_ns;
    round->time_ns = began_ns + round->took_ns / 2;
}

static void keep(struct sysfs_reader *reader, const struct sysfs_round *round)
{
    if (reader->in - reader->out == RING) {
        reader->lost++;
        return;
    }
    reader->ring[reader->in++ % RING] = *round;
}

/* Until the next round is due, or it is told to stop. */
static void wait_for_turn(struct sysfs_reader *reader)
{
    int64_t left_ns = reader->due_ns - read_clock(reader);
    struct timespec until;
    while (!reader->stop && left_ns > 0) {
        clock_gettime(CLOCK_MONOTONIC,
                      &until); /* what the condition waits by, not a sample's time */
        int64_t nsec = until.tv_nsec + left_ns % NS_PER_S;
        until.tv_sec += (time_t)(left_ns / NS_PER_S + nsec / NS_PER_S);
        until.tv_nsec = (long)(nsec % NS_PER_S);
        (void)pthread_cond_timedwait(&reader->wake, &reader->lock, &until);
        left_ns = reader->due_ns - read_clock(reader);
    }
}

static void *run(void *context)
{
    struct sysfs_reader *reader = context;
    struct sysfs_round round;
    pthread_mutex_lock(&reader->lock);
    while (!reader->stop) {
        pthread_mutex_unlock(&reader->lock);
        read_round(reader, &round);
        pthread_mutex_lock(&reader->lock);
        keep(reader, &round);
        int64_t now_ns = read_clock(reader);
        reader->due_ns += reader->period_ns;
        if (reader->due_ns < now_ns) { /* rounds that could not be are left out */
            reader->due_ns +=
                ((now_ns - reader->due_ns) / reader->period_ns + 1) * reader->period_ns;
        }
        wait_for_turn(reader);
    }
    let_go(reader);
    return NULL;
}

struct sysfs_reader *sysfs_reader_start(const char paths[][SYSFS_PATH_SIZE], size_t count,
                                        int64_t period_ns, const struct clock_source *clock)
{
    struct sysfs_reader *reader = calloc(1, sizeof *reader);
    pthread_condattr_t monotonic;
    pthread_t thread;
    if (!reader) {
        return NULL;
    }
    reader->clock = *clock;
    reader->period_ns = period_ns;
    reader->count = count < SYSFS_FILES_MAX ? count : SYSFS_FILES_MAX;
    memcpy(reader->paths, paths, reader->count * SYSFS_PATH_SIZE);
    reader->holders = 2;
    reader->due_ns = read_clock(reader);
    pthread_mutex_init(&reader->lock, NULL);
    pthread_condattr_init(&monotonic);
    pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
    pthread_cond_init(&reader->wake, &monotonic);
    pthread_condattr_destroy(&monotonic);
    if (pthread_create(&thread, NULL, run, reader)) {
        pthread_mutex_lock(&reader->lock);
        reader->holders = 1;
        let_go(reader);
        return NULL;
    }
    pthread_detach(thread);
    return reader;
}

int sysfs_reader_take(struct sysfs_reader *reader, struct sysfs_round *round)
{
    pthread_mutex_lock(&reader->lock);
    int got = reader->in != reader->out;
    if (got) {
        *round = reader->ring[reader->out++ % RING];
    }
    pthread_mutex_unlock(&reader->lock);
    return got;
}

int64_t sysfs_reader_late_ns(struct sysfs_reader *reader, int64_t now_ns)
{
    pthread_mutex_lock(&reader->lock);
    int64_t late_ns = now_ns - reader->due_ns;
    pthread_mutex_unlock(&reader->lock);
    return late_ns > 0 ? late_ns : 0;
}

uint64_t sysfs_reader_lost(struct sysfs_reader *reader)
{
    pthread_mutex_lock(&reader->lock);
    uint64_t lost = reader->lost;
    pthread_mutex_unlock(&reader->lock);
    return lost;
}

void sysfs_reader_stop(struct sysfs_reader *reader)
{
    if (reader) {
        pthread_mutex_lock(&reader->lock);
        reader->stop = true;
        pthread_cond_signal(&reader->wake);
        let_go(reader);
    }
}
