/* Messages that wait in a live night until enough have come for long blocks.
 * Must never trust their bytes. Called by reader*.c. */
#include "collector/night/reader_waiting.h"

#include <stdlib.h>
#include <string.h>

#include "collector/night/reader_internal.h"
#include "collector/night/schema.h"

/* The channels of the boot that is being read. */
struct waiting_channels {
    int64_t boot_id;
    bool known[NODE_CHANNELS_MAX];
    struct channel list[NODE_CHANNELS_MAX];
};

struct walk {
    struct night_reader *reader;
    sqlite3_stmt *channels_statement;
    struct waiting_channels channels;
    int (*each)(void *context, const struct reader_waiting *waiting, struct error *error);
    void *context;
    struct error *error;
};

static int read_channels(struct walk *walk, int64_t boot_id)
{
    struct waiting_channels *channels = &walk->channels;
    if (channels->boot_id == boot_id) {
        return 0;
    }
    *channels = (struct waiting_channels){.boot_id = boot_id};
    struct sql_args args = sql_args(walk->channels_statement);
    sql_put_int(&args, boot_id * SCHEMA_FANOUT);
    int more = 0;
    while ((more = sql_step(args.statement, walk->error)) == 1) {
        struct sql_columns row = sql_columns(args.statement);
        size_t place = (size_t)sql_get_int(&row) % SCHEMA_FANOUT;
        reader_get_channel(&row, &channels->list[place]);
        channels->known[place] = true;
    }
    return more;
}

static int take(void *context, struct sql_columns *row)
{
    struct walk *walk = context;
    char boot[17];
    struct reader_waiting waiting = {.node = (uint32_t)sql_get_int(row)};
    sql_get_text(row, boot, sizeof boot);
    waiting.boot = strtoull(boot, NULL, 16);
    waiting.boot_id = sql_get_int(row);
    waiting.seq = (uint64_t)sql_get_int(row);
    size_t length = 0;
    const uint8_t *bytes = sql_get_blob(row, &length);
    if (!bytes) {
        return 0;
    }
    waiting.blocks = (struct tail_reader){.at = bytes, .end = bytes + length};
    waiting.channels = &walk->channels;
    if (read_channels(walk, waiting.boot_id) != 0) {
        return -1;
    }
    return walk->each(walk->context, &waiting, walk->error);
}

int reader_each_waiting(struct night_reader *reader, int64_t node,
                        int (*each)(void *context, const struct reader_waiting *waiting,
                                    struct error *error),
                        void *context, struct error *error)
{
    static const char tail_sql[] =
        "SELECT node, boot.boot, boot.id, seq, blocks FROM tail CROSS JOIN frame"
        " ON frame.id = tail.frame CROSS JOIN boot ON boot.id = frame.boot"
        " WHERE ?1 < 0 OR node = ?1 ORDER BY tail.id";
    static const char channels_sql[] =
        "SELECT id, " READER_CHANNEL_COLUMNS " FROM channel WHERE id BETWEEN ?1 AND ?1 + 31";
    _Static_assert(SCHEMA_FANOUT == 32, "number in the statement");
    struct walk walk = {.reader = reader, .each = each, .context = context, .error = error};
    sqlite3_stmt *statement = NULL;
    if (reader_prepare(reader, channels_sql, &walk.channels_statement, error) != 0) {
        return -1;
    }
    int result = -1;
    if (reader_prepare(reader, tail_sql, &statement, error) == 0) {
        (void)sqlite3_bind_int64(statement, 1, node);
        result = reader_each(reader, statement, take, &walk, error);
    }
    sqlite3_finalize(walk.channels_statement);
    return result;
}

bool reader_find_channel(const struct reader_waiting *waiting, const struct long_block *block,
                         struct night_block_row *row)
{
    size_t place = block->block.channel % NODE_CHANNELS_MAX;
    *row = (struct night_block_row){
        .node = waiting->node, .boot = waiting->boot, .channel = waiting->channels->list[place]};
    return waiting->channels->known[place];
}
