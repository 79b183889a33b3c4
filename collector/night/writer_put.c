/* Channels and frames that may be put into a night: checked, copied, queued.
 * Must never wait for the disk. Called from the loop's thread and from import. */
#include "collector/night/writer_internal.h"

#include <stdlib.h>
#include <string.h>

int night_put_channels(struct night_writer *writer, uint32_t node, uint64_t boot,
                       const struct channel *channels, size_t count, struct error *error)
{
    if (writer_check_recording(writer, node, error) != 0) {
        return -1;
    }
    size_t bytes = count * sizeof *channels;
    size_t used = 0;
    struct job *job =
        count <= NODE_CHANNELS_MAX ? job_new(JOB_CHANNELS, job_extra_size(bytes)) : NULL;
    if (!job && count <= NODE_CHANNELS_MAX) {
        return writer_out_of_memory(error);
    }
    uv_mutex_lock(&writer->lock);
    int64_t id = 0;
    size_t more = 0;
    bool known = boots_find(&writer->boots, node, boot) != 0;
    int result = boots_add(&writer->boots, node, boot, channels, count, &id, &more, error);
    if (result == 0 && job && (more > 0 || !known)) {
        job->channels = (struct job_channels){node, boot, id, count, job_extra(job, &used, bytes)};
        if (count > 0) {
            memcpy(job->channels.channels, channels, bytes);
        }
        /* Never refused for want of room: the boot is known from here on. */
        writer_queue_job(writer, job);
        job = NULL;
    }
    uv_mutex_unlock(&writer->lock);
    free(job);
    return result;
}

static int check_block(const struct block *block, size_t place, struct error *error)
{
    if (block->count > BLOCK_SAMPLES_MAX) {
        return error_set(error, ERROR_RANGE, "night: block %zu: %u samples where %u is the most",
                         place, (unsigned)block->count, BLOCK_SAMPLES_MAX);
    }
    const void *samples = block->encoding == BLOCK_INT32 ? (const void *)block->counts
                                                         : (const void *)block->decimals;
    if (block->count > 0 && (!samples || (block->period_ps <= 0 && !block->times_ns))) {
        return error_set(error, ERROR_STATE, "night: block %zu: no samples or times", place);
    }
    for (uint32_t i = 1; block->period_ps <= 0 && i < block->count; i++) {
        if (block->times_ns[i] <= block->times_ns[i - 1]) {
            return error_set(error, ERROR_RANGE, "night: block %zu: times do not rise", place);
        }
    }
    return 0;
}

static size_t samples_size(const struct block *block)
{
    return block->count *
           (block->encoding == BLOCK_INT32 ? sizeof *block->counts : sizeof *block->decimals);
}

static size_t frame_size(const struct block *blocks, size_t count)
{
    size_t size = job_extra_size(count * sizeof *blocks) + job_extra_size(count * sizeof(int64_t));
    for (size_t i = 0; i < count; i++) {
        size += job_extra_size(samples_size(&blocks[i]));
        if (blocks[i].period_ps <= 0) {
            size += job_extra_size(blocks[i].count * sizeof(int64_t));
        }
    }
    return size;
}

static void *copy(struct job *job, size_t *used, const void *from, size_t size)
{
    return memcpy(job_extra(job, used, size), from, size);
}

static void copy_block(struct job *job, size_t *used, const struct block *from, struct block *to)
{
    *to = *from;
    if (from->encoding == BLOCK_INT32) {
        to->counts = copy(job, used, from->counts, samples_size(from));
    } else {
        to->decimals = copy(job, used, from->decimals, samples_size(from));
    }
    if (from->period_ps <= 0) {
        to->times_ns = copy(job, used, from->times_ns, from->count * sizeof *from->times_ns);
        to->t0_ns = from->times_ns[0];
    }
}

static struct job *frame_job(const struct night_frame_id *id, const struct clock_fit *fit,
                             const struct block *blocks, const int64_t *node_t0_ns, size_t count,
                             bool late)
{
    struct job *job = job_new(JOB_FRAME, frame_size(blocks, count));
    if (!job) {
        return NULL;
    }
    size_t used = 0;
    struct job_frame *frame = &job->frame;
    *frame = (struct job_frame){.id = *id, .fit = *fit, .late = late};
    frame->blocks = job_extra(job, &used, count * sizeof *blocks);
    frame->node_t0_ns = job_extra(job, &used, count * sizeof *node_t0_ns);
    for (size_t i = 0; i < count; i++) {
        if (blocks[i].count > 0) { /* an empty block tells nothing that the frame does not */
            copy_block(job, &used, &blocks[i], &frame->blocks[frame->count]);
            frame->node_t0_ns[frame->count++] = node_t0_ns[i];
        }
    }
    return job;
}

/* Called with the lock held. */
static int check_boot(const struct night_writer *writer, const struct night_frame_id *id,
                      const struct block *blocks, size_t count, int64_t *boot_id,
                      struct error *error)
{
    *boot_id = boots_find(&writer->boots, id->node, id->boot);
    if (*boot_id == 0) {
        return error_set(error, ERROR_STATE, "night: node %u has not told this boot's channels",
                         (unsigned)id->node);
    }
    size_t channels = writer->boots.list[*boot_id - 1].channel_count;
    for (size_t i = 0; i < count; i++) {
        if (blocks[i].channel >= channels) {
            return error_set(error, ERROR_RANGE, "night: block %zu: channel %u of %zu", i,
                             (unsigned)blocks[i].channel, channels);
        }
    }
    return 0;
}

int night_put_frame(struct night_writer *writer, const struct night_frame_id *id,
                    const struct clock_fit *fit, const struct block *blocks,
                    const int64_t *node_t0_ns, size_t count, bool late, struct error *error)
{
    if (writer_check_recording(writer, id->node, error) != 0) {
        return -1;
    }
    if (count > NODE_CHANNELS_MAX || id->seq > INT64_MAX) {
        return error_set(error, ERROR_RANGE, "night: frame of %zu blocks, number %llu", count,
                         (unsigned long long)id->seq);
    }
    for (size_t i = 0; i < count; i++) {
        if (check_block(&blocks[i], i, error) != 0) {
            return -1;
        }
    }
    struct job *job = frame_job(id, fit, blocks, node_t0_ns, count, late);
    if (!job) {
        return writer_out_of_memory(error);
    }
    uv_mutex_lock(&writer->lock);
    int result = check_boot(writer, id, blocks, count, &job->frame.boot_id, error);
    if (result == 0) {
        result = writer_add_locked(writer, job, error);
    } else {
        free(job);
    }
    uv_mutex_unlock(&writer->lock);
    return result;
}
