/* Server-sent events (WHATWG HTML, section 9.2): each reader has a place in the ring and the piece
 * that is on its way. Must never keep lines for a reader. Called by server.c and the HTTP library.
 */
#include "collector/web/stream.h"

#include <stdlib.h>
#include <string.h>

/* What is handed over at a time, beyond one event. */
#define PIECE_BYTES 8192u
#define BLOCK_BYTES 4096u

struct stream {
    struct web_streams *streams;
    struct MHD_Connection *connection;
    struct stream *before;
    struct stream *after;
    uint64_t next; /* the line to be told next */
    uint64_t fresh;
    uint64_t version;
    uint64_t acts;    /* the version it was told last */
    bool begin_again; /* it missed what is not kept any more */
    bool standing;    /* it is to be told how things stand */
    bool begun;
    bool asleep;
    struct text piece;
    size_t sent;
};

struct web_streams {
    struct web_live *live;
    struct stream *first;
    size_t count;
    bool ending;
};

int web_streams_new(struct web_live *live, struct web_streams **out, struct error *error)
{
    struct web_streams *streams = calloc(1, sizeof *streams);
    if (!streams) {
        return error_set(error, ERROR_MEMORY, "page: out of memory");
    }
    streams->live = live;
    *out = streams;
    return 0;
}

void web_streams_free(struct web_streams *streams)
{
    free(streams);
}

static bool has_news(const struct stream *stream)
{
    const struct web_live *live = stream->streams->live;
    return stream->standing || stream->version != web_live_version(live) ||
           stream->acts != web_live_acts_version(live) || stream->next != web_live_next(live) ||
           stream->fresh != web_live_fresh_next(live);
}

/* Newest wins: who is too late for some bundles is told so and goes on with the next. */
static void fill_fresh(struct stream *stream)
{
    const struct web_live *live = stream->streams->live;
    if (stream->fresh < web_live_fresh_first(live)) {
        (void)text_append_format(&stream->piece, "event: missed\ndata: {}\n\n");
        stream->fresh = web_live_fresh_next(live);
    }
    while (stream->fresh < web_live_fresh_next(live) && stream->piece.length < PIECE_BYTES) {
        const struct text *event = web_live_fresh_event(live, stream->fresh);
        if (!event->failed) {
            (void)text_append(&stream->piece, event->bytes, event->length);
        }
        stream->fresh++;
    }
}

static void fill(struct stream *stream)
{
    const struct web_live *live = stream->streams->live;
    text_clear(&stream->piece);
    stream->sent = 0;
    if (!stream->begun) {
        (void)text_append_format(&stream->piece, "retry: 2000\n\n");
        stream->begun = true;
    }
    if (stream->begin_again || stream->next < web_live_first(live)) {
        (void)text_append_format(&stream->piece, "event: again\ndata: {}\n\n");
        stream->next = web_live_first(live);
        stream->begin_again = false;
    }
    if (stream->standing || stream->version != web_live_version(live)) {
        (void)web_live_standing(live, &stream->piece);
        stream->version = web_live_version(live);
        stream->standing = false;
    }
    if (stream->acts != web_live_acts_version(live)) {
        web_live_acts_event(live, &stream->piece);
        stream->acts = web_live_acts_version(live);
    }
    while (stream->next < web_live_next(live) && stream->piece.length < PIECE_BYTES) {
        const struct text *event = web_live_event(live, stream->next);
        if (!event->failed) {
            (void)text_append(&stream->piece, event->bytes, event->length);
        }
        stream->next++;
    }
    fill_fresh(stream);
}

static ssize_t on_read(void *context, uint64_t position, char *out, size_t size)
{
    struct stream *stream = context;
    (void)position;
    if (stream->sent == stream->piece.length) {
        fill(stream);
    }
    if (stream->piece.failed) {
        return MHD_CONTENT_READER_END_WITH_ERROR;
    }
    size_t left = stream->piece.length - stream->sent;
    if (left == 0 && stream->streams->ending) {
        return MHD_CONTENT_READER_END_OF_STREAM;
    }
    if (left == 0) {
        stream->asleep = true;
        MHD_suspend_connection(stream->connection);
        return 0;
    }
    size_t length = left < size ? left : size;
    memcpy(out, stream->piece.bytes + stream->sent, length);
    stream->sent += length;
    return (ssize_t)length;
}

static void on_gone(void *context)
{
    struct stream *stream = context;
    if (stream->before) {
        stream->before->after = stream->after;
    } else {
        stream->streams->first = stream->after;
    }
    if (stream->after) {
        stream->after->before = stream->before;
    }
    stream->streams->count--;
    web_live_watch(stream->streams->live, stream->streams->count > 0);
    text_free(&stream->piece);
    free(stream);
}

struct MHD_Response *web_streams_open(struct web_streams *streams,
                                      struct MHD_Connection *connection, const char *last_id)
{
    struct stream *stream = streams->count < WEB_STREAMS_MAX ? calloc(1, sizeof *stream) : NULL;
    if (!stream) {
        return NULL;
    }
    stream->streams = streams;
    stream->connection = connection;
    stream->standing = true;
    stream->begin_again = !web_live_after(streams->live, last_id, &stream->next);
    struct MHD_Response *response =
        MHD_create_response_from_callback(MHD_SIZE_UNKNOWN, BLOCK_BYTES, on_read, stream, on_gone);
    if (!response) {
        free(stream);
        return NULL;
    }
    stream->after = streams->first;
    if (streams->first) {
        streams->first->before = stream;
    }
    streams->first = stream;
    streams->count++;
    stream->fresh = web_live_fresh_next(streams->live);
    web_live_watch(streams->live, true);
    return response;
}

void web_streams_wake(struct web_streams *streams, bool beat)
{
    web_live_flush(streams->live);
    for (struct stream *stream = streams->first; stream; stream = stream->after) {
        stream->standing = stream->standing || beat;
        if (stream->asleep && (streams->ending || has_news(stream))) {
            stream->asleep = false;
            MHD_resume_connection(stream->connection);
        }
    }
}

void web_streams_end(struct web_streams *streams)
{
    streams->ending = true;
    web_streams_wake(streams, false);
}
