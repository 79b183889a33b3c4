/* Clocks, gaps, marks, findings and words of a night, each as it was put.
 * Must never judge or repair: a row that makes no sense is an error. Called by export, reanalyse
 * and review. */
#include "collector/night/reader_internal.h"

#include <stdlib.h>
#include <string.h>

#include "collector/model/mark_book.h"

struct clock_each {
    int (*each)(void *context, uint32_t node, int64_t time_ns, int64_t clock_sd_ns);
    void *context;
};

static int take_clock(void *context, struct sql_columns *row)
{
    const struct clock_each *to = context;
    uint32_t node = (uint32_t)sql_get_int(row);
    int64_t time_ns = sql_get_int(row);
    return to->each(to->context, node, time_ns, sql_get_int(row));
}

int night_each_clock(struct night_reader *reader,
                     int (*each)(void *context, uint32_t node, int64_t time_ns,
                                 int64_t clock_sd_ns),
                     void *context, struct error *error)
{
    struct clock_each to = {each, context};
    sqlite3_stmt *statement = NULL;
    /* Of rows for the same moment the last counts: SQLite gives max(id)'s own row. */
    if (reader_prepare(reader,
                       "SELECT node, time_ns, sd_ns, max(id) FROM clock GROUP BY time_ns, node"
                       " ORDER BY time_ns, node",
                       &statement, error) != 0) {
        return -1;
    }
    return reader_each(reader, statement, take_clock, &to, error);
}

struct gap_each {
    int (*each)(void *context, const struct gap *gap);
    void *context;
};

static int take_gap(void *context, struct sql_columns *row)
{
    const struct gap_each *to = context;
    struct gap gap = {.node = (uint32_t)sql_get_int(row)};
    gap.start_ns = sql_get_int(row);
    gap.end_ns = sql_get_int(row);
    sql_get_text(row, gap.reason, sizeof gap.reason);
    return to->each(to->context, &gap);
}

int night_each_gap(struct night_reader *reader, int (*each)(void *context, const struct gap *gap),
                   void *context, struct error *error)
{
    struct gap_each to = {each, context};
    sqlite3_stmt *statement = NULL;
    if (reader_prepare(reader,
                       "SELECT node, start_ns, end_ns, reason FROM gap ORDER BY start_ns, node, id",
                       &statement, error) != 0) {
        return -1;
    }
    return reader_each(reader, statement, take_gap, &to, error);
}

struct mark_each {
    int (*each)(void *context, const struct mark *mark);
    void *context;
};

static int take_mark(void *context, struct sql_columns *row)
{
    const struct mark_each *to = context;
    struct mark mark = {.id = sql_get_int(row)};
    mark.start_ns = sql_get_int(row);
    mark.end_ns = sql_get_int(row);
    mark.noted_ns = sql_get_int(row);
    sql_get_text(row, mark.room, sizeof mark.room);
    sql_get_text(row, mark.who, sizeof mark.who);
    sql_get_text(row, mark.text, sizeof mark.text);
    mark.corrects = sql_get_int(row);
    mark.withdrawn = sql_get_int(row) != 0;
    return to->each(to->context, &mark);
}

int night_each_mark(struct night_reader *reader,
                    int (*each)(void *context, const struct mark *mark), void *context,
                    struct error *error)
{
    struct mark_each to = {each, context};
    sqlite3_stmt *statement = NULL;
    if (reader_prepare(
            reader,
            "SELECT id, start_ns, coalesce(end_ns, 9223372036854775807), noted_ns, room, who, text,"
            " corrects, withdrawn FROM mark ORDER BY id",
            &statement, error) != 0) {
        return -1;
    }
    return reader_each(reader, statement, take_mark, &to, error);
}

struct standing {
    struct mark_book book;
    struct error *error;
};

static int keep_mark(void *context, const struct mark *mark)
{
    struct standing *standing = context;
    return mark_book_take(&standing->book, mark, standing->error);
}

static int take_end(void *context, struct sql_columns *row)
{
    *(int64_t *)context = sql_get_int(row);
    return 0;
}

