/* A lock, the next job's number, and two conditions: there is work, all is done.
 * Must never hold the lock while a job runs. Called by ahead. */
#include "collector/pipeline/crew.h"

#include <stdbool.h>
#include <stdlib.h>
#include <uv.h>

#define THREADS_MAX 32u

struct crew {
    uv_mutex_t mutex;
    uv_cond_t asked;
    uv_cond_t done;
    uv_thread_t threads[THREADS_MAX];
    size_t thread_count; /* besides the caller's */
    bool leaving;
    void (*work)(void *context, size_t job);
    void *context;
    size_t next;
    size_t count;
    size_t left; /* not done yet */
};

/* With the lock held before and after: jobs for as long as there are any. */
static void work_off(struct crew *crew)
{
    while (crew->next < crew->count) {
        size_t job = crew->next++;
        uv_mutex_unlock(&crew->mutex);
        crew->work(crew->context, job);
        uv_mutex_lock(&crew->mutex);
        if (--crew->left == 0) {
            uv_cond_signal(&crew->done);
        }
    }
}

static void run_thread(void *argument)
{
    struct crew *crew = argument;
    uv_mutex_lock(&crew->mutex);
    while (!crew->leaving) {
        work_off(crew);
        if (!crew->leaving) {
            uv_cond_wait(&crew->asked, &crew->mutex);
        }
    }
    uv_mutex_unlock(&crew->mutex);
}

/* 0, or what went wrong. */
static int make_locks(struct crew *crew)
{
    int status = uv_mutex_init(&crew->mutex);
    if (status != 0) {
        return status;
    }
    status = uv_cond_init(&crew->asked);
    if (status != 0) {
        uv_mutex_destroy(&crew->mutex);
        return status;
    }
    status = uv_cond_init(&crew->done);
    if (status != 0) {
        uv_cond_destroy(&crew->asked);
        uv_mutex_destroy(&crew->mutex);
    }
    return status;
}

int crew_new(struct crew **crew, struct error *error)
{
    struct crew *made = calloc(1, sizeof *made);
    if (!made) {
        return error_set(error, ERROR_MEMORY, "threads: out of memory");
    }
    int status = make_locks(made);
    if (status != 0) {
        free(made);
        return error_set(error, ERROR_STATE, "threads: %s", uv_strerror(status));
    }
    size_t wanted = uv_available_parallelism() - 1;
    wanted = wanted < THREADS_MAX ? wanted : THREADS_MAX;
    while (made->thread_count < wanted) {
        status = uv_thread_create(&made->threads[made->thread_count], run_thread, made);
        if (status != 0) {
            crew_free(made);
            return error_set(error, ERROR_STATE, "threads: %s", uv_strerror(status));
        }
        made->thread_count++;
    }
    *crew = made;
    return 0;
}

void crew_free(struct crew *crew)
{
    if (!crew) {
        return;
    }
    uv_mutex_lock(&crew->mutex);
    crew->leaving = true;
    crew->next = crew->count;
    uv_cond_broadcast(&crew->asked);
    uv_mutex_unlock(&crew->mutex);
    for (size_t i = 0; i < crew->thread_count; i++) {
        (void)uv_thread_join(&crew->threads[i]);
    }
    uv_cond_destroy(&crew->done);
    uv_cond_destroy(&crew->asked);
    uv_mutex_destroy(&crew->mutex);
    free(crew);
}

void crew_begin(struct crew *crew, void (*work)(void *context, size_t job), void *context,
                size_t count)
{
    uv_mutex_lock(&crew->mutex);
    crew->work = work;
    crew->context = context;
    crew->next = 0;
    crew->count = count;
    crew->left = count;
    uv_cond_broadcast(&crew->asked);
    uv_mutex_unlock(&crew->mutex);
}

void crew_finish(struct crew *crew)
{
    uv_mutex_lock(&crew->mutex);
    work_off(crew);
    while (crew->left > 0) {
        uv_cond_wait(&crew->done, &crew->mutex);
    }
    uv_mutex_unlock(&crew->mutex);
}
