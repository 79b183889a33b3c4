/* Channels, frames, blocks, fits and zoom levels into the night.
 * Must never alter a sample. Called by store.c and writer_open.c. */
#include "collector/night/store.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/night/schema.h"
#include "collector/night/sql.h"

int store_remember_channel(struct store *store, int64_t id, const struct channel *channel,
                           struct error *error)
{
    size_t place = (size_t)id;
    if (place >= store->channel_count) {
        size_t count = place + SCHEMA_FANOUT;
        struct channel *channels = realloc(store->channels, count * sizeof *channels);
        if (!channels) {
            return error_set(error, ERROR_MEMORY, "night: out of memory");
        }
        memset(channels + store->channel_count, 0,
               (count - store->channel_count) * sizeof *channels);
        store->channels = channels;
        store->channel_count = count;
    }
    store->channels[place] = *channel;
    return 0;
}

static int store_channel(struct store *store, int64_t id, const struct channel *channel,
                         struct error *error)
{
    struct sql_args args = sql_args(store_statement(store, STORE_CHANNEL, error));
    if (!args.statement || store_remember_channel(store, id, channel, error) != 0) {
        return -1;
    }
    sql_put_int(&args, id);
    sql_put_text(&args, channel->name);
    sql_put_text(&args, channel->unit);
    sql_put_real(&args, channel->rate_hz);
    sql_put_int(&args, channel->period_ps);
    sql_put_int(&args, channel->step.mantissa);
    sql_put_int(&args, channel->step.exponent);
    sql_put_int(&args, channel->offset.mantissa);
    sql_put_int(&args, channel->offset.exponent);
    return sql_run(&args, error);
}

int store_channels(struct store *store, const struct job_channels *job, struct error *error)
{
    char boot[17];
    (void)snprintf(boot, sizeof boot, "%016" PRIx64, job->boot);
    struct sql_args args = sql_args(store_statement(store, STORE_BOOT, error));
    if (!args.statement) {
        return -1;
    }
    sql_put_int(&args, job->boot_id);
    sql_put_int(&args, job->node);
    sql_put_text(&args, boot);
    if (sql_run(&args, error) != 0) {
        return -1;
    }
    for (size_t i = 0; i < job->count; i++) {
        int64_t id = job->boot_id * SCHEMA_FANOUT + (int64_t)i;
        if (store_channel(store, id, &job->channels[i], error) != 0) {
            return -1;
        }
    }
    return 0;
}

static bool same_fit(const struct clock_fit *a, const struct clock_fit *b)
{
    return a->ref_node_ns == b->ref_node_ns && a->offset_ns == b->offset_ns &&
           a->rate_ppt == b->rate_ppt && a->uncertainty_ns == b->uncertainty_ns &&
           a->growth_ppb == b->growth_ppb;
}

static int grow_fits(struct store_memory *memory, size_t boot, struct error *error)
{
    if (boot < memory->fit_count) {
        return 0;
    }
    size_t count = boot + 16;
    struct store_fit *fits = realloc(memory->fits, count * sizeof *fits);
    if (!fits) {
        return error_set(error, ERROR_MEMORY, "night: out of memory");
    }
    memset(fits + memory->fit_count, 0, (count - memory->fit_count) * sizeof *fits);
    memory->fits = fits;
    memory->fit_count = count;
    return 0;
}

/* A fit travels in every frame but changes rarely: one row for each change. */
static int find_fit(struct store *store, int64_t boot, const struct clock_fit *fit, int64_t *id,
                    struct error *error)
{
    if (grow_fits(&store->memory, (size_t)boot, error) != 0) {
        return -1;
    }
    struct store_fit *last = &store->memory.fits[boot];
    if (last->id == 0 || !same_fit(&last->fit, fit)) {
        struct sql_args args = sql_args(store_statement(store, STORE_FIT, error));
        if (!args.statement) {
            return -1;
        }
        sql_put_int(&args, boot);
        sql_put_int(&args, fit->ref_node_ns);
        sql_put_int(&args, fit->offset_ns);
        sql_put_int(&args, fit->rate_ppt);
        sql_put_int(&args, fit->uncertainty_ns);
        sql_put_int(&args, fit->growth_ppb);
        if (sql_run(&args, error) != 0) {
            return -1;
        }
        *last = (struct store_fit){*fit, sqlite3_last_insert_rowid(store->db)};
    }
    *id = last->id;
    return 0;
}

