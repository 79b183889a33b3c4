/* Downloads: one thread and one pipe each.
 * Must never join a thread that still writes into a pipe that is open at this end. Called by
 * export.c and the HTTP library. */
#include "collector/web/download.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define BLOCK_BYTES 32768u

struct web_download {
    struct web_downloads *downloads;
    struct MHD_Connection *connection;
    const char *format;
    bool check_only;
    int from;
    int to;
    uv_poll_t poll;
    bool asleep;
    bool gone;
    bool closed; /* its handle */
    bool joined; /* its thread */
    uv_thread_t thread;
    volatile sig_atomic_t stop;
    struct error error;  /* where it failed, before that is said */
    atomic_bool failed;  /* said before the pipe ends */
    atomic_bool written; /* the thread is at its end */
};

struct web_downloads {
    struct web_downloads_settings settings;
    struct web_download *places[WEB_DOWNLOADS_MAX];
    uv_async_t written;
    bool ending;
};

/* Whether it failed is said before the pipe ends: who reads the end must not take it for whole. */
static void write_all(void *context)
{
    struct web_download *download = context;
    const struct web_downloads_settings *settings = &download->downloads->settings;
    struct error *error = &download->error;
    FILE *out = fdopen(download->to, "w");
    bool bad = false;
    if (!out) {
        bad = true;
        (void)error_set(error, ERROR_MEMORY, "page: out of memory");
    } else {
        bad = settings->write(settings->context, download->format,
                              download->check_only ? NULL : out, &download->stop, error) != 0;
        if (!bad && fflush(out) != 0) {
            bad = true;
            (void)error_set(error, ERROR_IO, "page: the reader is gone");
        }
    }
    atomic_store(&download->failed, bad);
    (void)(out ? fclose(out) : close(download->to));
    atomic_store(&download->written, true);
    (void)uv_async_send(&download->downloads->written);
}

static void free_when_done(struct web_download *download)
{
    if (download->joined && download->closed) {
        free(download);
    }
}

static void on_closed(uv_handle_t *handle)
{
    struct web_download *download = handle->data;
    download->closed = true;
    free_when_done(download);
}

static void let_go(struct web_download *download)
{
    for (size_t i = 0; i < WEB_DOWNLOADS_MAX; i++) {
        if (download->downloads->places[i] == download) {
            download->downloads->places[i] = NULL;
        }
    }
    (void)uv_thread_join(&download->thread);
    download->joined = true;
    free_when_done(download);
}

static void on_written(uv_async_t *async)
{
    struct web_downloads *downloads = async->data;
    for (size_t i = 0; i < WEB_DOWNLOADS_MAX; i++) {
        struct web_download *download = downloads->places[i];
        if (download && download->gone && atomic_load(&download->written)) {
            let_go(download);
        }
    }
}

static void wake(struct web_download *download)
{
    if (download->asleep) {
        download->asleep = false;
        (void)uv_poll_stop(&download->poll);
        MHD_resume_connection(download->connection);
    }
}

static void on_readable(uv_poll_t *poll, int status, int events)
{
    struct web_download *download = poll->data;
    (void)status;
    (void)events;
    wake(download);
    download->downloads->settings.resumed(download->downloads->settings.resumed_context);
}

static ssize_t on_read(void *context, uint64_t position, char *out, size_t size)
{
    struct web_download *download = context;
    (void)position;
    ssize_t length = read(download->from, out, size);
    if (length > 0) {
        return length;
    }
    if (length == 0) {
        return atomic_load(&download->failed) ? MHD_CONTENT_READER_END_WITH_ERROR
                                              : MHD_CONTENT_READER_END_OF_STREAM;
    }
    if ((errno != EAGAIN && errno != EINTR) || download->downloads->ending ||
        uv_poll_start(&download->poll, UV_READABLE, on_readable) != 0) {
        return MHD_CONTENT_READER_END_WITH_ERROR;
    }
    download->asleep = true;
    MHD_suspend_connection(download->connection);
    return 0;
}

/* The pipe's end is closed here, so a thread that still writes fails and ends. Its handle first:
 * the next pipe may get the same number while the thread ends. */
static void on_gone(void *context)
{
    struct web_download *download = context;
    download->gone = true;
    download->asleep = false;
    download->stop = 1;
    uv_close((uv_handle_t *)&download->poll, on_closed);
    (void)close(download->from);
    if (atomic_load(&download->written)) {
        let_go(download);
    }
}

