/* What is to be written, on its way from the loop's thread to the writer's: jobs that own all their
 * memory, in a queue bounded by bytes. Must never wait, nor know SQLite.
 * Used by the writer's files only; the lock around a queue is the writer's. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_QUEUE_H
#define ROOMWAKE_COLLECTOR_NIGHT_QUEUE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/model/coincidence.h"
#include "collector/model/gap.h"
#include "collector/model/mark.h"
#include "collector/night/frame_id.h"
#include "common/block.h"
#include "common/clock_fit.h"

enum job_kind {
    JOB_CHANNELS,
    JOB_FRAME,
    JOB_CLOCK,
    JOB_GAP,
    JOB_MARK,
    JOB_ANALYSIS,
    JOB_DISTURBANCE,
    JOB_COINCIDENCE,
    JOB_CHANCE,
    JOB_ALERT,
    JOB_NOTICE,
    JOB_STATE,
    JOB_LOG
};

struct job_channels {
    uint32_t node;
    uint64_t boot;
    int64_t boot_id;
    size_t count;
    struct channel *channels;
};

struct job_frame {
    struct night_frame_id id;
    int64_t boot_id;
    struct clock_fit fit;
    bool late;
    size_t count; /* blocks that hold samples */
    struct block *blocks;
    int64_t *node_t0_ns;
};

struct job_clock {
    uint32_t node;
    int64_t time_ns;
    int64_t sd_ns;
};

struct job_analysis {
    double mains_hz;
    double baseline_s;
    double false_onsets_per_hour;
    double alert_limit_per_night;
    double order_confidence;
    char *why;
};

struct job_chance {
    int64_t coincidence_id;
    struct chance chance;
};

/* Alerts, notices, states and log lines: whose, when, and words. */
struct job_note {
    uint32_t node;
    int64_t coincidence_id;
    int64_t time_ns;
    char *label; /* quantity or level */
    char *text;
};

struct job {
    struct job *next;
    enum job_kind kind;
    size_t size; /* bytes that it takes in memory */
    int analysis;
    union {
        struct job_channels channels;
        struct job_frame frame;
        struct job_clock clock;
        struct gap gap;
        struct mark mark;
        struct job_analysis analysis_row;
        struct disturbance disturbance;
        struct coincidence *coincidence;
        struct job_chance chance;
        struct job_note note;
    };
};

/* A job with `extra` bytes behind it, zeroed; NULL: out of memory. Freed with free. */
struct job *job_new(enum job_kind kind, size_t extra);
/* The next `size` bytes of a job's extra memory, aligned for anything; *used starts at 0. What
 * job_extra needs for an object is job_extra_size of its size. */
size_t job_extra_size(size_t size);
void *job_extra(struct job *job, size_t *used, size_t size);

/* First in, first out; start from {0}. Jobs in it are the queue's. */
struct job_queue {
    struct job *head;
    struct job **tail; /* NULL while nothing was ever added */
    size_t count;
    size_t bytes;
};

void job_queue_add(struct job_queue *queue, struct job *job);
/* Moves all of `from` behind what is in `queue`. */
void job_queue_take(struct job_queue *queue, struct job_queue *from);
void job_queue_clear(struct job_queue *queue);

#endif
