/* What bench_ingest publishes, and the two subscribers it is compared with.
 * Must never be used by product code. */
#include "bench_ingest.h"

#include <inttypes.h>
#include <math.h>
#include <mosquitto.h>
#include <signal.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "common/clock.h"
#include "common/message.h"
#include "common/topic.h"
#include "common/wire.h"

#define WINDOW 64u
#define QUEUED_MAX 400u
#define BYTES_MAX (256u * 1024u)
#define STORED_EVERY 16u
#define COMMIT_EVERY_NS INT64_C(200000000)
#define DEADLINE_NS (INT64_C(200) * NS_PER_S)
#define HUM_COUNTS 40.0

const struct bench_channel bench_channels[BENCH_CHANNELS] = {
    {"magnetic.x", "T", "1.5e-08"},    {"magnetic.y", "T", "1.5e-08"},
    {"magnetic.z", "T", "1.5e-08"},    {"electric", "count", "1"},
    {"vibration.x", "m/s2", "0.0006"},
};

static uint64_t next_random(uint64_t *state)
{
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    return *state;
}

/* Near enough to Gaussian for a compressor: twelve uniform numbers. */
static double noise(uint64_t *state)
{
    double sum = -6;
    for (int i = 0; i < 12; i++) {
        sum += (double)(next_random(state) >> 11) / 9007199254740992.0;
    }
    return sum;
}

static void fill_counts(int32_t *counts, int n, int64_t first, uint64_t *state, double *walk)
{
    for (int i = 0; i < n; i++) {
        *walk += 0.02 * noise(state);
        double hum =
            HUM_COUNTS * sin(6.283185307179586 * 50.02 * (double)(first + i) / BENCH_RATE_HZ);
        counts[i] = (int32_t)lrint(4 * noise(state) + *walk + hum);
    }
}

static int encode_one(struct bench *bench, uint32_t node, int64_t index, uint64_t *state,
                      double walk[BENCH_CHANNELS], int64_t offset_ns)
{
    static int32_t counts[BENCH_CHANNELS][BLOCK_SAMPLES_MAX];
    static uint8_t bytes[BYTES_MAX];
    const int n = bench->block_samples;
    struct frame frame = {.boot = BENCH_BOOT, .seq = (uint64_t)index + 1, .oldest_seq = 1};
    int64_t t0_ns = NS_PER_S + index * n * (NS_PER_S / BENCH_RATE_HZ);
    frame.until_node_ns = t0_ns + n * (NS_PER_S / BENCH_RATE_HZ);
    frame.fit = (struct clock_fit){.known = true, .offset_ns = offset_ns, .uncertainty_ns = 100000};
    frame.block_count = BENCH_CHANNELS;
    for (uint16_t c = 0; c < BENCH_CHANNELS; c++) {
        fill_counts(counts[c], n, index * n, state, &walk[c]);
        frame.blocks[c] = (struct block){.channel = c,
                                         .encoding = BLOCK_INT32,
                                         .count = (uint32_t)n,
                                         .t0_ns = t0_ns,
                                         .period_ps = PS_PER_S / BENCH_RATE_HZ,
                                         .counts = counts[c]};
    }
    struct bench_message *message = &bench->messages[bench->message_count];
    struct error error;
    if (wire_encode(&frame, bytes, sizeof bytes, &message->length, &error) != 0) {
        fprintf(stderr, "%s\n", error.text);
        return -1;
    }
    message->bytes = malloc(message->length);
    if (!message->bytes) {
        return -1;
    }
    memcpy(message->bytes, bytes, message->length);
    message->node = node;
    message->seq = frame.seq;
    bench->message_count++;
    bench->byte_count += message->length;
    bench->sample_count += (uint64_t)n * BENCH_CHANNELS;
    return 0;
}

int bench_encode(struct bench *bench)
{
    const struct clock_source clock = clock_system();
    int64_t offset_ns = clock.real_ns(clock.context);
    int64_t frames = (int64_t)bench->seconds * BENCH_RATE_HZ / bench->block_samples;
    static double walk[BENCH_NODES_MAX][BENCH_CHANNELS];
    uint64_t state = 88172645463325252u;
    bench->messages = calloc((size_t)frames * bench->node_count, sizeof *bench->messages);
    if (!bench->messages) {
        return -1;
    }
    for (int64_t index = 0; index < frames; index++) {
        for (uint32_t node = 0; node < bench->node_count; node++) {
            if (encode_one(bench, node, index, &state, walk[node], offset_ns) != 0) {
                return -1;
            }
        }
    }
    return 0;
}

void bench_free(struct bench *bench)
{
    for (size_t i = 0; i < bench->message_count; i++) {
        free(bench->messages[i].bytes);
    }
    free(bench->messages);
}

struct publisher {
    const struct bench *bench;
    uint64_t stored[BENCH_NODES_MAX];
    uint64_t all_stored;
};

static size_t node_of(const char *topic)
{
    struct topic parsed;
    struct error error;
    return topic_parse(topic, &parsed, &error) == 0 ? (size_t)atoi(parsed.node + 1) : SIZE_MAX;
}