static int store_zoom(void *context, int64_t channel, int level, const struct zoom_bucket *bucket,
                      struct error *error)
{
    struct sql_args args = sql_args(store_statement(context, STORE_ZOOM, error));
    if (!args.statement) {
        return -1;
    }
    sql_put_int(&args, channel);
    sql_put_int(&args, level);
    sql_put_int(&args, bucket->slot);
    sql_put_int(&args, bucket->t0_ns);
    sql_put_int(&args, bucket->t1_ns);
    sql_put_int(&args, (int64_t)bucket->count);
    sql_put_real(&args, bucket->min);
    sql_put_real(&args, bucket->max);
    sql_put_real(&args, bucket->sum);
    return sql_run(&args, error);
}

static void put_range(struct sql_args *args, const struct block *block,
                      const struct zoom_summary *summary)
{
    if (block->encoding == BLOCK_INT32) {
        sql_put_int(args, summary->min_count);
        sql_put_int(args, summary->max_count);
        sql_put_int(args, summary->sum_counts);
    } else {
        sql_put_real(args, summary->values.min);
        sql_put_real(args, summary->values.max);
        sql_put_real(args, summary->values.sum);
    }
}

static int store_block(struct store *store, int64_t id, int64_t channel, const struct block *block,
                       int64_t node_t0_ns, const struct zoom_summary *summary, struct error *error)
{
    struct codec_bytes samples;
    if (block->encoding == BLOCK_INT32) {
        codec_encode_counts(store->codec, block->counts, block->count, &samples);
    } else {
        codec_encode_decimals(store->codec, block->decimals, block->count, &samples);
    }
    struct sql_args args = sql_args(store_statement(store, STORE_BLOCK, error));
    if (!args.statement) {
        return -1;
    }
    sql_put_int(&args, id);
    sql_put_int(&args, channel);
    sql_put_int(&args, block->t0_ns);
    sql_put_int(&args, summary->values.t1_ns - block->t0_ns);
    if (block->period_ps > 0) {
        sql_put_int(&args, block->period_ps);
    } else {
        sql_put_null(&args);
    }
    sql_put_int(&args, node_t0_ns);
    sql_put_int(&args, block->count);
    put_range(&args, block, summary);
    sql_put_int(&args, samples.kind);
    if (block->period_ps > 0) {
        sql_put_null(&args);
    } else {
        struct codec_bytes times;
        codec_encode_times(store->codec, block->times_ns, block->count, &times);
        sql_put_blob(&args, times.bytes, times.length);
    }
    sql_put_blob(&args, samples.bytes, samples.length);
    return sql_run(&args, error);
}

static int store_frame_row(struct store *store, const struct job_frame *job,
                           const struct zoom_summary *summaries, struct error *error)
{
    int64_t fit = 0;
    if (job->fit.known && find_fit(store, job->boot_id, &job->fit, &fit, error) != 0) {
        return -1;
    }
    struct zoom_bucket all = {0};
    for (size_t i = 0; i < job->count; i++) {
        zoom_join(&all, &summaries[i].values);
    }
    struct sql_args args = sql_args(store_statement(store, STORE_FRAME, error));
    if (!args.statement) {
        return -1;
    }
    sql_put_int(&args, job->boot_id);
    sql_put_int(&args, (int64_t)job->id.seq);
    if (job->count > 0) {
        sql_put_int(&args, all.t0_ns);
        sql_put_int(&args, all.t1_ns);
    } else {
        sql_put_null(&args);
        sql_put_null(&args);
    }
    sql_put_int(&args, (int64_t)all.count);
    if (job->fit.known) {
        sql_put_int(&args, fit);
    } else {
        sql_put_null(&args);
    }
    sql_put_int(&args, job->late);
    if (sql_run(&args, error) != 0) {
        return -1;
    }
    if (all.t1_ns - all.t0_ns > store->memory.longest_ns) {
        store->memory.longest_ns = all.t1_ns - all.t0_ns;
        return store_set_meta_int(store, "longest_frame_ns", store->memory.longest_ns, error);
    }
    return 0;
}

