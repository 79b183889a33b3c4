/* Messages on their way into long blocks.
 * Must never lose or double a sample. Called by store.c, store_samples.c and writer_close.c. */
#include "collector/night/store_tail.h"

#include <stdlib.h>
#include <string.h>

#include "collector/night/schema.h"
#include "collector/night/sql.h"
#include "collector/night/store.h"
#include "common/clock.h"

/* Long enough for a good prediction, short enough to be read for a plot of seconds: where nothing
 * is known of how long a row becomes. */
#define SPAN_NS (32 * NS_PER_S)
#define AGE_MOST 1024u
/* So much of a page of the night is for rows; from LEAST_NS on a block ends where its row is just
 * short enough for one, two or three to fill a page: half a row is what a page else leaves empty.
 */
#define PAGE_BYTES 8140u
#define ROWS_A_PAGE 3u
#define LEAST_NS (20 * NS_PER_S)
#define MOST_NS (44 * NS_PER_S)
#define PS_PER_NS 1000
#define FIRST_PLACE 1
#define PARTS INT64_C(1024)
#define PARTS_GOLDEN 633 /* 0.618 of them */
_Static_assert(AGE_MOST <= CUTS_MAX / 2, "a channel may be in a message more than once");

void store_tail_free(struct store_tail *tail)
{
    for (size_t i = 0; i < NODE_CHANNELS_MAX; i++) {
        gathered_free(&tail->gathered[i]);
    }
    tail_bytes_free(&tail->bytes);
    tail_memory_free(&tail->memory);
    free(tail->boots);
    *tail = (struct store_tail){0};
}

static struct tail_boot *find_boot(struct store_tail *tail, int64_t id, struct error *error)
{
    size_t place = (size_t)id;
    if (place >= tail->count) {
        size_t count = place + 16;
        struct tail_boot *boots = realloc(tail->boots, count * sizeof *boots);
        if (!boots) {
            (void)error_set(error, ERROR_MEMORY, "night: out of memory");
            return NULL;
        }
        memset(boots + tail->count, 0, (count - tail->count) * sizeof *boots);
        tail->boots = boots;
        tail->count = count;
    }
    return &tail->boots[place];
}

static bool waits(const struct tail_boot *boot)
{
    return boot->next > boot->first;
}

/* Whether a block may follow what waits of its channel in one long block. */
static bool follows(const struct tail_channel *channel, const struct block *block)
{
    if (channel->samples == 0) {
        return true;
    }
    const bool even = channel->period_ps > 0;
    if (block->encoding != channel->encoding || (block->period_ps > 0) != even ||
        block->count > BLOCK_SAMPLES_MAX - channel->samples || block->t0_ns <= channel->last_ns) {
        return false;
    }
    /* A hole between samples that come by the clock ends the block, so that its times are even. */
    int64_t gap_ns = 0;
    return !even || (!__builtin_sub_overflow(block->t0_ns, channel->last_ns, &gap_ns) &&
                     gap_ns / 2 <= channel->period_ps / PS_PER_NS);
}

/* Takes note of some of a message's blocks; false, and nothing noted, where they do not follow. */
static bool note(struct tail_boot *boot, const struct block *blocks, size_t count, bool clocked)
{
    struct tail_boot noted = *boot;
    if (waits(boot) && clocked != boot->clocked) {
        return false;
    }
    noted.clocked = clocked;
    for (size_t i = 0; i < count; i++) {
        const struct block *block = &blocks[i];
        struct tail_channel *channel = &noted.channels[block->channel];
        if (!follows(channel, block)) {
            return false;
        }
        channel->samples += block->count;
        channel->encoding = block->encoding;
        channel->period_ps = block->period_ps > 0 ? block->period_ps : 0;
        channel->last_ns = block_time_ns(block, block->count - 1);
        if ((i == 0 && !waits(boot)) || block->t0_ns < noted.start_ns) {
            noted.start_ns = block->t0_ns;
        }
        if ((i == 0 && !waits(boot)) || channel->last_ns > noted.end_ns) {
            noted.end_ns = channel->last_ns;
        }
    }
    noted.next++;
    noted.age++;
    *boot = noted;
    return true;
}

static void begin_boot(struct tail_boot *boot, int64_t place)
{
    struct tail_boot begun = {.first = place, .next = place};
    for (size_t i = 0; i < NODE_CHANNELS_MAX; i++) {
        begun.channels[i].stored_samples = boot->channels[i].stored_samples;
        begun.channels[i].stored_bytes = boot->channels[i].stored_bytes;
    }
    *boot = begun;
}

/* The channel whose row will be the longest, as its last block was: how long with so many of this
 * boot's messages; 0 where nothing is known. */