/* The end of what was never ended: the night's, or as far as it has been recorded. */
static int find_end(struct night_reader *reader, int64_t *end_ns, struct error *error)
{
    struct night_info info;
    sqlite3_stmt *statement = NULL;
    if (night_read_info(reader, &info, error) != 0) {
        return -1;
    }
    *end_ns = info.end_ns;
    if (info.end_ns != 0) {
        return 0;
    }
    return reader_prepare(reader,
                          "SELECT end_ns FROM frame WHERE end_ns IS NOT NULL"
                          " ORDER BY id DESC LIMIT 1",
                          &statement, error) != 0
               ? -1
               : reader_each(reader, statement, take_end, end_ns, error);
}

int night_each_standing_mark(struct night_reader *reader,
                             int (*each)(void *context, const struct mark *mark), void *context,
                             struct error *error)
{
    struct standing standing = {.error = error};
    int64_t end_ns = 0;
    int result = night_each_mark(reader, keep_mark, &standing, error);
    for (size_t i = 0; result == 0 && i < standing.book.count; i++) {
        struct mark mark = *standing.book.marks[i];
        mark.id = mark_number(&mark);
        if (mark.end_ns == MARK_RUNNING_NS) {
            result = find_end(reader, &end_ns, error);
            mark.end_ns = end_ns > mark.start_ns ? end_ns : mark.start_ns;
        }
        if (result != 0) {
            break;
        }
        result = mark.withdrawn ? 0 : each(context, &mark);
    }
    mark_book_free(&standing.book);
    return result;
}

struct disturbance_each {
    int (*each)(void *context, const struct disturbance *disturbance);
    void *context;
};

void reader_get_disturbance(struct sql_columns *row, struct disturbance *d)
{
    char band[8];
    *d = (struct disturbance){.id = sql_get_int(row)};
    d->node = (uint32_t)sql_get_int(row);
    sql_get_text(row, d->quantity_text, sizeof d->quantity_text);
    d->quantity = quantity_from_name(d->quantity_text);
    sql_get_text(row, band, sizeof band);
    d->band = strcmp(band, "mains") == 0 ? BAND_MAINS : BAND_REST;
    sql_get_text(row, d->unit, sizeof d->unit);
    d->onset_ns = sql_get_int(row);
    d->pick_sd_ns = sql_get_int(row);
    d->sampling_sd_ns = sql_get_int(row);
    d->clock_sd_ns = sql_get_int(row);
    d->end_ns = sql_get_int(row);
    d->closed_ns = sql_get_int(row);
    d->peak_ns = sql_get_int(row);
    d->peak_value = sql_get_real(row);
    d->peak_score = sql_get_real(row);
    d->baseline_value = sql_get_real(row);
    d->baseline_scale = sql_get_real(row);
    d->threshold = sql_get_real(row);
    d->settle_peak_score = sql_get_real(row);
    d->settle_step = sql_get_real(row);
    d->mains_before = sql_get_real(row);
    d->mains_after = sql_get_real(row);
    d->one_sample = sql_get_int(row) != 0;
    d->clipped = sql_get_int(row) != 0;
    d->returned = sql_get_int(row) != 0;
    d->calibrated = sql_get_int(row) != 0;
    for (size_t axis = 0; axis < 3; axis++) {
        d->peak_axes[axis] = sql_get_real(row);
    }
    d->repeat_hz = sql_get_real(row);
    d->rise_s = sql_get_real(row);
    d->half_s = sql_get_real(row);
    d->left_value = sql_get_real(row);
    for (size_t axis = 0; axis < 3; axis++) {
        d->left_axes[axis] = sql_get_real(row);
    }
    d->previous_s = sql_get_real(row);
    d->tick_s = sql_get_real(row);
    d->ticks = sql_get_int(row);
    d->along_score = sql_get_real(row);
    d->across_score = sql_get_real(row);
    d->across_least = sql_get_real(row);
    d->alike = sql_get_real(row);
}

