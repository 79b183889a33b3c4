/* Cuts a CSV file into rows and cells where they lie: quotes, CRLF, a byte order mark, blank lines
 * at the end. Must never read past the file's end. Called by csv.c. */
#include "collector/ingest/csv_reader.h"

#include <inttypes.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/ingest/csv.h"
#include "common/timefmt.h"

#define LEADING_CELLS 2 /* time and node */
#define TIME_LIMIT_NS (INT64_C(1) << 61)
#define NODE_SLOTS 4096 /* at least twice SITE_NODES_MAX, a power of two */
#define SHOWN 40        /* bytes of a bad cell that an error shows */

struct csv_reader {
    const char *name;
    const char *first; /* of the first row */
    const char *at;
    const char *end;
    uint64_t first_line;
    uint64_t line;
    const struct site *site;
    size_t column_count;
    char columns[CSV_COLUMNS_MAX][CHANNEL_NAME_SIZE];
    struct csv_cell cells[CSV_COLUMNS_MAX + LEADING_CELLS];
    uint16_t *map;              /* [node][column] */
    uint16_t nodes[NODE_SLOTS]; /* hash of ids: index + 1, 0 for none */
    struct csv_cell last_time;  /* rows of one time follow each other */
    int64_t last_time_ns;
};

static int shown(struct csv_cell cell)
{
    return cell.length > SHOWN ? SHOWN : (int)cell.length;
}

int csv_reader_fail(const struct csv_reader *reader, uint64_t line, enum error_code code,
                    const char *what, struct error *error)
{
    return error_set(error, code, "%s:%" PRIu64 ": %s", reader->name, line, what);
}

static int fail_cell(const struct csv_reader *reader, const char *what, struct csv_cell cell,
                     const char *why, struct error *error)
{
    return error_set(error, ERROR_FORMAT, "%s:%" PRIu64 ": %s \"%.*s\": %s", reader->name,
                     reader->line, what, shown(cell), cell.text, why);
}

static bool is_blank(char c)
{
    return c == ' ' || c == '\t';
}

/* One cell from *at on; *at ends on the comma or the line's end. */
static int take_cell(const struct csv_reader *reader, const char **at, const char *line_end,
                     struct csv_cell *cell, struct error *error)
{
    const char *p = *at;
    while (p < line_end && is_blank(*p)) {
        p++;
    }
    if (p < line_end && *p == '"') {
        const char *close = memchr(p + 1, '"', (size_t)(line_end - p - 1));
        if (!close) {
            return csv_reader_fail(reader, reader->line, ERROR_FORMAT,
                                   "a quote that does not close on its line", error);
        }
        *cell = (struct csv_cell){p + 1, (size_t)(close - p - 1)};
        p = close + 1;
        while (p < line_end && is_blank(*p)) {
            p++;
        }
        if (p < line_end && *p != ',') {
            return fail_cell(reader, "cell", *cell, "more behind the closing quote", error);
        }
        *at = p;
        return 0;
    }
    const char *start = p;
    while (p < line_end && *p != ',') {
        p++;
    }
    *at = p;
    while (p > start && is_blank(p[-1])) {
        p--;
    }
    *cell = (struct csv_cell){start, (size_t)(p - start)};
    return 0;
}

/* Fills reader->cells; the number of cells, or -1. */
static long take_cells(struct csv_reader *reader, const char *at, const char *line_end,
                       struct error *error)
{
    long count = 0;
    for (;;) {
        if (count == CSV_COLUMNS_MAX + LEADING_CELLS) {
            return csv_reader_fail(reader, reader->line, ERROR_RANGE, "too many columns", error);
        }
        if (take_cell(reader, &at, line_end, &reader->cells[count], error)) {
            return -1;
        }
        count++;
        if (at == line_end) {
            return count;
        }
        at++;
    }
}

