/* Opens a night for reading, and reads what there is one of: info, site, channels, summaries.
 * Must never write, not even a checkpoint. Called by export, reanalyse, review and record. */
#include "collector/night/reader_internal.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "collector/night/schema.h"
#include "collector/night/writer.h"

/* A writer that adds an analysis is in the way for moments only. */
#define BUSY_MS 2000

int reader_fail(const struct night_reader *reader, struct error *error)
{
    return error_wrap(error, "%s", reader->path);
}

static int open_file(struct night_reader *reader, struct error *error)
{
    if (access(reader->path, R_OK) != 0) {
        enum error_code code = errno == ENOENT ? ERROR_NOT_FOUND : ERROR_IO;
        return error_set(error, code, "%s", strerror(errno));
    }
    if (sqlite3_open_v2(reader->path, &reader->db, SQLITE_OPEN_READONLY | SQLITE_OPEN_NOMUTEX,
                        NULL) != SQLITE_OK) {
        return sql_fail(reader->db, error);
    }
    (void)sqlite3_busy_timeout(reader->db, BUSY_MS);
    int rc = sqlite3_db_config(reader->db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, (int *)NULL);
    return rc == SQLITE_OK ? 0 : sql_fail(reader->db, error);
}

static int open_database(struct night_reader *reader, struct error *error)
{
    if (open_file(reader, error) != 0 || schema_distrust(reader->db, error) != 0) {
        return -1;
    }
    return schema_check(reader->db, error) != 0 ? -1 : reader_check(reader, error);
}

/* What can be read of a file that is cut short, or whose numbers lead astray. */
static int open_damaged(struct night_reader *reader, struct error *error)
{
    if (open_database(reader, error) == 0) {
        return 0;
    }
    if (error->code != ERROR_FORMAT) {
        return -1;
    }
    reader->damage = *error;
    sqlite3_close(reader->db);
    reader->db = NULL;
    int64_t nodes = 0;
    if (open_file(reader, error) != 0 || schema_bear_damage(reader->db, error) != 0 ||
        schema_check(reader->db, error) != 0) {
        return -1;
    }
    /* Where not even this can be read, what was wrong at first says more. */
    if (sql_query_int(reader->db, "SELECT count(*) FROM node", &nodes, error) != 0) {
        *error = reader->damage;
        return -1;
    }
    return 0;
}

static int open_with(const char *path, int (*open)(struct night_reader *, struct error *),
                     struct night_reader **reader, struct error *error)
{
    struct night_reader *made = calloc(1, sizeof *made);
    if (!made) {
        return error_set(error, ERROR_MEMORY, "%s: out of memory", path);
    }
    made->path = strdup(path);
    made->codec = codec_new();
    if (!made->path || !made->codec) {
        night_reader_close(made);
        return error_set(error, ERROR_MEMORY, "%s: out of memory", path);
    }
    if (open(made, error) != 0) {
        night_reader_close(made);
        return error_wrap(error, "%s", path);
    }
    *reader = made;
    return 0;
}

int night_reader_open(const char *path, struct night_reader **reader, struct error *error)
{
    return open_with(path, open_database, reader, error);
}

int night_reader_open_damaged(const char *path, struct night_reader **reader, struct error *error)
{
    return open_with(path, open_damaged, reader, error);
}

const char *night_reader_damage(const struct night_reader *reader)
{
    return reader->damage.text[0] != '\0' ? reader->damage.text : NULL;
}

void night_reader_close(struct night_reader *reader)
{
    if (!reader) {
        return;
    }
    sqlite3_close(reader->db);
    codec_free(reader->codec);
    free(reader->path);
    free(reader);
}

int night_reader_hold(struct night_reader *reader, struct error *error)
{
    return sql_exec(reader->db, "PRAGMA cache_size=-16384; BEGIN", error) == 0
               ? 0
               : reader_fail(reader, error);
}

void night_reader_release(struct night_reader *reader)
{
    struct error ignored; /* a failed read may have ended it already */
    (void)sql_exec(reader->db, "COMMIT", &ignored);
}

int reader_prepare(struct night_reader *reader, const char *sql, sqlite3_stmt **statement,
                   struct error *error)
{
    return sql_prepare(reader->db, sql, statement, error) == 0 ? 0 : reader_fail(reader, error);
}

