/* A thread between a character device and a ring of records.
 * Must never be waited for: whoever lets go last frees. Called by iio_buffer.c. */
#include "node/drivers/iio_stream.h"

#include <errno.h>
#include <poll.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define RING 4096
#define WAIT_MS 200
#define READ_RECORDS 64

struct iio_stream {
    pthread_mutex_t lock;
    int file;
    size_t size;
    uint8_t ring[RING][IIO_RECORD_MOST];
    size_t in;
    size_t out;
    char fault[96];
    bool stop;
    int holders;
};

static void let_go(struct iio_stream *stream)
{
    bool last = --stream->holders == 0;
    pthread_mutex_unlock(&stream->lock);
    if (last) {
        (void)close(stream->file);
        pthread_mutex_destroy(&stream->lock);
        free(stream);
    }
}

/* Keeps whole records; returns how many bytes of a begun one are left at the front. */
static size_t keep(struct iio_stream *stream, uint8_t *bytes, size_t length)
{
    size_t used = 0;
    while (length - used >= stream->size && !stream->fault[0]) {
        if (stream->in - stream->out == RING) {
            (void)strcpy(stream->fault, "samples came faster than they were taken");
            break;
        }
        memcpy(stream->ring[stream->in++ % RING], bytes + used, stream->size);
        used += stream->size;
    }
    memmove(bytes, bytes + used, length - used);
    return length - used;
}

static void *run(void *context)
{
    struct iio_stream *stream = context;
    uint8_t bytes[READ_RECORDS * IIO_RECORD_MOST];
    size_t held = 0;
    pthread_mutex_lock(&stream->lock);
    while (!stream->stop && !stream->fault[0]) {
        struct pollfd wait = {.fd = stream->file, .events = POLLIN};
        pthread_mutex_unlock(&stream->lock);
        int ready = poll(&wait, 1, WAIT_MS);
        ssize_t got = ready > 0 ? read(stream->file, bytes + held, sizeof bytes - held) : -2;
        int why = errno;
        pthread_mutex_lock(&stream->lock);
        if (got > 0) {
            held = keep(stream, bytes, held + (size_t)got);
        } else if (got == 0 || (got == -1 && why != EAGAIN && why != EINTR)) {
            (void)strncpy(stream->fault, got == 0 ? "the device ended" : strerror(why),
                          sizeof stream->fault - 1);
        }
    }
    let_go(stream);
    return NULL;
}

struct iio_stream *iio_stream_start(int file, size_t record_size)
{
    struct iio_stream *stream = calloc(1, sizeof *stream);
    pthread_t thread;
    if (!stream) {
        (void)close(file);
        return NULL;
    }
    stream->file = file;
    stream->size = record_size;
    stream->holders = 2;
    pthread_mutex_init(&stream->lock, NULL);
    if (pthread_create(&thread, NULL, run, stream)) {
        pthread_mutex_lock(&stream->lock);
        stream->holders = 1;
        let_go(stream);
        return NULL;
    }
    pthread_detach(thread);
    return stream;
}

int iio_stream_take(struct iio_stream *stream, uint8_t record[IIO_RECORD_MOST], struct error *error)
{
    pthread_mutex_lock(&stream->lock);
    int got = stream->in != stream->out ? 1 : stream->fault[0] ? -1 : 0;
    if (got == 1) {
        memcpy(record, stream->ring[stream->out++ % RING], stream->size);
    } else if (got < 0) {
        (void)error_set(error, ERROR_IO, "%s", stream->fault);
    }
    pthread_mutex_unlock(&stream->lock);
    return got;
}

void iio_stream_stop(struct iio_stream *stream)
{
    if (stream) {
        pthread_mutex_lock(&stream->lock);
        stream->stop = true;
        let_go(stream);
    }
}
