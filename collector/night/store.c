/* The writing connection: statements, transactions, and the small rows.
 * Must never be used by two threads at once. Called by the writer's files. */
#include "collector/night/store.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/night/sql.h"

#define DISTURBANCE_VALUES                                                                         \
    " VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, "                         \
    "?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"

static const char *const texts[STORE_SQL_COUNT] = {
    [STORE_BOOT] = "INSERT INTO boot(id, node, boot) VALUES(?, ?, ?) ON CONFLICT DO NOTHING",
    [STORE_CHANNEL] =
        "INSERT INTO channel(id, name, unit, rate_hz, period_ps, step_mantissa, step_exponent,"
        " offset_mantissa, offset_exponent, least, most, calibration, nth)"
        " VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?,"
        " (SELECT coalesce(max(nth), 0) + 1 FROM channel)) ON CONFLICT DO NOTHING",
    [STORE_FIT] = "INSERT INTO fit(boot, ref_node_ns, offset_ns, rate_ppt, uncertainty_ns,"
                  " growth_ppb) VALUES(?, ?, ?, ?, ?, ?)",
    [STORE_FRAME_KNOWN] = "SELECT 1 FROM frame WHERE boot=? AND seq=?",
    [STORE_FRAME] = "INSERT INTO frame(boot, seq, start_ns, end_ns, samples, fit, late)"
                    " VALUES(?, ?, ?, ?, ?, ?, ?)",
    [STORE_BLOCK] = "INSERT INTO block(channel, t0_ns, span_ns, n, min, max, sum, clocked,"
                    " codec, cuts, times, samples) VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    [STORE_ZOOM] = "INSERT INTO zoom(channel, block, t0_ns, t1_ns, n, slack_ns, runs)"
                   " VALUES(?, ?, ?, ?, ?, ?, ?)",
    [STORE_TAIL] = "INSERT INTO tail(id, frame, blocks) VALUES(?, ?, ?)",
    [STORE_TAIL_OF] = "SELECT seq, blocks FROM tail CROSS JOIN frame ON frame.id = tail.frame"
                      " WHERE tail.id BETWEEN ? AND ? ORDER BY tail.id",
    [STORE_TAIL_ALL] = "SELECT tail.id, fit IS NOT NULL, blocks FROM tail CROSS JOIN frame"
                       " ON frame.id = tail.frame ORDER BY tail.id",
    [STORE_TAIL_FORGET] = "DELETE FROM tail WHERE id BETWEEN ? AND ?",
    [STORE_META] = "INSERT INTO meta(key, value) VALUES(?, ?)"
                   " ON CONFLICT DO UPDATE SET value=excluded.value",
    [STORE_CLOCK] = "INSERT INTO clock(time_ns, node, sd_ns) SELECT ?1, ?2, ?3 WHERE ?3 IS NOT"
                    " (SELECT sd_ns FROM clock WHERE time_ns=?1 AND node=?2 ORDER BY id DESC"
                    " LIMIT 1)",
    [STORE_GAP] = "INSERT INTO gap(node, start_ns, end_ns, reason) VALUES(?, ?, ?, ?)",
    [STORE_MARK] = "INSERT INTO mark(id, start_ns, end_ns, noted_ns, room, who, text,"
                   " corrects, withdrawn) VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?)",
    [STORE_ANALYSIS] =
        "INSERT OR REPLACE INTO analysis(id, why, software, done, mains_hz, baseline_s,"
        " false_onsets_per_hour, alert_limit_per_night, order_confidence)"
        " VALUES(?, ?, '" ROOMWAKE_VERSION "', 0, ?, ?, ?, ?, ?)",
    [STORE_DISTURBANCE] = "INSERT OR REPLACE INTO disturbance" DISTURBANCE_VALUES,
    [STORE_MEMBER_DISTURBANCE] =
        "INSERT INTO disturbance" DISTURBANCE_VALUES " ON CONFLICT DO NOTHING",
    [STORE_COINCIDENCE] = "INSERT OR REPLACE INTO coincidence VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?, ?,"
                          " ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    [STORE_CHANCE] = "UPDATE coincidence SET chance_per_night=?, p_value=?, chance_method=?"
                     " WHERE analysis=? AND id=?",
    [STORE_MEMBER] = "INSERT INTO coincidence_member VALUES(?, ?, ?, ?)",
    [STORE_ORDER] = "INSERT INTO coincidence_order VALUES(?, ?, ?, ?, ?, ?, ?)",
    [STORE_PATH] = "INSERT INTO coincidence_path VALUES(?, ?, ?, ?, ?)",
    [STORE_REASON] = "INSERT INTO coincidence_reason VALUES(?, ?, ?, ?)",
    [STORE_FORGET_MEMBERS] = "DELETE FROM coincidence_member WHERE analysis=? AND coincidence=?",
    [STORE_FORGET_ORDER] = "DELETE FROM coincidence_order WHERE analysis=? AND coincidence=?",
    [STORE_FORGET_PATH] = "DELETE FROM coincidence_path WHERE analysis=? AND coincidence=?",
    [STORE_FORGET_REASONS] = "DELETE FROM coincidence_reason WHERE analysis=? AND coincidence=?",
    [STORE_ALERT] = "INSERT INTO alert(analysis, coincidence, time_ns, text) VALUES(?, ?, ?, ?)",
    [STORE_NOTICE] =
        "INSERT INTO notice(analysis, node, time_ns, quantity, text) VALUES(?, ?, ?, ?, ?)",
    [STORE_STATE] = "INSERT INTO state(node, time_ns, json) VALUES(?, ?, ?)",
    [STORE_LOG] = "INSERT INTO log(time_ns, level, text) VALUES(?, ?, ?)",
};