static int open_pipe(struct web_download *download, uv_loop_t *loop, struct error *error)
{
    int ends[2];
    if (pipe2(ends, O_CLOEXEC) != 0) {
        return error_set(error, ERROR_IO, "pipe: %s", strerror(errno));
    }
    download->from = ends[0];
    download->to = ends[1];
    if (fcntl(ends[0], F_SETFL, O_NONBLOCK) != 0 ||
        uv_poll_init(loop, &download->poll, ends[0]) != 0) {
        (void)close(ends[0]);
        (void)close(ends[1]);
        return error_set(error, ERROR_IO, "pipe: can't be watched");
    }
    download->poll.data = download;
    return 0;
}

static struct web_download **free_place(struct web_downloads *downloads)
{
    for (size_t i = 0; i < WEB_DOWNLOADS_MAX; i++) {
        if (!downloads->places[i]) {
            return &downloads->places[i];
        }
    }
    return NULL;
}

static int start(struct web_download *download, struct error *error)
{
    if (open_pipe(download, download->downloads->settings.loop, error) != 0) {
        free(download);
        return -1;
    }
    if (uv_poll_start(&download->poll, UV_READABLE, on_readable) != 0 ||
        uv_thread_create(&download->thread, write_all, download) != 0) {
        download->joined = true; /* it never began */
        uv_close((uv_handle_t *)&download->poll, on_closed);
        (void)close(download->to);
        (void)close(download->from);
        return error_set(error, ERROR_MEMORY, "page: no thread to export the night");
    }
    return 0;
}

int web_downloads_begin(struct web_downloads *downloads, struct MHD_Connection *connection,
                        const char *format, bool check_only, struct web_download **out,
                        struct error *error)
{
    struct web_download **place = free_place(downloads);
    if (!place || downloads->ending) {
        return error_set(error, ERROR_FULL, "%u are being exported already", WEB_DOWNLOADS_MAX);
    }
    struct web_download *download = calloc(1, sizeof *download);
    if (!download) {
        return error_set(error, ERROR_MEMORY, "page: out of memory");
    }
    download->downloads = downloads;
    download->connection = connection;
    download->format = format;
    download->check_only = check_only;
    if (start(download, error) != 0) {
        return -1;
    }
    *place = download;
    *out = download;
    download->asleep = true;
    MHD_suspend_connection(connection);
    return 0;
}

void web_download_leave(struct web_download *download)
{
    on_gone(download);
}

struct MHD_Response *web_download_answer(struct web_download *download, struct error *error)
{
    struct pollfd pipe = {.fd = download->from, .events = POLLIN};
    bool begun = poll(&pipe, 1, 0) == 1;
    bool ended = begun && !(pipe.revents & POLLIN);
    if (!begun) {
        (void)error_set(error, ERROR_STATE, "the page is being closed");
    } else if (ended && atomic_load(&download->failed)) {
        *error = download->error;
    } else {
        struct MHD_Response *response = MHD_create_response_from_callback(
            MHD_SIZE_UNKNOWN, BLOCK_BYTES, on_read, download, on_gone);
        if (response) {
            return response;
        }
        (void)error_set(error, ERROR_MEMORY, "page: out of memory");
    }
    on_gone(download);
    return NULL;
}

int web_downloads_new(const struct web_downloads_settings *settings, struct web_downloads **out,
                      struct error *error)
{
    struct web_downloads *downloads = calloc(1, sizeof *downloads);
    if (!downloads) {
        return error_set(error, ERROR_MEMORY, "page: out of memory");
    }
    downloads->settings = *settings;
    if (uv_async_init(settings->loop, &downloads->written, on_written) != 0) {
        free(downloads);
        return error_set(error, ERROR_MEMORY, "page: out of memory");
    }
    downloads->written.data = downloads;
    *out = downloads;
    return 0;
}

void web_downloads_end(struct web_downloads *downloads)
{
    if (!downloads) {
        return;
    }
    downloads->ending = true;
    for (size_t i = 0; i < WEB_DOWNLOADS_MAX; i++) {
        if (downloads->places[i]) {
            downloads->places[i]->stop = 1;
            wake(downloads->places[i]);
        }
    }
}

void web_downloads_close(struct web_downloads *downloads)
{
    if (!downloads) {
        return;
    }
    for (size_t i = 0; i < WEB_DOWNLOADS_MAX; i++) {
        if (downloads->places[i]) {
            let_go(downloads->places[i]);
        }
    }
    uv_close((uv_handle_t *)&downloads->written, NULL);
}

void web_downloads_free(struct web_downloads *downloads)
{
    free(downloads);
}
