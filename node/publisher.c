/* Which frame goes out next, and when to begin again.
 * Must never send a frame twice without need, nor skip one that is held. Called by node.c. */
#include "node/publisher.h"

#include <stdlib.h>
#include <string.h>

#include "common/log.h"
#include "common/topic.h"
#include "common/wire.h"

#define OLD_HELLO_SIZE 16384u
#define READ_TRIES 100
#define WINDOW_AFTER_STALL 4u /* while nobody stores, a few frames are enough to ask with */

struct publisher {
    char topics[TOPIC_STORED + 1][TOPIC_SIZE];
    struct message_hello hello;
    struct spool *spool;
    struct publisher_link link;
    enum publisher_state state;
    struct clock_fit fit;
    uint64_t told_boot;  /* an earlier boot whose hello was sent for its frames; 0 for none */
    uint64_t out_boot;   /* of the frame that was last sent */
    uint64_t cursor;     /* the next to send */
    uint64_t window;     /* at most so many beyond the first */
    int64_t progress_ns; /* when the collector last stored more, or we last began again */
    int read_failures;
    struct message_state last_state;
    bool has_state;
    uint8_t bytes[WIRE_MESSAGE_MAX];
};

int publisher_new(const struct publisher_setup *setup, struct publisher **out, struct error *error)
{
    struct publisher *publisher = calloc(1, sizeof *publisher);
    if (!publisher) {
        return error_set(error, ERROR_MEMORY, "publisher: out of memory");
    }
    for (int kind = TOPIC_HELLO; kind <= TOPIC_STORED; kind++) {
        topic_format((enum topic_kind)kind, setup->site, setup->node, publisher->topics[kind]);
    }
    publisher->hello = *setup->hello;
    publisher->spool = setup->spool;
    publisher->link = setup->link;
    publisher->window = PUBLISHER_WINDOW;
    publisher->cursor = spool_first(setup->spool);
    *out = publisher;
    return 0;
}

void publisher_free(struct publisher *publisher)
{
    free(publisher);
}

static void set_state(struct publisher *publisher, enum publisher_state state)
{
    static const char *const names[] = {"offline", "draining", "waiting"};
    if (publisher->state != state) {
        log_debug("publisher: %s -> %s", names[publisher->state], names[state]);
        publisher->state = state;
    }
}

/* ---- small messages ---- */

static int send_text(struct publisher *publisher, enum topic_kind kind, struct text *text, int rc,
                     struct error *error)
{
    if (rc || text->failed) {
        text_free(text);
        return error_set(error, ERROR_MEMORY, "%s: not to be written", publisher->topics[kind]);
    }
    rc = publisher->link.publish(publisher->link.context, publisher->topics[kind], text->bytes,
                                 text->length, 1, true, error);
    text_free(text);
    return rc;
}

static int send_hello(struct publisher *publisher, struct error *error)
{
    struct text text = {0};
    int rc = message_hello_write(&publisher->hello, &text);
    return send_text(publisher, TOPIC_HELLO, &text, rc, error);
}

static int send_state(struct publisher *publisher, struct error *error)
{
    struct text text = {0};
    int rc = message_state_write(&publisher->last_state, &text);
    return send_text(publisher, TOPIC_STATE, &text, rc, error);
}

int publisher_will(struct text *out)
{
    struct message_state gone;
    memset(&gone, 0, sizeof gone);
    gone.gone = true;
    return message_state_write(&gone, out);
}

/* ---- frames ---- */

/* An earlier boot's frames are read by the channels it had: its hello goes ahead of them, not
 * retained, since it is not who the node is now. */
static int send_old_hello(struct publisher *publisher, uint64_t boot, struct error *error)
{
    char text[OLD_HELLO_SIZE];
    size_t length;
    if (spool_read_hello(publisher->spool, boot, text, sizeof text, &length, error)) {
        log_warning("%s", error->text);
    } else if (publisher->link.publish(publisher->link.context, publisher->topics[TOPIC_HELLO],
                                       text, length, 1, false, error)) {
        return -1;
    }
    publisher->told_boot = boot;
    return 0;
}

/* The frame at the cursor cannot be read. It is given up once all before it are stored, so that the
 * collector is told by oldest_seq; a disk that only fails to answer gets more tries. */
static int pass_damaged(struct publisher *publisher, const struct error *error)
{
    if (publisher->cursor > spool_first(publisher->spool) ||
        (error->code == ERROR_IO && ++publisher->read_failures < READ_TRIES)) {
        return 0;
    }
    log_error("%s: frame given up", error->text);
    spool_drop_first(publisher->spool);
    publisher->cursor = spool_first(publisher->spool);
    publisher->read_failures = 0;
    return 1;
}

/* What `stored` says of a boot forgets all earlier ones, so frames of two boots are never out at
 * once: the tail of the earlier one may have been lost on the way. */
static bool waits_for_earlier_boot(const struct publisher *publisher, uint64_t boot)
{
    return publisher->cursor > spool_first(publisher->spool) && boot != publisher->out_boot;
}