static void on_stored(struct mosquitto *mosq, void *context,
                      const struct mosquitto_message *message)
{
    (void)mosq;
    struct publisher *publisher = context;
    struct message_stored stored;
    struct error error;
    size_t node = node_of(message->topic);
    if (node < publisher->bench->node_count &&
        message_stored_read(message->payload, (size_t)message->payloadlen, &stored, &error) == 0 &&
        stored.boot == BENCH_BOOT && stored.seq > publisher->stored[node]) {
        publisher->all_stored += stored.seq - publisher->stored[node];
        publisher->stored[node] = stored.seq;
    }
}

static struct mosquitto *connect_to(const struct bench *bench, const char *id, void *context)
{
    (void)mosquitto_lib_init();
    struct mosquitto *mosq = mosquitto_new(id, true, context);
    if (!mosq) {
        return NULL;
    }
    (void)mosquitto_int_option(mosq, MOSQ_OPT_SEND_MAXIMUM, (int)QUEUED_MAX);
    for (int i = 0; i < 200; i++) {
        if (mosquitto_connect(mosq, "127.0.0.1", bench->port, 60) == MOSQ_ERR_SUCCESS) {
            return mosq;
        }
        (void)usleep(20000);
    }
    mosquitto_destroy(mosq);
    return NULL;
}

static void say_hello(struct mosquitto *mosq, const struct bench *bench, size_t node)
{
    struct message_hello hello = {.boot = BENCH_BOOT, .channel_count = BENCH_CHANNELS};
    struct error error;
    struct text json = {0};
    char topic[TOPIC_SIZE];
    char name[IDENT_SIZE];
    for (size_t c = 0; c < BENCH_CHANNELS; c++) {
        (void)channel_init(&hello.channels[c], bench_channels[c].name, bench_channels[c].unit,
                           BENCH_RATE_HZ, &error);
        (void)decimal_parse(bench_channels[c].step, strlen(bench_channels[c].step),
                            &hello.channels[c].step, &error);
    }
    (void)snprintf(name, sizeof name, "n%zu", node);
    topic_format(TOPIC_HELLO, bench->site, name, topic);
    if (message_hello_write(&hello, &json) == 0) {
        (void)mosquitto_publish(mosq, NULL, topic, (int)json.length, json.bytes, 1, true);
    }
    text_free(&json);
}

/* Sends what the window allows; true when all has been sent. */
static bool send_some(struct publisher *publisher, struct mosquitto *mosq, size_t *next)
{
    const struct bench *bench = publisher->bench;
    char topic[TOPIC_SIZE];
    char name[IDENT_SIZE];
    for (size_t i = 0; i < 32 && *next < bench->message_count; i++) {
        const struct bench_message *message = &bench->messages[*next];
        if (message->seq > publisher->stored[message->node] + WINDOW) {
            return false;
        }
        (void)snprintf(name, sizeof name, "n%" PRIu32, message->node);
        topic_format(TOPIC_BLOCKS, bench->site, name, topic);
        (void)mosquitto_publish(mosq, NULL, topic, (int)message->length, message->bytes, 1, false);
        (*next)++;
    }
    return *next == bench->message_count;
}

int bench_publish(struct bench *bench, int64_t *start_ns)
{
    const struct clock_source clock = clock_system();
    struct publisher publisher = {.bench = bench};
    struct mosquitto *mosq = connect_to(bench, "bench-publisher", &publisher);
    char filter[TOPIC_SIZE];
    size_t next = 0;
    if (!mosq) {
        return -1;
    }
    (void)sleep(1); /* the subscriber's start is not what is measured */
    mosquitto_message_callback_set(mosq, on_stored);
    for (size_t node = 0; node < bench->node_count; node++) {
        say_hello(mosq, bench, node);
    }
    topic_format_filter(TOPIC_STORED, bench->site, filter);
    (void)mosquitto_subscribe(mosq, NULL, filter, 1);
    *start_ns = clock.mono_ns(clock.context);
    int64_t deadline_ns = *start_ns + DEADLINE_NS;
    while (publisher.all_stored < bench->message_count &&
           clock.mono_ns(clock.context) < deadline_ns) {
        bool sent = send_some(&publisher, mosq, &next);
        (void)mosquitto_loop(mosq, sent ? 10 : 1, 64);
    }
    (void)mosquitto_disconnect(mosq);
    mosquitto_destroy(mosq);
    return publisher.all_stored >= bench->message_count ? 0 : -1;
}

struct subscriber {
    const struct bench *bench;
    struct mosquitto *mosq;
    uint64_t seq[BENCH_NODES_MAX];
    uint64_t told[BENCH_NODES_MAX];
    uint64_t count;
    sqlite3 *database;
    sqlite3_stmt *insert;
    struct wire_arena arena;
    int64_t commit_ns;
};