/* The next line without its end; false at the end of the file. */
static bool take_line(struct csv_reader *reader, const char **start, const char **line_end)
{
    if (reader->at == reader->end) {
        return false;
    }
    *start = reader->at;
    const char *newline = memchr(reader->at, '\n', (size_t)(reader->end - reader->at));
    *line_end = newline ? newline : reader->end;
    reader->at = newline ? newline + 1 : reader->end;
    if (*line_end > *start && (*line_end)[-1] == '\r') {
        (*line_end)--;
    }
    reader->line++;
    return true;
}

static bool is_blank_line(const char *start, const char *end)
{
    while (start < end && is_blank(*start)) {
        start++;
    }
    return start == end;
}

static uint32_t hash_text(const char *text, size_t length)
{
    uint32_t hash = 2166136261u; /* FNV-1a, 32 bit */
    for (size_t i = 0; i < length; i++) {
        hash = (hash ^ (uint8_t)text[i]) * 16777619u;
    }
    return hash & (NODE_SLOTS - 1);
}

static void fill_nodes(struct csv_reader *reader)
{
    for (size_t i = 0; i < reader->site->node_count; i++) {
        const char *id = reader->site->nodes[i].id;
        uint32_t slot = hash_text(id, strlen(id));
        while (reader->nodes[slot] != 0) {
            slot = (slot + 1) & (NODE_SLOTS - 1);
        }
        reader->nodes[slot] = (uint16_t)(i + 1);
    }
}

/* false: no such node. */
static bool find_node(const struct csv_reader *reader, struct csv_cell cell, uint32_t *node)
{
    for (uint32_t slot = hash_text(cell.text, cell.length); reader->nodes[slot] != 0;
         slot = (slot + 1) & (NODE_SLOTS - 1)) {
        const char *id = reader->site->nodes[reader->nodes[slot] - 1].id;
        if (strncmp(id, cell.text, cell.length) == 0 && id[cell.length] == '\0') {
            *node = reader->nodes[slot] - 1u;
            return true;
        }
    }
    return false;
}

static bool is_text(struct csv_cell cell, const char *text)
{
    return cell.length == strlen(text) && memcmp(cell.text, text, cell.length) == 0;
}

static int take_column(struct csv_reader *reader, size_t column, struct csv_cell cell,
                       struct error *error)
{
    char *name = reader->columns[column];
    if (!channel_name_valid(cell.text, cell.length)) {
        return fail_cell(reader, "column", cell, "not a channel name", error);
    }
    memcpy(name, cell.text, cell.length);
    name[cell.length] = '\0';
    for (size_t i = 0; i < column; i++) {
        if (strcmp(reader->columns[i], name) == 0) {
            return fail_cell(reader, "column", cell, "there twice", error);
        }
    }
    bool clock = strcmp(name, RECORDING_CLOCK_NAME) == 0;
    bool found = clock;
    for (size_t i = 0; i < reader->site->node_count; i++) {
        size_t channel = site_node_find_channel(&reader->site->nodes[i], name);
        uint16_t to = channel == SIZE_MAX ? CSV_NO_CHANNEL : (uint16_t)channel;
        reader->map[i * reader->column_count + column] = clock ? CSV_IS_CLOCK : to;
        found = found || channel != SIZE_MAX;
    }
    return found ? 0
                 : fail_cell(reader, "column", cell, "no channel of any node in the site file",
                             error);
}

static int take_header(struct csv_reader *reader, struct error *error)
{
    const char *start;
    const char *end;
    if (reader->end - reader->at >= 3 && memcmp(reader->at, "\xEF\xBB\xBF", 3) == 0) {
        reader->at += 3;
    }
    if (!take_line(reader, &start, &end)) {
        return csv_reader_fail(reader, 1, ERROR_FORMAT, "empty file", error);
    }
    long count = take_cells(reader, start, end, error);
    if (count < 0) {
        return -1;
    }
    if (count <= LEADING_CELLS || !is_text(reader->cells[0], "time") ||
        !is_text(reader->cells[1], "node")) {
        return csv_reader_fail(reader, reader->line, ERROR_FORMAT,
                               "the header is not time,node,CHANNEL,...", error);
    }
    reader->column_count = (size_t)count - LEADING_CELLS;
    reader->map = calloc((reader->site->node_count + 1) * reader->column_count, sizeof(uint16_t));
    if (!reader->map) {
        return error_set(error, ERROR_MEMORY, "%s: out of memory", reader->name);
    }
    for (size_t i = 0; i < reader->column_count; i++) {
        if (take_column(reader, i, reader->cells[i + LEADING_CELLS], error)) {
            return -1;
        }
    }
    return 0;
}

