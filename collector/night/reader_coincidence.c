/* Coincidences of a night, whole: the row, its members, order, path and reasons.
 * Must never leave out a member silently: one that is missing is an error. Called by export,
 * reanalyse and review. */
#include "collector/night/reader_internal.h"

#include <stdlib.h>
#include <string.h>

#include "collector/night/schema.h"

struct coincidence_reading {
    struct night_reader *reader;
    struct error *error;
    int64_t analysis;
    sqlite3_stmt *members;
    sqlite3_stmt *order;
    sqlite3_stmt *path;
    sqlite3_stmt *reasons;
    struct coincidence *coincidence;
    int (*each)(void *context, const struct coincidence *coincidence);
    void *context;
};

static int unknown(struct coincidence_reading *reading, const char *what, const char *text)
{
    return error_set(reading->error, ERROR_FORMAT, "%s: coincidence %lld: unknown %s \"%s\"",
                     reading->reader->path, (long long)reading->coincidence->id, what, text);
}

static int get_kind(struct coincidence_reading *reading, const char *text)
{
    for (int kind = COINCIDENCE_PROMPT; kind <= COINCIDENCE_TRAVELLING; kind++) {
        if (strcmp(text, coincidence_kind_text((enum coincidence_kind)kind)) == 0) {
            reading->coincidence->kind = (enum coincidence_kind)kind;
            return 0;
        }
    }
    return unknown(reading, "kind", text);
}

static int get_cause(struct coincidence_reading *reading, const char *text)
{
    for (int cause = 0; cause < CAUSE_COUNT; cause++) {
        if (strcmp(text, cause_text((enum cause_kind)cause)) == 0) {
            reading->coincidence->verdict.cause = (enum cause_kind)cause;
            return 0;
        }
    }
    return unknown(reading, "cause", text);
}

static int get_method(struct coincidence_reading *reading, const char *text)
{
    struct chance *chance = &reading->coincidence->chance;
    for (int method = CHANCE_ANALYTIC; method <= CHANCE_TIME_SLIDES; method++) {
        if (strcmp(text, chance_method_text((enum chance_method)method)) == 0) {
            chance->method = (enum chance_method)method;
            return 0;
        }
    }
    return unknown(reading, "chance method", text);
}

static void get_source(struct sql_columns *row, struct source *source)
{
    source->known = sqlite3_column_type(row->statement, row->next) != SQLITE_NULL;
    if (source->known) {
        source->x_m = sql_get_real(row);
        source->y_m = sql_get_real(row);
        source->sd_m = sql_get_real(row);
        source->major_m = sql_get_real(row);
        source->minor_m = sql_get_real(row);
        source->major_deg = sql_get_real(row);
    }
}

/* The columns in the order of the table. */
static int get_row(struct coincidence_reading *reading, struct sql_columns *row)
{
    struct coincidence *c = reading->coincidence;
    char text[32];
    char method[32];
    memset(c, 0, sizeof *c);
    c->id = sql_get_int(row);
    sql_get_text(row, text, sizeof text);
    if (get_kind(reading, text) != 0) {
        return -1;
    }
    c->start_ns = sql_get_int(row);
    c->end_ns = sql_get_int(row);
    c->dropped_members = (size_t)sql_get_int(row);
    c->witness_count = (size_t)sql_get_int(row);
    c->node_count = (size_t)sql_get_int(row);
    c->control_took_part = sql_get_int(row) != 0;
    c->first_known = sql_get_int(row) != 0;
    c->together = sql_get_int(row) != 0;
    c->speed.known = sqlite3_column_type(row->statement, row->next) != SQLITE_NULL;
    if (c->speed.known) {
        c->speed.value_m_s = sql_get_real(row);
        c->speed.low_m_s = sql_get_real(row);
        c->speed.high_m_s = sql_get_real(row);
    } else {
        row->next += 3;
    }
    sql_get_text(row, text, sizeof text);
    c->chance.per_night = sql_get_real(row);
    c->chance.p_value = sql_get_real(row);
    sql_get_text(row, method, sizeof method);
    c->mark_id = sql_get_int(row);
    c->final = sql_get_int(row) != 0;
    c->alert = sql_get_int(row) != 0;
    get_source(row, &c->source);
    return get_method(reading, method) != 0 ? -1 : get_cause(reading, text);
}

/* Runs one of the lists for the current coincidence; `take` gets each row while there is room. */
static int get_list(struct coincidence_reading *reading, sqlite3_stmt *statement, size_t most,
                    void (*take)(struct coincidence *coincidence, struct sql_columns *row))
{
    struct sql_args args = sql_args(statement);
    sql_put_int(&args, reading->analysis);
    sql_put_int(&args, reading->coincidence->id);
    size_t count = 0;
    int result = 0;
    while ((result = sql_step(statement, reading->error)) == 1) {
        if (count++ == most) {
            sqlite3_reset(statement);
            return error_set(reading->error, ERROR_FORMAT, "%s: coincidence %lld is too long",
                             reading->reader->path, (long long)reading->coincidence->id);
        }
        struct sql_columns row = sql_columns(statement);
        take(reading->coincidence, &row);
    }
    return result < 0 ? reader_fail(reading->reader, reading->error) : 0;
}