static int take_disturbance(void *context, struct sql_columns *row)
{
    const struct disturbance_each *to = context;
    struct disturbance disturbance;
    reader_get_disturbance(row, &disturbance);
    return to->each(to->context, &disturbance);
}

int night_each_disturbance(struct night_reader *reader, int analysis,
                           int (*each)(void *context, const struct disturbance *disturbance),
                           void *context, struct error *error)
{
    struct disturbance_each to = {each, context};
    sqlite3_stmt *statement = NULL;
    int64_t number = 0;
    if (reader_analysis(reader, analysis, &number, error) != 0 ||
        reader_prepare(reader,
                       "SELECT " READER_DISTURBANCE_COLUMNS
                       " FROM disturbance WHERE analysis=? ORDER BY id",
                       &statement, error) != 0) {
        return -1;
    }
    (void)sqlite3_bind_int64(statement, 1, number);
    return reader_each(reader, statement, take_disturbance, &to, error);
}

struct notice_each {
    int (*each)(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                const char *text);
    void *context;
};

static int take_notice(void *context, struct sql_columns *row)
{
    const struct notice_each *to = context;
    char quantity[IDENT_SIZE];
    uint32_t node = (uint32_t)sql_get_int(row);
    sql_get_text(row, quantity, sizeof quantity);
    int64_t time_ns = sql_get_int(row);
    const char *text = (const char *)sqlite3_column_text(row->statement, row->next);
    return to->each(to->context, node, quantity, time_ns, text ? text : "");
}

int night_each_notice(struct night_reader *reader, int analysis,
                      int (*each)(void *context, uint32_t node, const char *quantity,
                                  int64_t time_ns, const char *text),
                      void *context, struct error *error)
{
    struct notice_each to = {each, context};
    sqlite3_stmt *statement = NULL;
    int64_t number = 0;
    if (reader_analysis(reader, analysis, &number, error) != 0 ||
        reader_prepare(
            reader, "SELECT node, quantity, time_ns, text FROM notice WHERE analysis=? ORDER BY id",
            &statement, error) != 0) {
        return -1;
    }
    (void)sqlite3_bind_int64(statement, 1, number);
    return reader_each(reader, statement, take_notice, &to, error);
}

struct log_each {
    int (*each)(void *context, int64_t time_ns, const char *level, const char *text);
    void *context;
};

static int take_log(void *context, struct sql_columns *row)
{
    const struct log_each *to = context;
    char level[16];
    int64_t time_ns = sql_get_int(row);
    sql_get_text(row, level, sizeof level);
    const char *text = (const char *)sqlite3_column_text(row->statement, row->next);
    return to->each(to->context, time_ns, level, text ? text : "");
}

int night_each_log(struct night_reader *reader,
                   int (*each)(void *context, int64_t time_ns, const char *level, const char *text),
                   void *context, struct error *error)
{
    struct log_each to = {each, context};
    sqlite3_stmt *statement = NULL;
    if (reader_prepare(reader, "SELECT time_ns, level, text FROM log ORDER BY id", &statement,
                       error) != 0) {
        return -1;
    }
    return reader_each(reader, statement, take_log, &to, error);
}

struct question_each {
    int (*each)(void *context, const struct question_step *step);
    void *context;
    struct error *error;
};

static int take_question(void *context, int64_t time_ns, const char *level, const char *text)
{
    const struct question_each *to = context;
    struct question_step step = {.time_ns = time_ns};
    if (strcmp(level, QUESTION_LOG_LEVEL) != 0) {
        return 0;
    }
    if (message_question_read(text, strlen(text), &step.said, to->error) != 0) {
        return error_wrap(to->error, "night: log");
    }
    int result = to->each(to->context, &step);
    free(step.said.text);
    return result;
}

int night_each_question(struct night_reader *reader,
                        int (*each)(void *context, const struct question_step *step), void *context,
                        struct error *error)
{
    struct question_each to = {each, context, error};
    return night_each_log(reader, take_question, &to, error);
}