int store_new(sqlite3 *db, struct store **store, struct error *error)
{
    struct store *made = calloc(1, sizeof *made);
    struct codec *codec = codec_new();
    if (!made || !codec) {
        free(made);
        codec_free(codec);
        return error_set(error, ERROR_MEMORY, "night: out of memory");
    }
    made->db = db;
    made->codec = codec;
    (void)snprintf(made->longest_key, sizeof made->longest_key, "longest_block_ns");
    *store = made;
    return 0;
}

static void memory_free(struct store_memory *memory)
{
    free(memory->fits);
}

void store_free(struct store *store)
{
    if (!store) {
        return;
    }
    for (size_t i = 0; i < STORE_SQL_COUNT; i++) {
        sqlite3_finalize(store->statements[i]);
    }
    sqlite3_close(store->db);
    codec_free(store->codec);
    free(store->channels);
    memory_free(&store->memory);
    memory_free(&store->saved);
    store_tail_free(&store->tail);
    free(store);
}

sqlite3_stmt *store_statement(struct store *store, enum store_sql which, struct error *error)
{
    sqlite3_stmt **statement = &store->statements[which];
    if (!*statement && sql_prepare(store->db, texts[which], statement, error) != 0) {
        return NULL;
    }
    return *statement;
}

int store_begin(struct store *store, struct error *error)
{
    struct store_memory *memory = &store->memory;
    struct store_memory *saved = &store->saved;
    if (memory->fit_count > 0) {
        size_t size = memory->fit_count * sizeof *memory->fits;
        struct store_fit *fits = realloc(saved->fits, size);
        if (!fits) {
            return error_set(error, ERROR_MEMORY, "night: out of memory");
        }
        saved->fits = memcpy(fits, memory->fits, size);
    }
    saved->fit_count = memory->fit_count;
    saved->longest_ns = memory->longest_ns;
    if (sql_exec(store->db, "BEGIN IMMEDIATE", error) != 0) {
        return -1;
    }
    if (store_tail_load(store, error) != 0) {
        (void)sqlite3_exec(store->db, "ROLLBACK", NULL, NULL, NULL);
        return -1;
    }
    return 0;
}

int store_commit(struct store *store, struct error *error)
{
    return sql_exec(store->db, "COMMIT", error);
}

void store_rollback(struct store *store)
{
    struct store_memory *memory = &store->memory;
    struct store_memory *saved = &store->saved;
    if (!sqlite3_get_autocommit(store->db)) {
        /* A failed rollback leaves nothing to undo: the next BEGIN tells of it. */
        (void)sqlite3_exec(store->db, "ROLLBACK", NULL, NULL, NULL);
    }
    store->tail.stale = true;
    if (saved->fit_count > 0) {
        memcpy(memory->fits, saved->fits, saved->fit_count * sizeof *saved->fits);
    }
    for (size_t i = saved->fit_count; i < memory->fit_count; i++) {
        memory->fits[i] = (struct store_fit){0};
    }
    memory->longest_ns = saved->longest_ns;
}