/* 1: it is stored already. */
static int frame_known(struct store *store, const struct job_frame *job, struct error *error)
{
    struct sql_args args = sql_args(store_statement(store, STORE_FRAME_KNOWN, error));
    if (!args.statement) {
        return -1;
    }
    sql_put_int(&args, job->boot_id);
    sql_put_int(&args, (int64_t)job->id.seq);
    int known = sql_step(args.statement, error);
    sqlite3_reset(args.statement);
    return known;
}

int store_frame(struct store *store, const struct job_frame *job, struct error *error)
{
    int known = frame_known(store, job, error);
    if (known != 0) {
        return known < 0 ? -1 : 0;
    }
    struct zoom_summary summaries[NODE_CHANNELS_MAX];
    int64_t first_channel = job->boot_id * SCHEMA_FANOUT;
    for (size_t i = 0; i < job->count; i++) {
        const struct block *block = &job->blocks[i];
        zoom_summarise(block, &store->channels[first_channel + block->channel], &summaries[i]);
    }
    if (store_frame_row(store, job, summaries, error) != 0) {
        return -1;
    }
    int64_t frame = sqlite3_last_insert_rowid(store->db);
    for (size_t i = 0; i < job->count; i++) {
        int64_t channel = first_channel + job->blocks[i].channel;
        if (store_block(store, frame * SCHEMA_FANOUT + (int64_t)i, channel, &job->blocks[i],
                        job->node_t0_ns[i], &summaries[i], error) != 0 ||
            zoom_add(&store->memory.zoom, channel, &summaries[i].values, store_zoom, store,
                     error) != 0) {
            return -1;
        }
    }
    return 0;
}

int store_finish_zoom(struct store *store, struct error *error)
{
    return zoom_finish(&store->memory.zoom, store_zoom, store, error);
}

/* One block's row as the zoom levels see it. */
static int rebuild_from(struct store *store, sqlite3_stmt *statement, struct error *error)
{
    struct sql_columns row = sql_columns(statement);
    int64_t channel = sql_get_int(&row);
    struct zoom_bucket bucket = {.t0_ns = sql_get_int(&row)};
    bucket.t1_ns = bucket.t0_ns + sql_get_int(&row);
    bucket.count = (uint64_t)sql_get_int(&row);
    if (channel < 0 || (size_t)channel >= store->channel_count) {
        return error_set(error, ERROR_FORMAT, "block of unknown channel %" PRId64, channel);
    }
    if (sqlite3_column_type(statement, row.next) == SQLITE_INTEGER) {
        int64_t min = sql_get_int(&row);
        int64_t max = sql_get_int(&row);
        int64_t sum = sql_get_int(&row);
        zoom_from_counts(&store->channels[channel], min, max, sum, &bucket);
    } else {
        bucket.min = sql_get_real(&row);
        bucket.max = sql_get_real(&row);
        bucket.sum = sql_get_real(&row);
    }
    return zoom_add(&store->memory.zoom, channel, &bucket, store_zoom, store, error);
}

int store_rebuild_zoom(struct store *store, struct error *error)
{
    sqlite3_stmt *statement = NULL;
    if (sql_exec(store->db, "DELETE FROM zoom", error) != 0 ||
        sql_prepare(store->db, "SELECT channel, t0_ns, span_ns, n, min, max, sum FROM block",
                    &statement, error) != 0) {
        return -1;
    }
    int result = 0;
    while ((result = sql_step(statement, error)) == 1) {
        if (rebuild_from(store, statement, error) != 0) {
            result = -1;
            break;
        }
    }
    sqlite3_finalize(statement);
    return result;
}
