/* What a night from anybody must hold before its numbers are used as places in lists.
 * Must never repair. Called by reader_open.c. */
#include "collector/night/reader_internal.h"

#include <inttypes.h>
#include <limits.h>
#include <stdio.h>
#include <sys/stat.h>

#include "common/site.h"

#define HEAD_SIZE 100

/* Each gives 1 where it holds. Nodes and rooms are numbered from 0 without a hole. */
static const struct {
    const char *sql;
    const char *what;
} checks[] = {
    {"SELECT count(*) = coalesce(max(id) + 1, 0) AND coalesce(min(id), 0) = 0 FROM node", "nodes"},
    {"SELECT count(*) = coalesce(max(id) + 1, 0) AND coalesce(min(id), 0) = 0 FROM room", "rooms"},
    {"SELECT NOT EXISTS (SELECT 1 FROM boot WHERE node NOT IN (SELECT id FROM node)"
     " OR id NOT BETWEEN 1 AND 1000000000)",
     "boots"},
    {"SELECT NOT EXISTS (SELECT 1 FROM channel WHERE boot NOT IN (SELECT id FROM boot)"
     " OR step_exponent NOT BETWEEN -400 AND 400 OR offset_exponent NOT BETWEEN -400 AND 400"
     " OR period_ps < 0 OR (calibration IS NOT NULL AND NOT json_valid(calibration)))",
     "channels"},
    {"SELECT NOT EXISTS (SELECT 1 FROM clock WHERE node NOT IN (SELECT id FROM node))", "clocks"},
    {"SELECT NOT EXISTS (SELECT 1 FROM gap WHERE node NOT IN (SELECT id FROM node))", "gaps"},
    {"SELECT NOT EXISTS (SELECT 1 FROM disturbance WHERE node NOT IN (SELECT id FROM node))",
     "disturbances"},
    {"SELECT NOT EXISTS (SELECT 1 FROM notice WHERE node NOT IN (SELECT id FROM node))", "notices"},
    {"SELECT NOT EXISTS (SELECT 1 FROM coincidence_order"
     " WHERE node NOT IN (SELECT id FROM node))",
     "orders"},
    {"SELECT NOT EXISTS (SELECT 1 FROM coincidence_path WHERE room NOT IN (SELECT id FROM room))",
     "paths"},
    {"SELECT NOT EXISTS (SELECT 1 FROM meta WHERE key GLOB 'longest_block_ns*'"
     " AND value NOT BETWEEN 0 AND 1000000000000000000)",
     "frames"},
};

int reader_check(struct night_reader *reader, struct error *error)
{
    for (size_t i = 0; i < sizeof checks / sizeof *checks; i++) {
        int64_t holds = 0;
        if (sql_query_int(reader->db, checks[i].sql, &holds, error) != 0) {
            return -1;
        }
        if (holds != 1) {
            return error_set(error, ERROR_FORMAT, "damaged: its %s do not fit together",
                             checks[i].what);
        }
    }
    return 0;
}

int reader_check_site(struct night_reader *reader, const struct site *site, struct error *error)
{
    int64_t nodes = 0;
    int64_t rooms = 0;
    if (sql_query_int(reader->db, "SELECT count(*) FROM node", &nodes, error) != 0 ||
        sql_query_int(reader->db, "SELECT count(*) FROM room", &rooms, error) != 0) {
        return -1;
    }
    if ((size_t)nodes != site->node_count || (size_t)rooms != site->room_count) {
        return error_set(error, ERROR_FORMAT, "damaged: its site file is not its tables'");
    }
    return 0;
}

/* While a night is written, or after its recorder died, its end may lie in the log beside it. */
static bool has_log(const char *path)
{
    struct stat log;
    char name[PATH_MAX];
    int length = snprintf(name, sizeof name, "%s-wal", path);
    return length > 0 && (size_t)length < sizeof name && stat(name, &log) == 0 && log.st_size > 0;
}

/* SQLite's own head says how many pages of which size there are. */
bool reader_cut_short(const char *path, char text[READER_CUT_SIZE])
{
    uint8_t head[HEAD_SIZE];
    struct stat file;
    FILE *opened = fopen(path, "rb");
    bool read =
        opened && fread(head, sizeof head, 1, opened) == 1 && fstat(fileno(opened), &file) == 0;
    if (opened) {
        (void)fclose(opened);
    }
    if (!read) {
        return false; /* other checks tell of it */
    }
    int64_t page = head[16] << 8 | head[17];
    int64_t pages = (int64_t)head[28] << 24 | head[29] << 16 | head[30] << 8 | head[31];
    int64_t size = pages * (page == 1 ? 65536 : page);
    (void)snprintf(text, READER_CUT_SIZE, "cut short: %" PRId64 " bytes are there of %" PRId64,
                   (int64_t)file.st_size, size);
    return file.st_size < size && !has_log(path);
}
