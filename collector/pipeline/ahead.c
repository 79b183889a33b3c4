/* Two batches of tasks, one that gathers and one that is being done; each lane's tasks are linked
 * through their batch, its words hang on the task in hand.
 * Must never have two threads in one lane. Called by pipeline.
 */
#include "collector/pipeline/ahead.h"

#include <stdlib.h>
#include <string.h>

#include "collector/pipeline/block_copy.h"
#include "collector/pipeline/crew.h"

/* Samples of some tens of milliseconds of work, little beside a night's reader. */
#define BYTES_FULL (4u << 20)
#define TASKS_FULL 16384u

enum word_kind {
    WORD_OPENED,
    WORD_CLOSED,
    WORD_NOTICED,
    WORD_WATCHING,
};

struct ahead_word {
    struct ahead_word *next;
    enum word_kind kind;
    struct disturbance disturbance; /* opened, closed */
    uint32_t node;                  /* noticed, watching */
    char quantity[IDENT_SIZE];
    int64_t time_ns;
    char text[]; /* noticed */
};

/* One lane's part. */
struct share {
    struct ahead *home;
    struct lane *lane;
    struct ahead_task *now; /* NULL: none in hand */
    bool short_of_memory;
    bool broken; /* a task failed: no more until all is dropped */
    struct error failure;
};

/* A lane's tasks within a batch. */
struct span {
    size_t first; /* SIZE_MAX: nothing to do */
    size_t last;
};

struct batch {
    struct ahead_task *tasks;
    size_t count;
    size_t size;
    size_t bytes;
    struct span *spans; /* one a node */
};

struct ahead {
    struct crew *crew;
    struct lane_sink sink; /* for what a lane says when it does no task */
    size_t node_count;
    struct share *shares; /* one a node */
    struct batch batches[2];
    struct batch *gathering; /* and after a turn what is to be told */
    struct batch *working;
};

static void forget_tasks(struct batch *batch, size_t node_count)
{
    for (size_t i = 0; i < batch->count; i++) {
        while (batch->tasks[i].words) {
            struct ahead_word *next = batch->tasks[i].words->next;
            free(batch->tasks[i].words);
            batch->tasks[i].words = next;
        }
        free(batch->tasks[i].block);
    }
    for (size_t node = 0; batch->spans && node < node_count; node++) {
        batch->spans[node].first = SIZE_MAX;
    }
    batch->count = 0;
    batch->bytes = 0;
}

static int make_parts(struct ahead *ahead, struct error *error)
{
    size_t count = ahead->node_count ? ahead->node_count : 1;
    ahead->shares = calloc(count, sizeof *ahead->shares);
    bool complete = ahead->shares != NULL;
    for (size_t i = 0; i < 2; i++) {
        struct batch *batch = &ahead->batches[i];
        batch->spans = calloc(count, sizeof *batch->spans);
        complete = complete && batch->spans;
        forget_tasks(batch, ahead->node_count);
    }
    if (!complete) {
        return error_set(error, ERROR_MEMORY, "pipeline: out of memory");
    }
    for (size_t node = 0; node < ahead->node_count; node++) {
        ahead->shares[node].home = ahead;
    }
    return 0;
}

int ahead_new(size_t node_count, const struct lane_sink *sink, struct ahead **ahead,
              struct error *error)
{
    struct ahead *made = calloc(1, sizeof *made);
    if (!made) {
        return error_set(error, ERROR_MEMORY, "pipeline: out of memory");
    }
    made->node_count = node_count;
    made->sink = *sink;
    made->gathering = &made->batches[0];
    made->working = &made->batches[1];
    if (make_parts(made, error) != 0 || crew_new(&made->crew, error) != 0) {
        ahead_free(made);
        return -1;
    }
    *ahead = made;
    return 0;
}

void ahead_free(struct ahead *ahead)
{
    if (!ahead) {
        return;
    }
    crew_free(ahead->crew);
    for (size_t i = 0; i < 2; i++) {
        forget_tasks(&ahead->batches[i], ahead->node_count);
        free(ahead->batches[i].tasks);
        free(ahead->batches[i].spans);
    }
    free(ahead->shares);
    free(ahead);
}

/* A word at the end of the task in hand; NULL where there is no memory, which fails the task. */
static struct ahead_word *add_word(struct share *share, enum word_kind kind, const char *text)
{
    size_t length = text ? strlen(text) + 1 : 0;
    struct ahead_word *word = calloc(1, sizeof *word + length);
    if (!word) {
        share->short_of_memory = true;
        return NULL;
    }
    word->kind = kind;
    if (text) {
        memcpy(word->text, text, length);
    }
    if (share->now->last_word) {
        share->now->last_word->next = word;
    } else {
        share->now->words = word;
    }
    share->now->last_word = word;
    return word;
}

static void on_opened(void *context, const struct disturbance *disturbance)
{
    struct share *share = context;
    if (!share->now) {
        share->home->sink.opened(share->home->sink.context, disturbance);
        return;
    }
    struct ahead_word *word = add_word(share, WORD_OPENED, NULL);
    if (word) {
        word->disturbance = *disturbance;
    }
}

static void on_closed(void *context, const struct disturbance *disturbance)
{
    struct share *share = context;
    if (!share->now) {
        share->home->sink.closed(share->home->sink.context, disturbance);
        return;
    }
    struct ahead_word *word = add_word(share, WORD_CLOSED, NULL);
    if (word) {
        word->disturbance = *disturbance;
    }
}

static void say_of(struct ahead_word *word, uint32_t node, const char *quantity, int64_t time_ns)
{
    if (word) {
        word->node = node;
        word->time_ns = time_ns;
        memcpy(word->quantity, quantity, strnlen(quantity, sizeof word->quantity - 1));
    }
}

