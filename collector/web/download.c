/* Downloads: one thread and one pipe each.
 * Must never join a thread that still writes into a pipe that is open at this end. Called by
 * routes.c and the HTTP library. */
#include "collector/web/download.h"

#include <errno.h>
#include <fcntl.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define BLOCK_BYTES 32768u

struct download {
    struct web_downloads *downloads;
    struct MHD_Connection *connection;
    const char *format;
    int from;
    int to;
    uv_poll_t poll;
    bool asleep;
    bool gone;
    uv_thread_t thread;
    atomic_bool written; /* the thread is at its end */
    atomic_bool failed;
};

struct web_downloads {
    struct web_downloads_settings settings;
    struct download *places[WEB_DOWNLOADS_MAX];
    uv_async_t written;
    bool ending;
};

static void write_all(void *context)
{
    struct download *download = context;
    const struct web_downloads_settings *settings = &download->downloads->settings;
    struct error error = {0};
    FILE *out = fdopen(download->to, "w");
    if (!out) {
        (void)close(download->to);
        atomic_store(&download->failed, true);
    } else {
        bool bad = settings->write(settings->context, download->format, out, &error) != 0;
        bad = fclose(out) != 0 || bad;
        atomic_store(&download->failed, bad);
    }
    atomic_store(&download->written, true);
    (void)uv_async_send(&download->downloads->written);
}

static void on_closed(uv_handle_t *handle)
{
    free(handle->data);
}

static void let_go(struct download *download)
{
    for (size_t i = 0; i < WEB_DOWNLOADS_MAX; i++) {
        if (download->downloads->places[i] == download) {
            download->downloads->places[i] = NULL;
        }
    }
    (void)uv_thread_join(&download->thread);
    uv_close((uv_handle_t *)&download->poll, on_closed);
}

static void on_written(uv_async_t *async)
{
    struct web_downloads *downloads = async->data;
    for (size_t i = 0; i < WEB_DOWNLOADS_MAX; i++) {
        struct download *download = downloads->places[i];
        if (download && download->gone && atomic_load(&download->written)) {
            let_go(download);
        }
    }
}

static void wake(struct download *download)
{
    if (download->asleep) {
        download->asleep = false;
        (void)uv_poll_stop(&download->poll);
        MHD_resume_connection(download->connection);
    }
}

static void on_readable(uv_poll_t *poll, int status, int events)
{
    struct download *download = poll->data;
    (void)status;
    (void)events;
    wake(download);
    download->downloads->settings.resumed(download->downloads->settings.resumed_context);
}

static ssize_t on_read(void *context, uint64_t position, char *out, size_t size)
{
    struct download *download = context;
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

/* The pipe's end is closed here, so a thread that still writes fails and ends. */
static void on_gone(void *context)
{
    struct download *download = context;
    download->gone = true;
    (void)uv_poll_stop(&download->poll);
    (void)close(download->from);
    if (atomic_load(&download->written)) {
        let_go(download);
    }
}

static int start(struct download *download, uv_loop_t *loop, struct error *error)
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

static struct download **free_place(struct web_downloads *downloads)
{
    for (size_t i = 0; i < WEB_DOWNLOADS_MAX; i++) {
        if (!downloads->places[i]) {
            return &downloads->places[i];
        }
    }
    return NULL;
}

struct MHD_Response *web_downloads_open(struct web_downloads *downloads,
                                        struct MHD_Connection *connection, const char *format,
                                        struct error *error)
{
    struct download **place = free_place(downloads);
    if (!place) {
        (void)error_set(error, ERROR_FULL, "%u are being exported already", WEB_DOWNLOADS_MAX);
        return NULL;
    }
    struct download *download = calloc(1, sizeof *download);
    if (!download) {
        (void)error_set(error, ERROR_MEMORY, "page: out of memory");
        return NULL;
    }
    download->downloads = downloads;
    download->connection = connection;
    download->format = format;
    if (start(download, downloads->settings.loop, error) != 0) {
        free(download);
        return NULL;
    }
    if (uv_thread_create(&download->thread, write_all, download) != 0) {
        (void)error_set(error, ERROR_MEMORY, "page: no thread to export the night");
        (void)close(download->to);
        (void)close(download->from);
        uv_close((uv_handle_t *)&download->poll, on_closed);
        return NULL;
    }
    *place = download;
    struct MHD_Response *response = MHD_create_response_from_callback(MHD_SIZE_UNKNOWN, BLOCK_BYTES,
                                                                      on_read, download, on_gone);
    if (!response) {
        (void)error_set(error, ERROR_MEMORY, "page: out of memory");
        on_gone(download);
    }
    return response;
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
