/* Where a night that was left ends for each of its nodes.
 * Must never take a time for a node's last that its own clock did not give. Called by record. */
#include "collector/night/reader_internal.h"

#include <stdlib.h>

/* A channel that ticks has samples within this; what changes more seldom may go without. */
#define LOOK_BACK_NS (INT64_C(60) * 1000000000)

struct reading {
    struct night_reader *reader;
    uint32_t node;
    struct night_left *left;
    int64_t boot_ids[NIGHT_LEFT_BOOTS];
};

static int take_boot(void *context, struct sql_columns *row)
{
    struct reading *reading = context;
    struct night_left *left = reading->left;
    char hex[24];
    reading->boot_ids[left->boot_count] = sql_get_int(row);
    sql_get_text(row, hex, sizeof hex);
    left->boots[left->boot_count].boot = strtoull(hex, NULL, 16);
    left->boots[left->boot_count].seq = (uint64_t)sql_get_int(row);
    left->boot_count++;
    return 0;
}

/* The newest first: by when the first frame of each came. */
static int read_boots(struct reading *reading, struct error *error)
{
    sqlite3_stmt *statement = NULL;
    if (reader_prepare(reading->reader,
                       "SELECT boot.id, boot.boot, max(seq) FROM boot CROSS JOIN frame"
                       " ON frame.boot = boot.id WHERE node = ?1 GROUP BY boot.id"
                       " ORDER BY min(frame.id) DESC LIMIT ?2",
                       &statement, error) != 0) {
        return -1;
    }
    (void)sqlite3_bind_int64(statement, 1, reading->node);
    (void)sqlite3_bind_int64(statement, 2, NIGHT_LEFT_BOOTS);
    return reader_each(reading->reader, statement, take_boot, reading, error);
}

static int take_last(void *context, struct sql_columns *row)
{
    struct night_left *left = context;
    left->clocked = true;
    left->last_ns = sql_get_int(row);
    return 0;
}

static int read_last(struct reading *reading, int64_t boot_id, struct error *error)
{
    sqlite3_stmt *statement = NULL;
    if (reader_prepare(reading->reader,
                       "SELECT end_ns FROM frame WHERE boot = ? AND fit IS NOT NULL"
                       " AND end_ns IS NOT NULL ORDER BY seq DESC LIMIT 1",
                       &statement, error) != 0) {
        return -1;
    }
    (void)sqlite3_bind_int64(statement, 1, boot_id);
    return reader_each(reading->reader, statement, take_last, reading->left, error);
}

/* Of the boot whose samples are the last. */
static int read_channels(struct reading *reading, uint64_t boot, struct error *error)
{
    struct night_left *left = reading->left;
    struct night_blocks *cursor = NULL;
    struct night_block_row row;
    int more = 0;
    if (night_blocks_open(reading->reader, reading->node, left->last_ns - LOOK_BACK_NS, INT64_MAX,
                          &cursor, error) != 0) {
        return -1;
    }
    while ((more = night_blocks_next(cursor, &row, error)) == 1) {
        int64_t last_ns = block_time_ns(&row.block, row.block.count - 1);
        if (row.boot == boot && row.block.channel < NODE_CHANNELS_MAX &&
            last_ns > left->channel_last_ns[row.block.channel]) {
            left->channel_last_ns[row.block.channel] = last_ns;
        }
    }
    night_blocks_close(cursor);
    return more;
}

static int take_gap(void *context, struct sql_columns *row)
{
    struct night_left *left = context;
    left->gap_start_ns = sql_get_int(row);
    left->gap_end_ns = sql_get_int(row);
    return 0;
}

static int read_gap(struct reading *reading, struct error *error)
{
    sqlite3_stmt *statement = NULL;
    if (reader_prepare(reading->reader,
                       "SELECT start_ns, end_ns FROM gap WHERE node = ? ORDER BY id DESC LIMIT 1",
                       &statement, error) != 0) {
        return -1;
    }
    (void)sqlite3_bind_int64(statement, 1, reading->node);
    return reader_each(reading->reader, statement, take_gap, reading->left, error);
}

int night_read_left(struct night_reader *reader, uint32_t node, struct night_left *left,
                    struct error *error)
{
    struct reading reading = {.reader = reader, .node = node, .left = left};
    *left = (struct night_left){.gap_start_ns = INT64_MIN};
    for (size_t i = 0; i < NODE_CHANNELS_MAX; i++) {
        left->channel_last_ns[i] = INT64_MIN;
    }
    if (read_boots(&reading, error) != 0 || read_gap(&reading, error) != 0) {
        return -1;
    }
    for (size_t i = 0; i < left->boot_count && !left->clocked; i++) {
        if (read_last(&reading, reading.boot_ids[i], error) != 0 ||
            (left->clocked && read_channels(&reading, left->boots[i].boot, error) != 0)) {
            return -1;
        }
        left->unclocked = left->unclocked || !left->clocked;
    }
    return 0;
}
