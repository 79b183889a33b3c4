/* One line a row of a mark, by the mark's number.
 * Must never let a mark's text move the terminal's cursor. Called by cmd_mark.c. */
#include "collector/record/list_marks.h"

#include <inttypes.h>
#include <stdlib.h>

#include "collector/night/reader.h"
#include "common/timefmt.h"

struct rows {
    struct mark *list;
    size_t count;
    size_t size;
    struct error *error;
};

static int keep(void *context, const struct mark *mark)
{
    struct rows *rows = context;
    if (rows->count == rows->size) {
        size_t size = rows->size ? 2 * rows->size : 16;
        struct mark *list = realloc(rows->list, size * sizeof *list);
        if (!list) {
            return error_set(rows->error, ERROR_MEMORY, "out of memory");
        }
        rows->list = list;
        rows->size = size;
    }
    rows->list[rows->count++] = *mark;
    return 0;
}

static int by_number(const void *a, const void *b)
{
    const struct mark *left = a;
    const struct mark *right = b;
    int64_t apart = mark_number(left) - mark_number(right);
    apart = apart != 0 ? apart : left->id - right->id;
    return (apart > 0) - (apart < 0);
}

static void print_text(const char *text, FILE *out)
{
    for (; *text; text++) {
        (void)fputc((unsigned char)*text < ' ' || *text == 0x7f ? ' ' : *text, out);
    }
}

static void print_row(const struct rows *rows, size_t i, FILE *out)
{
    const struct mark *mark = &rows->list[i];
    bool stands = i + 1 == rows->count || mark_number(&rows->list[i + 1]) != mark_number(mark);
    char start[TIMEFMT_SIZE];
    char length[TIMEFMT_SIZE] = "still running";
    timefmt_local(mark->start_ns, start, NULL);
    start[8] = '\0';
    if (mark->end_ns != MARK_RUNNING_NS) {
        char duration[TIMEFMT_SIZE];
        timefmt_duration(mark->end_ns - mark->start_ns, duration);
        (void)snprintf(length, sizeof length, "for %.30s", duration);
    }
    (void)fprintf(out, "%4" PRId64 "  %s %s, %s%s%s: ", mark_number(mark), start, length,
                  mark->room[0] ? mark->room : "whole site", mark->who[0] ? ", " : "", mark->who);
    print_text(mark->text, out);
    (void)fprintf(out, "%s\n",
                  !stands           ? " (corrected by what follows)"
                  : mark->withdrawn ? " (withdrawn: covers nothing)"
                                    : "");
}

int list_marks(const char *night_path, FILE *out, struct error *error)
{
    struct night_reader *reader = NULL;
    struct rows rows = {.error = error};
    if (night_reader_open(night_path, &reader, error) != 0) {
        return -1;
    }
    int result = night_each_mark(reader, keep, &rows, error);
    night_reader_close(reader);
    if (result == 0 && rows.count > 0) {
        qsort(rows.list, rows.count, sizeof *rows.list, by_number);
    }
    for (size_t i = 0; result == 0 && i < rows.count; i++) {
        print_row(&rows, i, out);
    }
    if (result == 0 && rows.count == 0) {
        (void)fprintf(out, "No mark yet.\n");
    }
    free(rows.list);
    return result;
}
