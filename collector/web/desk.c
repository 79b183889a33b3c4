/* The reader's thread, its queue, and the way back to the loop.
 * Must never touch a connection from its thread. Called by server.c; the thread runs `work`. */
#include "collector/web/desk.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct list {
    struct web_question *first;
    struct web_question **end;
};

struct web_desk {
    char *path;
    uv_thread_t thread;
    uv_mutex_t mutex;
    uv_cond_t asked;
    uv_async_t done;
    /* Under the mutex: */
    struct list waiting;
    struct list answered;
    size_t count;
    bool ending;
    /* The thread's own: */
    struct web_night night;
};

static void append(struct list *list, struct web_question *question)
{
    question->next = NULL;
    *list->end = question;
    list->end = &question->next;
}

static struct web_question *take(struct list *list)
{
    struct web_question *question = list->first;
    if (question) {
        list->first = question->next;
        list->end = list->first ? list->end : &list->first;
    }
    return question;
}

static void close_night(struct web_desk *desk)
{
    night_reader_close(desk->night.reader);
    site_free(desk->night.site);
    memset(&desk->night, 0, sizeof desk->night);
}

/* The info is read anew each time: a night that is being recorded may have ended. */
static int open_night(struct web_desk *desk, struct error *error)
{
    struct web_night *night = &desk->night;
    if (!night->reader && night_reader_open(desk->path, &night->reader, error) != 0) {
        return -1;
    }
    if (night_read_info(night->reader, &night->info, error) != 0) {
        return -1;
    }
    return night->site ? 0 : night_read_site(night->reader, 0, &night->site, error);
}

static void answer(struct web_desk *desk, struct web_question *question)
{
    struct error *error = &question->error;
    int result = open_night(desk, error);
    if (result == 0) {
        result = question->answer(&desk->night, &question->query, &question->out, error);
        if (result == 0 && question->out.failed) {
            result = error_set(error, ERROR_MEMORY, "page: out of memory");
        }
    }
    question->failed = result != 0;
    if (result != 0 && error->code != ERROR_NOT_FOUND && error->code != ERROR_RANGE) {
        close_night(desk); /* the next one opens the file afresh */
    }
}

static void work(void *context)
{
    struct web_desk *desk = context;
    uv_mutex_lock(&desk->mutex);
    while (!desk->ending) {
        struct web_question *question = take(&desk->waiting);
        if (!question) {
            uv_cond_wait(&desk->asked, &desk->mutex);
            continue;
        }
        uv_mutex_unlock(&desk->mutex);
        answer(desk, question);
        uv_mutex_lock(&desk->mutex);
        append(&desk->answered, question);
        (void)uv_async_send(&desk->done);
    }
    uv_mutex_unlock(&desk->mutex);
    close_night(desk);
}

static void on_done(uv_async_t *done)
{
    struct web_desk *desk = done->data;
    for (;;) {
        uv_mutex_lock(&desk->mutex);
        struct web_question *question = take(&desk->answered);
        desk->count -= question ? 1 : 0;
        uv_mutex_unlock(&desk->mutex);
        if (!question) {
            return;
        }
        question->answered(question);
    }
}

int web_desk_new(uv_loop_t *loop, const char *path, struct web_desk **out, struct error *error)
{
    struct web_desk *desk = calloc(1, sizeof *desk);
    char *copy = strdup(path);
    if (!desk || !copy) {
        free(desk);
        free(copy);
        return error_set(error, ERROR_MEMORY, "page: out of memory");
    }
    desk->path = copy;
    desk->waiting.end = &desk->waiting.first;
    desk->answered.end = &desk->answered.first;
    desk->done.data = desk;
    if (uv_mutex_init(&desk->mutex) != 0) {
        goto fail_mutex;
    }
    if (uv_cond_init(&desk->asked) != 0) {
        goto fail_condition;
    }
    if (uv_async_init(loop, &desk->done, on_done) != 0) {
        goto fail_async;
    }
    if (uv_thread_create(&desk->thread, work, desk) != 0) {
        goto fail_thread;
    }
    *out = desk;
    return 0;
fail_thread:
    uv_close((uv_handle_t *)&desk->done, NULL);
    (void)uv_run(loop, UV_RUN_NOWAIT); /* the handle is inside of what is freed */
fail_async:
    uv_cond_destroy(&desk->asked);
fail_condition:
    uv_mutex_destroy(&desk->mutex);
fail_mutex:
    free(copy);
    free(desk);
    return error_set(error, ERROR_MEMORY, "page: no thread to read the night");
}

int web_desk_ask(struct web_desk *desk, struct web_question *question, struct error *error)
{
    uv_mutex_lock(&desk->mutex);
    bool full = desk->count == WEB_DESK_MAX || desk->ending;
    if (!full) {
        desk->count++;
        append(&desk->waiting, question);
        uv_cond_signal(&desk->asked);
    }
    uv_mutex_unlock(&desk->mutex);
    return full ? error_set(error, ERROR_FULL, "too much is being asked; ask again") : 0;
}

void web_desk_close(struct web_desk *desk)
{
    if (!desk) {
        return;
    }
    uv_mutex_lock(&desk->mutex);
    desk->ending = true;
    uv_cond_signal(&desk->asked);
    uv_mutex_unlock(&desk->mutex);
    (void)uv_thread_join(&desk->thread);
    on_done(&desk->done);
    struct web_question *question = NULL;
    while ((question = take(&desk->waiting)) != NULL) {
        question->failed = true;
        (void)error_set(&question->error, ERROR_STATE, "the page is being closed");
        question->answered(question);
    }
    uv_close((uv_handle_t *)&desk->done, NULL);
}

void web_desk_free(struct web_desk *desk)
{
    if (desk) {
        uv_cond_destroy(&desk->asked);
        uv_mutex_destroy(&desk->mutex);
        free(desk->path);
        free(desk);
    }
}