int store_set_meta_int(struct store *store, const char *key, int64_t value, struct error *error)
{
    struct sql_args args = sql_args(store_statement(store, STORE_META, error));
    if (!args.statement) {
        return -1;
    }
    sql_put_text(&args, key);
    sql_put_int(&args, value);
    return sql_run(&args, error);
}

int store_set_meta_text(struct store *store, const char *key, const char *value,
                        struct error *error)
{
    struct sql_args args = sql_args(store_statement(store, STORE_META, error));
    if (!args.statement) {
        return -1;
    }
    sql_put_text(&args, key);
    sql_put_text(&args, value);
    return sql_run(&args, error);
}

static int store_clock(struct store *store, const struct job_clock *clock, struct error *error)
{
    struct sql_args args = sql_args(store_statement(store, STORE_CLOCK, error));
    if (!args.statement) {
        return -1;
    }
    sql_put_int(&args, clock->time_ns);
    sql_put_int(&args, clock->node);
    sql_put_int(&args, clock->sd_ns);
    return sql_run(&args, error);
}

static int store_gap(struct store *store, const struct gap *gap, struct error *error)
{
    struct sql_args args = sql_args(store_statement(store, STORE_GAP, error));
    if (!args.statement) {
        return -1;
    }
    sql_put_int(&args, gap->node);
    sql_put_int(&args, gap->start_ns);
    sql_put_int(&args, gap->end_ns);
    sql_put_text(&args, gap->reason);
    return sql_run(&args, error);
}

static int store_mark(struct store *store, const struct mark *mark, struct error *error)
{
    struct sql_args args = sql_args(store_statement(store, STORE_MARK, error));
    if (!args.statement) {
        return -1;
    }
    sql_put_int(&args, mark->id);
    sql_put_int(&args, mark->start_ns);
    if (mark->end_ns == MARK_RUNNING_NS) {
        sql_put_null(&args);
    } else {
        sql_put_int(&args, mark->end_ns);
    }
    sql_put_int(&args, mark->noted_ns);
    sql_put_text(&args, mark->room);
    sql_put_text(&args, mark->who);
    sql_put_text(&args, mark->text);
    if (mark->corrects == 0) {
        sql_put_null(&args);
    } else {
        sql_put_int(&args, mark->corrects);
    }
    sql_put_int(&args, mark->withdrawn);
    return sql_run(&args, error);
}

static int store_note(struct store *store, const struct job *job, enum store_sql which,
                      struct error *error)
{
    struct sql_args args = sql_args(store_statement(store, which, error));
    if (!args.statement) {
        return -1;
    }
    if (which == STORE_ALERT || which == STORE_NOTICE) {
        sql_put_int(&args, job->analysis);
    }
    if (which == STORE_ALERT) {
        sql_put_int(&args, job->note.coincidence_id);
    }
    if (which == STORE_NOTICE || which == STORE_STATE) {
        sql_put_int(&args, job->note.node);
    }
    sql_put_int(&args, job->note.time_ns);
    if (which == STORE_NOTICE || which == STORE_LOG) {
        sql_put_text(&args, job->note.label);
    }
    sql_put_text(&args, job->note.text);
    return sql_run(&args, error);
}

int store_apply(struct store *store, const struct job *job, struct error *error)
{
    switch (job->kind) {
    case JOB_CHANNELS:
        return store_channels(store, &job->channels, error);
    case JOB_FRAME:
        return store_frame(store, &job->frame, error);
    case JOB_CLOCK:
        return store_clock(store, &job->clock, error);
    case JOB_GAP:
        return store_gap(store, &job->gap, error);
    case JOB_MARK:
        return store_mark(store, &job->mark, error);
    case JOB_ANALYSIS:
        return store_analysis(store, job->analysis, &job->analysis_row, error);
    case JOB_DISTURBANCE:
        return store_disturbance(store, job->analysis, STORE_DISTURBANCE, &job->disturbance, error);
    case JOB_COINCIDENCE:
        return store_coincidence(store, job->analysis, job->coincidence, error);
    case JOB_CHANCE:
        return store_chance(store, job->analysis, &job->chance, error);
    case JOB_ALERT:
        return store_note(store, job, STORE_ALERT, error);
    case JOB_NOTICE:
        return store_note(store, job, STORE_NOTICE, error);
    case JOB_STATE:
        return store_note(store, job, STORE_STATE, error);
    case JOB_LOG:
        return store_note(store, job, STORE_LOG, error);
    }
    return error_set(error, ERROR_STATE, "night: job of kind %d", (int)job->kind);
}