int csv_reader_new(const char *name, const char *bytes, size_t length, const struct site *site,
                   struct csv_reader **out, struct error *error)
{
    struct csv_reader *reader = calloc(1, sizeof *reader);
    if (!reader) {
        return error_set(error, ERROR_MEMORY, "%s: out of memory", name);
    }
    reader->name = name;
    reader->at = bytes;
    reader->end = bytes + length;
    reader->site = site;
    fill_nodes(reader);
    if (take_header(reader, error)) {
        csv_reader_free(reader);
        return -1;
    }
    reader->first = reader->at;
    reader->first_line = reader->line;
    *out = reader;
    return 0;
}

void csv_reader_free(struct csv_reader *reader)
{
    if (!reader) {
        return;
    }
    free(reader->map);
    free(reader);
}

void csv_reader_rewind(struct csv_reader *reader)
{
    reader->at = reader->first;
    reader->line = reader->first_line;
}

static int take_time(struct csv_reader *reader, struct csv_cell cell, int64_t *time_ns,
                     struct error *error)
{
    if (cell.length == reader->last_time.length && cell.length > 0 &&
        memcmp(cell.text, reader->last_time.text, cell.length) == 0) {
        *time_ns = reader->last_time_ns;
        return 0;
    }
    struct error why;
    bool dated = memchr(cell.text, ':', cell.length) != NULL;
    int result = dated ? timefmt_parse_rfc3339(cell.text, cell.length, time_ns, &why)
                       : timefmt_parse_seconds(cell.text, cell.length, time_ns, &why);
    if (result == 0 && (*time_ns >= TIME_LIMIT_NS || *time_ns <= -TIME_LIMIT_NS)) {
        result = error_set(&why, ERROR_RANGE, "out of range");
    }
    if (result) {
        return fail_cell(reader, "time", cell, why.text, error);
    }
    reader->last_time = cell;
    reader->last_time_ns = *time_ns;
    return 0;
}

/* Blank lines are allowed at the end only. */
static int take_blank(struct csv_reader *reader, struct error *error)
{
    uint64_t line = reader->line;
    const char *start;
    const char *end;
    while (take_line(reader, &start, &end)) {
        if (!is_blank_line(start, end)) {
            return csv_reader_fail(reader, line, ERROR_FORMAT, "a blank line between rows", error);
        }
    }
    return 0;
}

int csv_reader_next(struct csv_reader *reader, struct csv_row *row, struct error *error)
{
    const char *start;
    const char *end;
    if (!take_line(reader, &start, &end)) {
        return 0;
    }
    if (is_blank_line(start, end)) {
        return take_blank(reader, error);
    }
    long count = take_cells(reader, start, end, error);
    if (count < 0) {
        return -1;
    }
    if ((size_t)count != reader->column_count + LEADING_CELLS) {
        return error_set(error, ERROR_FORMAT, "%s:%" PRIu64 ": %ld cells where the header has %zu",
                         reader->name, reader->line, count, reader->column_count + LEADING_CELLS);
    }
    if (take_time(reader, reader->cells[0], &row->time_ns, error)) {
        return -1;
    }
    if (!find_node(reader, reader->cells[1], &row->node)) {
        return fail_cell(reader, "node", reader->cells[1], "not in the site file", error);
    }
    row->line = reader->line;
    row->cells = reader->cells + LEADING_CELLS;
    return 1;
}

size_t csv_reader_columns(const struct csv_reader *reader)
{
    return reader->column_count;
}

const char *csv_reader_column_name(const struct csv_reader *reader, size_t column)
{
    return reader->columns[column];
}

const uint16_t *csv_reader_map(const struct csv_reader *reader, uint32_t node)
{
    return reader->map + node * reader->column_count;
}