static uint64_t longest_row(const struct tail_boot *boot, uint32_t messages)
{
    uint64_t longest = 0;
    for (size_t i = 0; i < NODE_CHANNELS_MAX; i++) {
        const struct tail_channel *channel = &boot->channels[i];
        if (channel->samples > 0 && channel->stored_samples > 0) {
            uint64_t samples = (uint64_t)channel->samples * messages / boot->age;
            uint64_t bytes = samples * channel->stored_bytes / channel->stored_samples;
            longest = bytes > longest ? bytes : longest;
        }
    }
    return longest;
}

/* Whether the row fits a page's half or third, or a page, and with one more message it would not.
 */
static bool fills(uint64_t now, uint64_t next)
{
    for (uint64_t rows = 1; rows <= ROWS_A_PAGE; rows++) {
        if (now <= PAGE_BYTES / rows && next > PAGE_BYTES / rows) {
            return true;
        }
    }
    return false;
}

/* A house's nodes begin together: were their first blocks of one length, all blocks of the night
 * would be made in the same commits, and those would be long. So each boot's first ends after a
 * part of its own (ids times the golden ratio spread evenly). */
static bool first_is_long(int64_t id, const struct tail_boot *boot, int64_t span_ns)
{
    const int64_t part = PARTS / 4 + (id * PARTS_GOLDEN) % PARTS * 3 / 4;
    uint32_t most = 0;
    for (size_t i = 0; i < NODE_CHANNELS_MAX; i++) {
        most = boot->channels[i].samples > most ? boot->channels[i].samples : most;
    }
    return span_ns >= SPAN_NS / PARTS * part || most >= BLOCK_SAMPLES_MAX / PARTS * part;
}

static bool is_long(int64_t id, const struct tail_boot *boot)
{
    int64_t span_ns = 0;
    if (!waits(boot) || boot->age >= AGE_MOST ||
        __builtin_sub_overflow(boot->end_ns, boot->start_ns, &span_ns)) {
        return waits(boot);
    }
    if (boot->first <= FIRST_PLACE) {
        return first_is_long(id, boot, span_ns);
    }
    uint64_t now = longest_row(boot, boot->age);
    uint64_t next = longest_row(boot, boot->age + 1);
    if (now == 0 || now > PAGE_BYTES || next < PAGE_BYTES / (ROWS_A_PAGE + 1)) {
        return span_ns >= SPAN_NS;
    }
    return span_ns >= MOST_NS || (span_ns >= LEAST_NS && fills(now, next));
}

/* One waiting message, from a row of STORE_TAIL_OF: its number and its blocks. */
static int gather_message(struct store *store, sqlite3_stmt *statement, struct error *error)
{
    struct store_tail *tail = &store->tail;
    struct sql_columns row = sql_columns(statement);
    uint64_t seq = (uint64_t)sql_get_int(&row);
    size_t length = 0;
    const uint8_t *bytes = sql_get_blob(&row, &length);
    struct tail_reader reader = {.at = bytes, .end = bytes ? bytes + length : bytes};
    struct block block;
    int64_t node_t0_ns = 0;
    int more = 0;
    while ((more = tail_next(store->codec, &reader, &tail->memory, &block, &node_t0_ns, error)) ==
           1) {
        if (gathered_add(&tail->gathered[block.channel], &block, seq, node_t0_ns, error) != 0) {
            return -1;
        }
    }
    return more;
}

static int bind_range(struct store *store, enum store_sql which, int64_t id,
                      const struct tail_boot *boot, struct sql_args *args, struct error *error)
{
    *args = sql_args(store_statement(store, which, error));
    if (!args->statement) {
        return -1;
    }
    sql_put_int(args, tail_key(id, boot->first));
    sql_put_int(args, tail_key(id, boot->next - 1));
    return 0;
}

static int gather_all(struct store *store, int64_t id, const struct tail_boot *boot,
                      struct error *error)
{
    for (size_t i = 0; i < NODE_CHANNELS_MAX; i++) {
        store->tail.gathered[i].count = 0;
        store->tail.gathered[i].cut_count = 0;
        store->tail.gathered[i].clocked = boot->clocked;
    }
    struct sql_args args;
    if (bind_range(store, STORE_TAIL_OF, id, boot, &args, error) != 0) {
        return -1;
    }
    int more = 0;
    while ((more = sql_step(args.statement, error)) == 1) {
        if (gather_message(store, args.statement, error) != 0) {
            sqlite3_reset(args.statement);
            return -1;
        }
    }
    return more;
}

/* What waits of a boot becomes blocks. */
static int make_blocks(struct store *store, int64_t id, struct error *error)
{
    const struct tail_boot boot = store->tail.boots[id];
    struct sql_args args;
    if (!waits(&boot)) {
        return 0;
    }
    if (gather_all(store, id, &boot, error) != 0) {
        return -1;
    }
    for (size_t i = 0; i < NODE_CHANNELS_MAX; i++) {
        struct gathered *gathered = &store->tail.gathered[i];
        struct tail_channel *channel = &store->tail.boots[id].channels[i];
        if (gathered->count > 0 && store_block(store, id * SCHEMA_FANOUT + (int64_t)i, gathered,
                                               &channel->stored_bytes, error) != 0) {
            return -1;
        }
        channel->stored_samples = gathered->count > 0 ? gathered->count : channel->stored_samples;
    }
    if (bind_range(store, STORE_TAIL_FORGET, id, &boot, &args, error) != 0 ||
        sql_run(&args, error) != 0) {
        return -1;
    }
    begin_boot(&store->tail.boots[id], boot.next);
    return 0;
}

