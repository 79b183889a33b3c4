/* A thread that sleeps until it is sent.
 * Must never let the loop wait but at the very end. Called by acts.c. */
#include "collector/record/errand.h"

#include <stdlib.h>

struct errand {
    void (*run)(void *context);
    void (*done)(void *context);
    void *context;
    bool busy; /* the loop's own */
    uv_thread_t thread;
    uv_async_t back;
    uv_mutex_t mutex;
    uv_cond_t sent;
    /* Under the mutex: */
    bool wanted;
    bool ending;
};

static void work(void *context)
{
    struct errand *errand = context;
    uv_mutex_lock(&errand->mutex);
    for (;;) {
        while (!errand->wanted && !errand->ending) {
            uv_cond_wait(&errand->sent, &errand->mutex);
        }
        if (errand->ending) {
            break;
        }
        errand->wanted = false;
        uv_mutex_unlock(&errand->mutex);
        errand->run(errand->context);
        (void)uv_async_send(&errand->back);
        uv_mutex_lock(&errand->mutex);
    }
    uv_mutex_unlock(&errand->mutex);
}

static void on_back(uv_async_t *back)
{
    struct errand *errand = back->data;
    errand->busy = false;
    errand->done(errand->context);
}

int errand_new(uv_loop_t *loop, void (*run)(void *context), void (*done)(void *context),
               void *context, struct errand **out, struct error *error)
{
    struct errand *errand = calloc(1, sizeof *errand);
    if (!errand || uv_mutex_init(&errand->mutex) != 0) {
        goto fail_mutex;
    }
    errand->run = run;
    errand->done = done;
    errand->context = context;
    errand->back.data = errand;
    if (uv_cond_init(&errand->sent) != 0) {
        goto fail_condition;
    }
    if (uv_async_init(loop, &errand->back, on_back) != 0) {
        goto fail_async;
    }
    if (uv_thread_create(&errand->thread, work, errand) != 0) {
        goto fail_thread;
    }
    *out = errand;
    return 0;
fail_thread:
    uv_close((uv_handle_t *)&errand->back, NULL);
    (void)uv_run(loop, UV_RUN_NOWAIT); /* the handle is inside of what is freed */
fail_async:
    uv_cond_destroy(&errand->sent);
fail_condition:
    uv_mutex_destroy(&errand->mutex);
fail_mutex:
    free(errand);
    return error_set(error, ERROR_MEMORY, "acts: no thread to read the night with");
}

bool errand_send(struct errand *errand)
{
    if (errand->busy) {
        return false;
    }
    errand->busy = true;
    uv_mutex_lock(&errand->mutex);
    errand->wanted = true;
    uv_cond_signal(&errand->sent);
    uv_mutex_unlock(&errand->mutex);
    return true;
}

bool errand_is_busy(const struct errand *errand)
{
    return errand->busy;
}

void errand_close(struct errand *errand)
{
    if (errand) {
        uv_mutex_lock(&errand->mutex);
        errand->ending = true;
        uv_cond_signal(&errand->sent);
        uv_mutex_unlock(&errand->mutex);
        (void)uv_thread_join(&errand->thread);
        uv_close((uv_handle_t *)&errand->back, NULL);
    }
}

void errand_free(struct errand *errand)
{
    if (errand) {
        uv_cond_destroy(&errand->sent);
        uv_mutex_destroy(&errand->mutex);
        free(errand);
    }
}