/* 1: gone on; 0: not now; -1: the link failed. */
static int send_frame(struct publisher *publisher)
{
    struct spool_frame frame;
    struct error error;
    if (spool_read(publisher->spool, publisher->cursor, publisher->bytes, sizeof publisher->bytes,
                   &frame, &error)) {
        return pass_damaged(publisher, &error);
    }
    bool own = frame.boot == publisher->hello.boot;
    if ((own && !publisher->fit.known) || waits_for_earlier_boot(publisher, frame.boot)) {
        return 0;
    }
    struct clock_fit none = {0};
    uint64_t oldest = spool_oldest_seq(publisher->spool, frame.boot, frame.seq);
    if (wire_restamp(publisher->bytes, frame.length, oldest, own ? &publisher->fit : &none,
                     &error)) {
        return pass_damaged(publisher, &error);
    }
    if ((!own && frame.boot != publisher->told_boot &&
         send_old_hello(publisher, frame.boot, &error)) ||
        publisher->link.publish(publisher->link.context, publisher->topics[TOPIC_BLOCKS],
                                publisher->bytes, frame.length, 1, false, &error)) {
        log_warning("frame not sent: %s", error.text);
        return -1;
    }
    publisher->read_failures = 0;
    publisher->out_boot = frame.boot;
    publisher->cursor++;
    return 1;
}

static void begin_again(struct publisher *publisher, uint64_t window, int64_t now_ns)
{
    publisher->window = window;
    publisher->cursor = spool_first(publisher->spool);
    publisher->told_boot = 0;
    publisher->progress_ns = now_ns;
}

void publisher_pump(struct publisher *publisher, int64_t now_ns)
{
    if (publisher->state == PUBLISHER_OFFLINE) {
        return;
    }
    uint64_t first = spool_first(publisher->spool);
    if (publisher->cursor <= first) { /* nothing is out: nobody is late */
        publisher->cursor = first;
        publisher->progress_ns = now_ns;
    } else if (now_ns - publisher->progress_ns >= PUBLISHER_STALL_NS) {
        log_info("nothing stored for 5 s: beginning again");
        begin_again(publisher, WINDOW_AFTER_STALL, now_ns);
    }
    int sent = 1;
    while (sent > 0 && publisher->cursor < spool_end(publisher->spool) &&
           publisher->cursor - spool_first(publisher->spool) < publisher->window) {
        set_state(publisher, PUBLISHER_DRAINING);
        sent = send_frame(publisher);
    }
    set_state(publisher, PUBLISHER_WAITING);
}

void publisher_set_fit(struct publisher *publisher, const struct clock_fit *fit, int64_t now_ns)
{
    publisher->fit = *fit;
    publisher_pump(publisher, now_ns);
}

/* ---- what comes in ---- */

void publisher_up(struct publisher *publisher, int64_t now_ns)
{
    struct error error;
    set_state(publisher, PUBLISHER_WAITING);
    begin_again(publisher, PUBLISHER_WINDOW, now_ns);
    if (send_hello(publisher, &error) ||
        publisher->link.subscribe(publisher->link.context, publisher->topics[TOPIC_STORED], 1,
                                  &error) ||
        (publisher->has_state && send_state(publisher, &error))) {
        log_error("%s", error.text);
        return;
    }
    publisher_pump(publisher, now_ns);
}

void publisher_down(struct publisher *publisher)
{
    set_state(publisher, PUBLISHER_OFFLINE);
}

void publisher_message(struct publisher *publisher, const char *topic, const uint8_t *payload,
                       size_t length, int64_t now_ns)
{
    struct message_stored stored;
    struct error error;
    if (strcmp(topic, publisher->topics[TOPIC_STORED]) != 0 || length == 0) {
        return;
    }
    if (message_stored_read((const char *)payload, length, &stored, &error)) {
        log_warning("%s: %s", topic, error.text);
        return;
    }
    uint64_t before = spool_first(publisher->spool);
    spool_forget(publisher->spool, stored.boot, stored.seq);
    if (spool_first(publisher->spool) > before) {
        publisher->progress_ns = now_ns;
        publisher->window *= 2;
        if (publisher->window > PUBLISHER_WINDOW) {
            publisher->window = PUBLISHER_WINDOW;
        }
    } else if (publisher->cursor > before &&
               now_ns - publisher->progress_ns >= PUBLISHER_REPEAT_NS) {
        log_info("the collector misses frames: beginning again");
        begin_again(publisher, WINDOW_AFTER_STALL, now_ns);
    }
    publisher_pump(publisher, now_ns);
}

void publisher_set_state(struct publisher *publisher, const struct message_state *state)
{
    struct error error;
    publisher->last_state = *state;
    publisher->has_state = true;
    if (publisher->state != PUBLISHER_OFFLINE && send_state(publisher, &error)) {
        log_warning("%s", error.text);
    }
}

enum publisher_state publisher_state(const struct publisher *publisher)
{
    return publisher->state;
}