int reader_each(struct night_reader *reader, sqlite3_stmt *statement,
                int (*row)(void *context, struct sql_columns *columns), void *context,
                struct error *error)
{
    int result = 0;
    while ((result = sql_step(statement, error)) == 1) {
        struct sql_columns columns = sql_columns(statement);
        int answer = row(context, &columns);
        if (answer != 0) {
            sqlite3_finalize(statement);
            return answer;
        }
    }
    sqlite3_finalize(statement);
    return result < 0 ? reader_fail(reader, error) : 0;
}

int reader_analysis(struct night_reader *reader, int analysis, int64_t *out, struct error *error)
{
    *out = analysis != 0 ? analysis : reader->chosen;
    if (*out == 0 && sql_query_int(reader->db,
                                   "SELECT max(id) FROM analysis WHERE (done OR id=1)"
                                   " AND why<>'" NIGHT_WHY_FITTED_AGAIN "'",
                                   out, error) != 0) {
        return reader_fail(reader, error);
    }
    return 0;
}

int night_choose_analysis(struct night_reader *reader, int analysis, struct error *error)
{
    int64_t count = 0;
    char sql[96];
    (void)snprintf(sql, sizeof sql, "SELECT count(*) FROM analysis WHERE id=%d AND (done OR id=1)",
                   analysis);
    if (sql_query_int(reader->db, sql, &count, error) != 0) {
        return reader_fail(reader, error);
    }
    if (count == 0) {
        return error_set(error, ERROR_NOT_FOUND, "%s: no analysis %d", reader->path, analysis);
    }
    reader->chosen = analysis;
    return 0;
}

/* A value of meta that may be missing. */
static int meta_int(struct night_reader *reader, const char *sql, int64_t *out, struct error *error)
{
    struct error why;
    *out = 0;
    if (sql_query_int(reader->db, sql, out, &why) != 0 && why.code != ERROR_NOT_FOUND) {
        *error = why;
        return reader_fail(reader, error);
    }
    return 0;
}

int reader_longest_ns(struct night_reader *reader, int64_t *out, struct error *error)
{
    return meta_int(reader, READER_LONGEST, out, error);
}

int64_t reader_reach(int64_t from_ns, int64_t longest_ns)
{
    return from_ns < INT64_MIN + longest_ns ? INT64_MIN : from_ns - longest_ns;
}

static int take_info(void *context, struct sql_columns *row)
{
    struct night_info *info = context;
    sql_get_text(row, info->id, sizeof info->id);
    sql_get_text(row, info->origin, sizeof info->origin);
    info->start_ns = sql_get_int(row);
    info->end_ns = sql_get_int(row);
    return 0;
}

/* Whether the one looked at has fitted clocks, and the one that has beside it. */
static int read_refit(struct night_reader *reader, struct night_info *info, struct error *error)
{
    int64_t fitted = 0;
    int64_t beside = 0;
    char sql[256];
    (void)snprintf(sql, sizeof sql,
                   "SELECT count(*) FROM analysis WHERE id=%d AND (why='" NIGHT_WHY_FITTED_AGAIN
                   "' OR why LIKE 'reanalyse --refit%%')",
                   info->analysis);
    if (meta_int(reader, sql, &fitted, error) != 0) {
        return -1;
    }
    (void)snprintf(sql, sizeof sql,
                   "SELECT coalesce(max(id), 0) FROM analysis WHERE id>%d AND done AND "
                   "why='" NIGHT_WHY_FITTED_AGAIN "'",
                   info->analysis);
    if (meta_int(reader, sql, &beside, error) != 0) {
        return -1;
    }
    info->refitted = fitted > 0;
    info->refit = (int)beside;
    return 0;
}

int night_read_info(struct night_reader *reader, struct night_info *info, struct error *error)
{
    sqlite3_stmt *statement = NULL;
    int64_t analysis = 0;
    *info = (struct night_info){0};
    if (reader_prepare(reader,
                       "SELECT (SELECT value FROM meta WHERE key='id'),"
                       " (SELECT value FROM meta WHERE key='origin'),"
                       " (SELECT value FROM meta WHERE key='start_ns'),"
                       " (SELECT value FROM meta WHERE key='end_ns')",
                       &statement, error) != 0 ||
        reader_each(reader, statement, take_info, info, error) != 0 ||
        reader_analysis(reader, 0, &analysis, error) != 0) {
        return -1;
    }
    info->analysis = (int)analysis;
    return read_refit(reader, info, error);
}

/* The site's numbers as the analysis used them: re-analysis may have changed some. */
struct site_numbers {
    bool found;
    double values[5];
};

static const char *const site_keys[5] = {"mains_hz", "baseline_s", "false_onsets_per_hour",
                                         "alert_limit_per_night", "order_confidence"};