static void on_noticed(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                       const char *text)
{
    struct share *share = context;
    if (!share->now) {
        share->home->sink.noticed(share->home->sink.context, node, quantity, time_ns, text);
        return;
    }
    say_of(add_word(share, WORD_NOTICED, text), node, quantity, time_ns);
}

static void on_watching(void *context, uint32_t node, const char *quantity, int64_t time_ns)
{
    struct share *share = context;
    if (!share->now) {
        share->home->sink.watching(share->home->sink.context, node, quantity, time_ns);
        return;
    }
    say_of(add_word(share, WORD_WATCHING, NULL), node, quantity, time_ns);
}

struct lane_sink ahead_sink(struct ahead *ahead, uint32_t node)
{
    return (struct lane_sink){&ahead->shares[node], on_opened, on_closed, on_noticed, on_watching};
}

static int grow_tasks(struct batch *batch)
{
    size_t size = batch->size ? 2 * batch->size : 256;
    struct ahead_task *tasks = realloc(batch->tasks, size * sizeof *tasks);
    if (!tasks) {
        return -1;
    }
    batch->tasks = tasks;
    batch->size = size;
    return 0;
}

int ahead_add(struct ahead *ahead, const struct ahead_task *task, const struct block *block,
              struct error *error)
{
    struct batch *batch = ahead->gathering;
    struct block *copy = block ? block_copy(block) : NULL;
    if ((block && !copy) || (batch->count == batch->size && grow_tasks(batch) != 0)) {
        free(copy);
        return error_set(error, ERROR_MEMORY, "pipeline: out of memory");
    }
    struct span *span = &batch->spans[task->node];
    if (span->first == SIZE_MAX) {
        span->first = batch->count;
    } else {
        batch->tasks[span->last].next = batch->count;
    }
    span->last = batch->count;
    struct ahead_task *added = &batch->tasks[batch->count++];
    *added = *task;
    added->block = copy;
    added->next = SIZE_MAX;
    batch->bytes += block ? block->count * sizeof(int32_t) : 0;
    return 0;
}

bool ahead_full(const struct ahead *ahead)
{
    return ahead->gathering->bytes >= BYTES_FULL || ahead->gathering->count >= TASKS_FULL;
}

bool ahead_empty(const struct ahead *ahead)
{
    return ahead->gathering->count == 0 && ahead->working->count == 0;
}

static int do_task(struct lane *lane, const struct ahead_task *task, struct error *error)
{
    switch (task->kind) {
    case AHEAD_PUSH:
        return lane_push(lane, task->block, error);
    case AHEAD_CLOCK:
        return lane_set_clock(lane, task->time_ns, task->clock_sd_ns, error);
    case AHEAD_ADVANCE:
        return lane_advance(lane, task->time_ns, error);
    }
    return 0;
}

static void do_next(struct share *share, struct ahead_task *task)
{
    share->now = task;
    task->had_begun = lane_has_begun(share->lane);
    task->failed = do_task(share->lane, task, &share->failure) != 0;
    if (!task->failed && share->short_of_memory) {
        (void)error_set(&share->failure, ERROR_MEMORY, "pipeline: out of memory");
        task->failed = true;
    }
    task->horizon_ns = lane_horizon_ns(share->lane);
    share->broken = task->failed;
}

/* A lane's tasks up to the first that fails. */
static void do_share(void *context, size_t node)
{
    struct ahead *ahead = context;
    struct batch *batch = ahead->working;
    struct share *share = &ahead->shares[node];
    size_t i = batch->spans[node].first;
    while (i != SIZE_MAX && !share->broken) {
        do_next(share, &batch->tasks[i]);
        i = batch->tasks[i].next;
    }
    share->now = NULL;
}

void ahead_turn(struct ahead *ahead, struct lane *const lanes[])
{
    crew_finish(ahead->crew);
    struct batch *done = ahead->working;
    ahead->working = ahead->gathering;
    ahead->gathering = done;
    for (size_t node = 0; node < ahead->node_count; node++) {
        ahead->shares[node].lane = lanes[node];
    }
    if (ahead->working->count > 0) {
        crew_begin(ahead->crew, do_share, ahead, ahead->node_count);
    }
}

size_t ahead_count(const struct ahead *ahead)
{
    return ahead->gathering->count;
}

const struct ahead_task *ahead_get(const struct ahead *ahead, size_t index)
{
    return &ahead->gathering->tasks[index];
}

const struct error *ahead_failure(const struct ahead *ahead, const struct ahead_task *task)
{
    return &ahead->shares[task->node].failure;
}

void ahead_tell(const struct ahead_task *task, const struct lane_sink *sink)
{
    for (const struct ahead_word *word = task->words; word; word = word->next) {
        switch (word->kind) {
        case WORD_OPENED:
            sink->opened(sink->context, &word->disturbance);
            break;
        case WORD_CLOSED:
            sink->closed(sink->context, &word->disturbance);
            break;
        case WORD_NOTICED:
            sink->noticed(sink->context, word->node, word->quantity, word->time_ns, word->text);
            break;
        case WORD_WATCHING:
            sink->watching(sink->context, word->node, word->quantity, word->time_ns);
            break;
        }
    }
}

void ahead_clear(struct ahead *ahead)
{
    forget_tasks(ahead->gathering, ahead->node_count);
}

void ahead_drop(struct ahead *ahead)
{
    crew_finish(ahead->crew);
    forget_tasks(ahead->working, ahead->node_count);
    forget_tasks(ahead->gathering, ahead->node_count);
    for (size_t node = 0; node < ahead->node_count; node++) {
        ahead->shares[node].broken = false;
        ahead->shares[node].short_of_memory = false;
    }
}
