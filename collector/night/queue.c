/* Jobs and their queue.
 * Must never wait or know SQLite. Called by the writer's files. */
#include "collector/night/queue.h"

#include <stdlib.h>

#define ALIGNMENT 16u

static size_t head_size(void)
{
    return job_extra_size(sizeof(struct job));
}

struct job *job_new(enum job_kind kind, size_t extra)
{
    size_t size = head_size() + extra;
    struct job *job = calloc(1, size);
    if (job) {
        job->kind = kind;
        job->size = size;
    }
    return job;
}

size_t job_extra_size(size_t size)
{
    return (size + ALIGNMENT - 1) / ALIGNMENT * ALIGNMENT;
}

void *job_extra(struct job *job, size_t *used, size_t size)
{
    void *at = (char *)job + head_size() + *used;
    *used += job_extra_size(size);
    return at;
}

void job_queue_add(struct job_queue *queue, struct job *job)
{
    job->next = NULL;
    if (queue->head) {
        *queue->tail = job;
    } else {
        queue->head = job;
    }
    queue->tail = &job->next;
    queue->count++;
    queue->bytes += job->size;
}

void job_queue_take(struct job_queue *queue, struct job_queue *from)
{
    if (!from->head) {
        return;
    }
    if (queue->head) {
        *queue->tail = from->head;
    } else {
        queue->head = from->head;
    }
    queue->tail = from->tail;
    queue->count += from->count;
    queue->bytes += from->bytes;
    *from = (struct job_queue){0};
}

void job_queue_clear(struct job_queue *queue)
{
    while (queue->head) {
        struct job *job = queue->head;
        queue->head = job->next;
        free(job);
    }
    *queue = (struct job_queue){0};
}