static int take_numbers(void *context, struct sql_columns *row)
{
    struct site_numbers *numbers = context;
    numbers->found = true;
    for (size_t i = 0; i < 5; i++) {
        numbers->values[i] = sql_get_real(row);
    }
    return 0;
}

static int read_numbers(struct night_reader *reader, int64_t analysis, struct site_numbers *numbers,
                        struct error *error)
{
    sqlite3_stmt *statement = NULL;
    *numbers = (struct site_numbers){0};
    if (reader_prepare(reader,
                       "SELECT mains_hz, baseline_s, false_onsets_per_hour, alert_limit_per_night,"
                       " order_confidence FROM analysis WHERE id=?",
                       &statement, error) != 0) {
        return -1;
    }
    (void)sqlite3_bind_int64(statement, 1, analysis);
    if (reader_each(reader, statement, take_numbers, numbers, error) != 0) {
        return -1;
    }
    return numbers->found ? 0
                          : error_set(error, ERROR_NOT_FOUND, "%s: no analysis %lld", reader->path,
                                      (long long)analysis);
}

static int set_numbers(struct site *site, const struct site_numbers *numbers, struct error *error)
{
    for (size_t i = 0; i < 5; i++) {
        char text[32];
        (void)snprintf(text, sizeof text, "%.17g", numbers->values[i]);
        if (site_set(site, site_keys[i], text, error) != 0) {
            return -1;
        }
    }
    return 0;
}

struct site_text {
    const char *path;
    struct site *site;
    struct error *error;
};

static int take_site(void *context, struct sql_columns *row)
{
    struct site_text *text = context;
    size_t length = 0;
    const uint8_t *bytes = sql_get_blob(row, &length);
    return site_parse((const char *)bytes, length, text->path, &text->site, text->error);
}

int night_read_site(struct night_reader *reader, int analysis, struct site **site,
                    struct error *error)
{
    int64_t number = 0;
    struct site_numbers numbers;
    struct site_text text = {reader->path, NULL, error};
    sqlite3_stmt *statement = NULL;
    if (reader_analysis(reader, analysis, &number, error) != 0 ||
        read_numbers(reader, number, &numbers, error) != 0 ||
        reader_prepare(reader, "SELECT file FROM site WHERE file <> '' ORDER BY id DESC LIMIT 1",
                       &statement, error) != 0 ||
        reader_each(reader, statement, take_site, &text, error) != 0) {
        return -1;
    }
    if (!text.site) {
        return error_set(error, ERROR_FORMAT, "%s: holds no site", reader->path);
    }
    if (reader_check_site(reader, text.site, error) != 0 ||
        set_numbers(text.site, &numbers, error) != 0) {
        site_free(text.site);
        return reader_fail(reader, error);
    }
    *site = text.site;
    return 0;
}

static int take_summary(void *context, struct sql_columns *row)
{
    struct night_node_summary *summary = context;
    summary->samples = (uint64_t)sql_get_int(row);
    summary->frames = (uint64_t)sql_get_int(row);
    summary->late_frames = (uint64_t)sql_get_int(row);
    summary->first_ns = sql_get_int(row);
    summary->last_ns = sql_get_int(row);
    return 0;
}

static int take_clock_sd(void *context, struct sql_columns *row)
{
    struct night_node_summary *summary = context;
    summary->clock_sd_ns = sql_get_int(row);
    return 0;
}

int night_read_node_summary(struct night_reader *reader, uint32_t node,
                            struct night_node_summary *summary, struct error *error)
{
    static const char frames[] =
        "SELECT sum(samples), count(*), sum(late), min(start_ns), max(end_ns)"
        " FROM boot CROSS JOIN frame ON frame.boot = boot.id WHERE node=?";
    static const char clocks[] =
        "SELECT sd_ns FROM clock WHERE node=?1 ORDER BY sd_ns LIMIT 1"
        " OFFSET (SELECT max(count(*) - 1, 0) / 2 FROM clock WHERE node=?1)";
    sqlite3_stmt *statement = NULL;
    *summary = (struct night_node_summary){.clock_sd_ns = -1};
    if (reader_prepare(reader, frames, &statement, error) != 0) {
        return -1;
    }
    (void)sqlite3_bind_int64(statement, 1, node);
    if (reader_each(reader, statement, take_summary, summary, error) != 0 ||
        reader_prepare(reader, clocks, &statement, error) != 0) {
        return -1;
    }
    (void)sqlite3_bind_int64(statement, 1, node);
    return reader_each(reader, statement, take_clock_sd, summary, error);
}
