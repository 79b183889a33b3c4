/* The way into the queue: what all that is put has in common.
 * Must never wait for the disk. Called by writer_put.c and writer_findings.c. */
#include "collector/night/writer_internal.h"

#include <stdlib.h>

/* Findings, marks and gaps are few and nobody sends them again: they may take this many times the
 * room that frames may. */
#define ROOM_BEYOND_FRAMES 2

int writer_out_of_memory(struct error *error)
{
    return error_set(error, ERROR_MEMORY, "night: out of memory");
}

int writer_add_locked(struct night_writer *writer, struct job *job, struct error *error)
{
    size_t waiting = writer->queue.bytes + writer->held_bytes;
    size_t most = writer->queue_bytes * (job->kind == JOB_FRAME ? 1 : ROOM_BEYOND_FRAMES);
    if (waiting > 0 && waiting + job->size > most) {
        free(job);
        return error_set(error, ERROR_FULL, "night: %zu KiB wait to be written", waiting >> 10);
    }
    writer_queue_job(writer, job);
    return 0;
}

void writer_queue_job(struct night_writer *writer, struct job *job)
{
    bool first = !writer->queue.head;
    bool enough = writer->queue.bytes < WRITER_COMMIT_BYTES;
    job_queue_add(&writer->queue, job);
    writer->jobs_put++;
    enough = enough && writer->queue.bytes >= WRITER_COMMIT_BYTES;
    /* While a batch is being written, or waits for the disk, the writer needs no waking. */
    if (writer->held_bytes == 0 && (first || enough)) {
        uv_cond_signal(&writer->work);
    }
}

int writer_add(struct night_writer *writer, struct job *job, struct error *error)
{
    if (!job) {
        return writer_out_of_memory(error);
    }
    uv_mutex_lock(&writer->lock);
    int result = writer_add_locked(writer, job, error);
    uv_mutex_unlock(&writer->lock);
    return result;
}

int writer_check_node(const struct night_writer *writer, uint32_t node, struct error *error)
{
    if (node < writer->node_count) {
        return 0;
    }
    return error_set(error, ERROR_RANGE, "night: node %u is not in the site", (unsigned)node);
}

int writer_check_open(const struct night_writer *writer, struct error *error)
{
    if (writer->analysis != 0) {
        return error_set(error, ERROR_STATE, "night: closed: only findings may be added");
    }
    return 0;
}

int writer_check_recording(const struct night_writer *writer, uint32_t node, struct error *error)
{
    return writer_check_open(writer, error) != 0 ? -1 : writer_check_node(writer, node, error);
}

int writer_check_analysis(const struct night_writer *writer, int analysis, struct error *error)
{
    if (analysis >= 1 && (writer->analysis == 0 || analysis == writer->analysis)) {
        return 0;
    }
    return error_set(error, ERROR_STATE, "night: analysis %d is not open", analysis);
}