static void tell(struct subscriber *subscriber, size_t node)
{
    struct message_stored stored = {BENCH_BOOT, subscriber->seq[node]};
    struct text json = {0};
    char topic[TOPIC_SIZE];
    char name[IDENT_SIZE];
    if (subscriber->told[node] == subscriber->seq[node]) {
        return;
    }
    (void)snprintf(name, sizeof name, "n%zu", node);
    topic_format(TOPIC_STORED, subscriber->bench->site, name, topic);
    if (message_stored_write(&stored, &json) == 0) {
        (void)mosquitto_publish(subscriber->mosq, NULL, topic, (int)json.length, json.bytes, 1,
                                true);
        subscriber->told[node] = subscriber->seq[node];
    }
    text_free(&json);
}

static void store_rows(struct subscriber *subscriber, size_t node, const uint8_t *bytes,
                       size_t length)
{
    struct frame frame;
    struct error error;
    if (wire_decode(bytes, length, &subscriber->arena, &frame, &error) != 0) {
        fprintf(stderr, "bench_ingest: %s\n", error.text);
        return;
    }
    for (size_t b = 0; b < frame.block_count; b++) {
        for (uint32_t i = 0; i < frame.blocks[b].count; i++) {
            (void)sqlite3_bind_int64(subscriber->insert, 1, (int64_t)node);
            (void)sqlite3_bind_int64(subscriber->insert, 2, (int64_t)b);
            (void)sqlite3_bind_int64(
                subscriber->insert, 3,
                clock_fit_site_ns(&frame.fit, block_time_ns(&frame.blocks[b], i)));
            (void)sqlite3_bind_int64(subscriber->insert, 4, frame.blocks[b].counts[i]);
            (void)sqlite3_step(subscriber->insert);
            (void)sqlite3_reset(subscriber->insert);
        }
    }
}

static void on_blocks(struct mosquitto *mosq, void *context,
                      const struct mosquitto_message *message)
{
    (void)mosq;
    struct subscriber *subscriber = context;
    size_t node = node_of(message->topic);
    uint64_t boot;
    struct error error;
    if (node >= subscriber->bench->node_count ||
        wire_peek(message->payload, (size_t)message->payloadlen, &boot, &subscriber->seq[node],
                  &error) != 0) {
        return;
    }
    subscriber->count++;
    if (subscriber->database) {
        store_rows(subscriber, node, message->payload, (size_t)message->payloadlen);
    } else if (subscriber->seq[node] % STORED_EVERY == 0 ||
               subscriber->count >= subscriber->bench->message_count) {
        for (size_t i = 0; i < subscriber->bench->node_count; i++) {
            tell(subscriber, i);
        }
    }
}

static int open_rows(struct subscriber *subscriber)
{
    char path[BENCH_PATH_SIZE + 16];
    (void)snprintf(path, sizeof path, "%s/rows.sqlite", subscriber->bench->folder);
    return sqlite3_open(path, &subscriber->database) == SQLITE_OK &&
                   sqlite3_exec(subscriber->database,
                                "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;"
                                "CREATE TABLE sample(node INTEGER, channel INTEGER, t_ns INTEGER,"
                                " count INTEGER) STRICT; BEGIN",
                                NULL, NULL, NULL) == SQLITE_OK &&
                   sqlite3_prepare_v2(subscriber->database, "INSERT INTO sample VALUES(?,?,?,?)",
                                      -1, &subscriber->insert, NULL) == SQLITE_OK
               ? 0
               : -1;
}

static void commit(struct subscriber *subscriber)
{
    (void)sqlite3_exec(subscriber->database, "COMMIT; BEGIN", NULL, NULL, NULL);
    for (size_t i = 0; i < subscriber->bench->node_count; i++) {
        tell(subscriber, i);
    }
}

static volatile sig_atomic_t over;

static void on_term(int number)
{
    (void)number;
    over = 1;
}

int bench_subscribe(const struct bench *bench, bool rows)
{
    const struct clock_source clock = clock_system();
    static struct subscriber subscriber;
    subscriber.bench = bench;
    (void)signal(SIGTERM, on_term);
    subscriber.mosq = connect_to(bench, "bench-subscriber", &subscriber);
    if (!subscriber.mosq || (rows && open_rows(&subscriber) != 0)) {
        return 1;
    }
    char filter[TOPIC_SIZE];
    topic_format_filter(TOPIC_BLOCKS, bench->site, filter);
    mosquitto_message_callback_set(subscriber.mosq, on_blocks);
    (void)mosquitto_subscribe(subscriber.mosq, NULL, filter, 1);
    while (!over) {
        (void)mosquitto_loop(subscriber.mosq, 10, 64);
        int64_t now_ns = clock.mono_ns(clock.context);
        if (rows && now_ns > subscriber.commit_ns + COMMIT_EVERY_NS) {
            commit(&subscriber);
            subscriber.commit_ns = now_ns;
        }
    }
    if (rows) {
        (void)sqlite3_exec(subscriber.database, "COMMIT; PRAGMA journal_mode=DELETE", NULL, NULL,
                           NULL);
        (void)sqlite3_finalize(subscriber.insert);
        (void)sqlite3_close(subscriber.database);
    }
    wire_arena_free(&subscriber.arena);
    mosquitto_destroy(subscriber.mosq);
    return 0;
}
