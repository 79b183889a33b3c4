/* Long blocks and their zoom into the night.
 * Must never alter a sample. Called by store_tail.c. */
#include <stdlib.h>

#include "collector/night/sql.h"
#include "collector/night/store.h"
#include "collector/night/store_tail.h"

/* The numbers of a row, and what SQLite keeps of it. */
#define ROW_HEAD_BYTES 60u

/* The gathered samples as one block: its times are the cuts' or its own. */
static struct block whole(const struct gathered *gathered)
{
    return (struct block){.encoding = gathered->encoding,
                          .count = gathered->count,
                          .t0_ns = gathered->cuts[0].t0_ns,
                          .period_ps = gathered->cuts[0].period_ps,
                          .times_ns = gathered->times_ns,
                          .counts = gathered->counts,
                          .decimals = gathered->decimals};
}

static int64_t last_ns(const struct gathered *gathered)
{
    const struct cut *last = &gathered->cuts[gathered->cut_count - 1];
    return cut_time_ns(last,
                       gathered->even ? NULL : gathered->times_ns + gathered->count - last->count,
                       last->count - 1);
}

static void put_range(struct sql_args *args, const struct gathered *gathered,
                      const struct zoom_summary *summary)
{
    if (gathered->encoding == BLOCK_INT32) {
        sql_put_int(args, summary->min_count);
        sql_put_int(args, summary->max_count);
        sql_put_int(args, summary->sum_counts);
    } else {
        sql_put_real(args, summary->values.min);
        sql_put_real(args, summary->values.max);
        sql_put_real(args, summary->values.sum);
    }
}

static int put_block(struct store *store, int64_t channel, const struct gathered *gathered,
                     int64_t span_ns, uint32_t *bytes, struct error *error)
{
    const struct block block = whole(gathered);
    struct zoom_summary summary;
    struct codec_bytes cuts;
    struct codec_bytes times = {0};
    struct codec_bytes samples;
    zoom_summarise(&block, &store->channels[channel], &summary);
    cuts_encode(store->codec, gathered->cuts, gathered->cut_count, &cuts);
    if (!gathered->even) {
        codec_encode_times(store->codec, gathered->times_ns, gathered->count, &times);
    }
    if (gathered->encoding == BLOCK_INT32) {
        codec_encode_counts(store->codec, gathered->counts, gathered->count, &samples);
    } else {
        codec_encode_decimals(store->codec, gathered->decimals, gathered->count, &samples);
    }
    struct sql_args args = sql_args(store_statement(store, STORE_BLOCK, error));
    if (!args.statement) {
        return -1;
    }
    sql_put_int(&args, channel);
    sql_put_int(&args, block.t0_ns);
    sql_put_int(&args, span_ns);
    sql_put_int(&args, block.count);
    put_range(&args, gathered, &summary);
    sql_put_int(&args, gathered->clocked);
    sql_put_int(&args, samples.kind);
    sql_put_blob(&args, cuts.bytes, cuts.length);
    if (gathered->even) {
        sql_put_null(&args);
    } else {
        sql_put_blob(&args, times.bytes, times.length);
    }
    sql_put_blob(&args, samples.bytes, samples.length);
    *bytes = (uint32_t)(cuts.length + times.length + samples.length + ROW_HEAD_BYTES);
    return sql_run(&args, error);
}

static int put_zoom(struct store *store, int64_t channel, int64_t block,
                    const struct gathered *gathered, int64_t span_ns, struct error *error)
{
    uint8_t bytes[ZOOM_RUNS_BYTES_MAX];
    size_t length = 0;
    int64_t slack_ns = 0;
    const bool runs = gathered->even && gathered->encoding == BLOCK_INT32;
    if (runs) {
        struct zoom_runs made;
        zoom_runs_make(gathered->counts, gathered->count, &made);
        zoom_runs_encode(store->codec, &made, bytes, &length);
        slack_ns = cuts_slack_ns(gathered->cuts, gathered->cut_count, gathered->count, span_ns);
    }
    struct sql_args args = sql_args(store_statement(store, STORE_ZOOM, error));
    if (!args.statement) {
        return -1;
    }
    sql_put_int(&args, channel);
    sql_put_int(&args, block);
    sql_put_int(&args, gathered->cuts[0].t0_ns);
    sql_put_int(&args, gathered->cuts[0].t0_ns + span_ns);
    sql_put_int(&args, gathered->count);
    sql_put_int(&args, slack_ns);
    if (runs) {
        sql_put_blob(&args, bytes, length);
    } else {
        sql_put_null(&args);
    }
    return sql_run(&args, error);
}

int store_block(struct store *store, int64_t channel, struct gathered *gathered, uint32_t *bytes,
                struct error *error)
{
    int64_t span_ns = last_ns(gathered) - gathered->cuts[0].t0_ns;
    if (put_block(store, channel, gathered, span_ns, bytes, error) != 0 ||
        put_zoom(store, channel, sqlite3_last_insert_rowid(store->db), gathered, span_ns, error) !=
            0) {
        return -1;
    }
    if (span_ns > store->memory.longest_ns) {
        store->memory.longest_ns = span_ns;
        return store_set_meta_int(store, store->longest_key, span_ns, error);
    }
    return 0;
}