/* A member's id stays 0 where its disturbance is missing: the join gives NULLs. */
static void take_member(struct coincidence *coincidence, struct sql_columns *row)
{
    reader_get_disturbance(row, &coincidence->members[coincidence->member_count++]);
}

static void take_order(struct coincidence *coincidence, struct sql_columns *row)
{
    struct order_entry *entry = &coincidence->order[coincidence->order_count++];
    entry->node = (uint32_t)sql_get_int(row);
    entry->onset_ns = sql_get_int(row);
    entry->onset_sd_ns = sql_get_int(row);
    entry->first_probability = sql_get_real(row);
}

static void take_path(struct coincidence *coincidence, struct sql_columns *row)
{
    struct path_step *step = &coincidence->path[coincidence->path_count++];
    step->room = (uint32_t)sql_get_int(row);
    step->time_ns = sql_get_int(row);
}

static void take_reason(struct coincidence *coincidence, struct sql_columns *row)
{
    struct verdict *verdict = &coincidence->verdict;
    sql_get_text(row, verdict->reasons[verdict->reason_count++], COINCIDENCE_REASON_SIZE);
}

static int check_members(struct coincidence_reading *reading)
{
    const struct coincidence *c = reading->coincidence;
    for (size_t i = 0; i < c->member_count; i++) {
        if (c->members[i].unit[0] == '\0' && c->members[i].quantity_text[0] == '\0') {
            return error_set(reading->error, ERROR_FORMAT,
                             "%s: coincidence %lld: member %zu is missing", reading->reader->path,
                             (long long)c->id, i + 1);
        }
    }
    return 0;
}

static int take_coincidence(void *context, struct sql_columns *row)
{
    struct coincidence_reading *reading = context;
    if (get_row(reading, row) != 0 ||
        get_list(reading, reading->members, COINCIDENCE_MEMBERS_MAX, take_member) != 0 ||
        get_list(reading, reading->order, COINCIDENCE_MEMBERS_MAX, take_order) != 0 ||
        get_list(reading, reading->path, COINCIDENCE_MEMBERS_MAX, take_path) != 0 ||
        get_list(reading, reading->reasons, COINCIDENCE_REASONS_MAX, take_reason) != 0 ||
        check_members(reading) != 0) {
        return -1;
    }
    return reading->each(reading->context, reading->coincidence);
}

static int prepare(struct coincidence_reading *reading, sqlite3_stmt **rows)
{
    static const char row_sql[] =
        "SELECT id, kind, start_ns, end_ns, dropped_members, witnesses, nodes, control,"
        " first_known, together, speed_m_s, speed_low_m_s, speed_high_m_s, cause,"
        " chance_per_night, p_value, chance_method, mark, final, alert, source_x_m, source_y_m,"
        " source_sd_m, source_major_m, source_minor_m, source_major_deg"
        " FROM coincidence WHERE analysis=?"
        " ORDER BY id";
    static const char member_sql[] = "SELECT " READER_DISTURBANCE_COLUMNS
                                     " FROM coincidence_member AS m LEFT JOIN disturbance AS d"
                                     " ON d.analysis=m.analysis AND d.id=m.disturbance"
                                     " WHERE m.analysis=? AND m.coincidence=? ORDER BY m.place";
    struct night_reader *reader = reading->reader;
    struct error *error = reading->error;
    if (reader_prepare(reader, row_sql, rows, error) != 0 ||
        reader_prepare(reader, member_sql, &reading->members, error) != 0 ||
        reader_prepare(reader,
                       "SELECT node, onset_ns, onset_sd_ns, first_probability"
                       " FROM coincidence_order WHERE analysis=? AND coincidence=? ORDER BY place",
                       &reading->order, error) != 0 ||
        reader_prepare(reader,
                       "SELECT room, time_ns FROM coincidence_path"
                       " WHERE analysis=? AND coincidence=? ORDER BY place",
                       &reading->path, error) != 0) {
        return -1;
    }
    return reader_prepare(reader,
                          "SELECT text FROM coincidence_reason"
                          " WHERE analysis=? AND coincidence=? ORDER BY place",
                          &reading->reasons, error);
}

int night_each_coincidence(struct night_reader *reader, int analysis,
                           int (*each)(void *context, const struct coincidence *coincidence),
                           void *context, struct error *error)
{
    struct coincidence_reading reading = {
        .reader = reader, .error = error, .each = each, .context = context};
    if (reader_analysis(reader, analysis, &reading.analysis, error) != 0) {
        return -1;
    }
    reading.coincidence = malloc(sizeof *reading.coincidence);
    if (!reading.coincidence) {
        return error_set(error, ERROR_MEMORY, "%s: out of memory", reader->path);
    }
    sqlite3_stmt *rows = NULL;
    int result = -1;
    if (prepare(&reading, &rows) == 0) {
        (void)sqlite3_bind_int64(rows, 1, reading.analysis);
        result = reader_each(reader, rows, take_coincidence, &reading, error);
    } else {
        sqlite3_finalize(rows);
    }
    sqlite3_finalize(reading.members);
    sqlite3_finalize(reading.order);
    sqlite3_finalize(reading.path);
    sqlite3_finalize(reading.reasons);
    free(reading.coincidence);
    return result;
}