/* Some blocks of one message: behind what waits where they follow it, else in a new beginning. */
static int put_blocks(struct store *store, const struct job_frame *job, size_t first, size_t count,
                      int64_t frame, struct error *error)
{
    struct store_tail *tail = &store->tail;
    struct tail_boot *boot = &tail->boots[job->boot_id];
    const struct block *blocks = job->blocks + first;
    int64_t place = boot->next;
    if (!note(boot, blocks, count, job->fit.known)) {
        if (make_blocks(store, job->boot_id, error) != 0) {
            return -1;
        }
        if (!note(boot, blocks, count, job->fit.known)) {
            return 1; /* they don't follow each other */
        }
    }
    if (tail_encode(store->codec, blocks, job->node_t0_ns + first, count, &tail->bytes, error) !=
        0) {
        return -1;
    }
    struct sql_args args = sql_args(store_statement(store, STORE_TAIL, error));
    if (!args.statement) {
        return -1;
    }
    sql_put_int(&args, tail_key(job->boot_id, place));
    sql_put_int(&args, frame);
    sql_put_blob(&args, tail->bytes.bytes, tail->bytes.length);
    return sql_run(&args, error);
}

int store_tail_put(struct store *store, const struct job_frame *job, int64_t frame,
                   struct error *error)
{
    struct tail_boot *boot = find_boot(&store->tail, job->boot_id, error);
    if (!boot) {
        return -1;
    }
    int put = 0;
    if (job->count > 0) {
        put = put_blocks(store, job, 0, job->count, frame, error);
    } else if (waits(boot)) {
        boot->age++;
    }
    for (size_t i = 0; put == 1 && i < job->count; i++) {
        if (put_blocks(store, job, i, 1, frame, error) != 0) {
            return -1;
        }
    }
    if (put < 0) {
        return -1;
    }
    return is_long(job->boot_id, boot) ? make_blocks(store, job->boot_id, error) : 0;
}

int store_tail_finish(struct store *store, struct error *error)
{
    for (size_t i = 0; i < store->tail.count; i++) {
        if (make_blocks(store, (int64_t)i, error) != 0) {
            return -1;
        }
    }
    return 0;
}

/* A row of what waits: its key, whether its clock was known, its blocks. */
static int load_row(struct store *store, sqlite3_stmt *statement, struct error *error)
{
    struct store_tail *tail = &store->tail;
    struct sql_columns row = sql_columns(statement);
    int64_t key = sql_get_int(&row);
    bool clocked = sql_get_int(&row) != 0;
    size_t length = 0;
    const uint8_t *bytes = sql_get_blob(&row, &length);
    struct tail_reader reader = {.at = bytes, .end = bytes ? bytes + length : bytes};
    int64_t id = key >> TAIL_KEYS_BITS;
    int64_t place = key & ((INT64_C(1) << TAIL_KEYS_BITS) - 1);
    if (id < 1 || id >= INT64_C(1) << 24) {
        return error_set(error, ERROR_FORMAT, "night: a waiting message of boot %lld",
                         (long long)id);
    }
    struct tail_boot *boot = find_boot(tail, id, error);
    if (!boot) {
        return -1;
    }
    if (!waits(boot)) {
        begin_boot(boot, place);
    }
    boot->next = place;
    struct block block;
    int64_t node_t0_ns = 0;
    int more = 0;
    while ((more = tail_next(store->codec, &reader, &tail->memory, &block, &node_t0_ns, error)) ==
           1) {
        boot->next = place; /* the blocks of one row take one place */
        if (!note(boot, &block, 1, clocked)) {
            return error_set(error, ERROR_FORMAT, "night: waiting messages do not follow");
        }
    }
    return more;
}

int store_tail_load(struct store *store, struct error *error)
{
    struct store_tail *tail = &store->tail;
    if (!tail->stale) {
        return 0;
    }
    for (size_t i = 0; i < tail->count; i++) {
        /* Places that were given out in a transaction that failed may be given out again. */
        tail->boots[i] = (struct tail_boot){.first = 1, .next = 1};
    }
    struct sql_args args = sql_args(store_statement(store, STORE_TAIL_ALL, error));
    if (!args.statement) {
        return -1;
    }
    int more = 0;
    while ((more = sql_step(args.statement, error)) == 1) {
        if (load_row(store, args.statement, error) != 0) {
            sqlite3_reset(args.statement);
            return -1;
        }
    }
    tail->stale = more != 0;
    return more;
}
