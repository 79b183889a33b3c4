/* Channels, frames and fits into the night.
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
    struct text calibration = {0};
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
    sql_put_int(&args, channel->least);
    sql_put_int(&args, channel->most);
    sql_put_calibration(&args, &channel->calibration, &calibration);
    int result = sql_run(&args, error);
    text_free(&calibration);
    return result;
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

/* From the first sample to the last. */
static void find_ends(const struct job_frame *job, int64_t *start_ns, int64_t *end_ns,
                      int64_t *samples)
{
    *samples = 0;
    for (size_t i = 0; i < job->count; i++) {
        const struct block *block = &job->blocks[i];
        int64_t last_ns = block_time_ns(block, block->count - 1);
        *start_ns = i == 0 || block->t0_ns < *start_ns ? block->t0_ns : *start_ns;
        *end_ns = i == 0 || last_ns > *end_ns ? last_ns : *end_ns;
        *samples += block->count;
    }
}

static int store_frame_row(struct store *store, const struct job_frame *job, struct error *error)
{
    int64_t fit = 0;
    int64_t start_ns = 0;
    int64_t end_ns = 0;
    int64_t samples = 0;
    if (job->fit.known && find_fit(store, job->boot_id, &job->fit, &fit, error) != 0) {
        return -1;
    }
    find_ends(job, &start_ns, &end_ns, &samples);
    struct sql_args args = sql_args(store_statement(store, STORE_FRAME, error));
    if (!args.statement) {
        return -1;
    }
    sql_put_int(&args, job->boot_id);
    sql_put_int(&args, (int64_t)job->id.seq);
    if (job->count > 0) {
        sql_put_int(&args, start_ns);
        sql_put_int(&args, end_ns);
    } else {
        sql_put_null(&args);
        sql_put_null(&args);
    }
    sql_put_int(&args, samples);
    if (job->fit.known) {
        sql_put_int(&args, fit);
    } else {
        sql_put_null(&args);
    }
    sql_put_int(&args, job->late);
    return sql_run(&args, error);
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
    if (store_frame_row(store, job, error) != 0) {
        return -1;
    }
    return store_tail_put(store, job, sqlite3_last_insert_rowid(store->db), error);
}
