/* Who calls whom: drivers -> frames -> spool -> publisher -> broker; time server -> fit.
 * Must never keep samples back, nor end with a frame unwritten. Called by main.c. */
#include "node/node_inside.h"

#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "common/log.h"
#include "common/service.h"
#include "node/health.h"

#define SPOOL_HURRY_FRAMES PUBLISHER_WINDOW
#define TICK_NS (NS_PER_S / 2)
#define END_LIMIT_MS 1500
#define SENSORS_FIRST_NS (20 * NS_PER_S)
#define SENSORS_EVERY_NS (300 * NS_PER_S)

/* ---- another boot ---- */

/* What was sampled before keeps the line of before; nothing is sampled any more. */
static void on_awake(uv_check_t *check)
{
    struct node *node = check->data;
    int64_t slept_ns = clock_slept_ns(&node->clock) - node->slept_before_ns;
    if (node->ending || (slept_ns <= 0 && !node->found)) {
        return;
    }
    if (slept_ns > 0) {
        node->next = (struct anew){.away_ns = slept_ns, .why = "the machine was suspended"};
    } else {
        node->next.since_ns = node_now_ns(node);
    }
    node->over = true;
    node->ending = true;
    sampler_keep(node->sampler);
}

/* From within a turn of the sampler: it ends in on_awake, when that turn is over. */
static void on_found(void *context, const char *which)
{
    struct node *node = context;
    node->found = true;
    (void)snprintf(node->next.why, sizeof node->next.why, "%.40s was missing and came", which);
}

/* ---- frames and time ---- */

static void on_frame(void *context, struct frame *frame)
{
    struct node *node = context;
    struct error error;
    size_t length;
    frame->fit = *timekeeper_fit(node->timekeeper);
    clock_fit_widen(&frame->fit, sampler_clock_sd_ns(node->sampler));
    frame->oldest_seq = spool_oldest_seq(node->spool, frame->boot, frame->seq);
    if (wire_encode(frame, node->bytes, sizeof node->bytes, &length, &error)) {
        log_error("frame %llu is lost: %s", (unsigned long long)frame->seq, error.text);
        return;
    }
    spool_append(node->spool, frame->boot, frame->seq, node->bytes, length);
    publisher_pump(node->publisher, node_now_ns(node));
}

static bool may_hurry(void *context)
{
    const struct node *node = context;
    return spool_end(node->spool) - spool_first(node->spool) < SPOOL_HURRY_FRAMES;
}

static void on_fit(void *context, const struct clock_fit *fit)
{
    struct node *node = context;
    struct clock_fit wide = *fit; /* a board's own clock comes on top */
    clock_fit_widen(&wide, sampler_clock_sd_ns(node->sampler));
    publisher_set_fit(node->publisher, &wide, node_now_ns(node));
}

static void send_state(struct node *node, int64_t now_ns, bool gone)
{
    struct message_state state;
    struct health_sources sources = {.boot = node->hello.boot,
                                     .timekeeper = node->timekeeper,
                                     .spool = node->spool,
                                     .sampler = node->sampler,
                                     .battery = &node->battery,
                                     .sensors = gone || now_ns >= node->sensors_ns,
                                     .since_ns = node->since_ns};
    double battery_v = sampler_battery_v(node->sampler);
    if (!isnan(battery_v)) {
        battery_take(&node->battery, now_ns, battery_v);
    }
    if (now_ns >= node->sensors_ns) {
        node->sensors_ns = now_ns + SENSORS_EVERY_NS;
    }
    health_fill(&sources, now_ns, &state);
    state.gone = gone;
    publisher_set_state(node->publisher, &state);
}

static void on_health(void *context, int64_t now_ns)
{
    send_state(context, now_ns, false);
}

static void on_tick(void *context, int64_t now_ns)
{
    struct node *node = context;
    service_alive();
    publisher_pump(node->publisher, now_ns);
}

/* ---- building ---- */

static int make_publisher(struct node *node, struct error *error)
{
    size_t count;
    const struct channel *channels = sampler_get_channels(node->sampler, &count);
    snprintf(node->hello.software, sizeof node->hello.software, "%s", ROOMWAKE_VERSION);
    node->hello.channel_count = count;
    memcpy(node->hello.channels, channels, count * sizeof *channels);
    struct publisher_setup setup = {.site = node->config->site,
                                    .node = node->config->node,
                                    .hello = &node->hello,
                                    .spool = node->spool,
                                    .link = node_broker_link(node)};
    struct text text = {0};
    struct error why;
    if (message_hello_write(&node->hello, &text)) {
        text_free(&text);
        return error_set(error, ERROR_RANGE, "the drivers' channels are not to be told");
    }
    if (spool_keep_hello(node->spool, node->hello.boot, text.bytes, text.length, &why)) {
        log_warning("%s", why.text);
    }
    text_free(&text);
    return publisher_new(&setup, &node->publisher, error);
}

static int make_boot(uint64_t *boot, struct error *error)
{
    *boot = 0;
    while (*boot == 0) {
        int rc = uv_random(NULL, NULL, boot, sizeof *boot, 0, NULL);
        if (rc) {
            return error_set(error, ERROR_IO, "random numbers: %s", uv_strerror(rc));
        }
    }
    return 0;
}

static int build(struct node *node, const struct anew *before, struct error *error)
{
    const struct node_config *config = node->config;
    const struct kernel_clock kernel = kernel_clock_system();
    struct sampler_setup sampler = {.loop = &node->loop,
                                    .clock = node->clock,
                                    .config = config,
                                    .context = node,
                                    .on_frame = on_frame,
                                    .may_hurry = may_hurry,
                                    .on_found = on_found};
    struct timekeeper_setup time = {.loop = &node->loop,
                                    .clock = node->clock,
                                    .host = config->time_host,
                                    .port = config->time_port,
                                    .burst_every_ns = config->burst_every_ns,
                                    .burst_size = config->burst_size,
                                    .kernel = config->clock_system ? &kernel : NULL,
                                    .context = node,
                                    .on_fit = on_fit};
    if (make_boot(&node->hello.boot, error)) {
        return -1;
    }
    sampler.boot = node->hello.boot;
    sampler.away_ns = anew_away_ns(before, node_now_ns(node));
    sampler.away_why = before->why;
    if (spool_open(config->spool_path, config->spool_max_bytes, &node->spool, error) ||
        sampler_new(&sampler, &node->sampler, error) ||
        timekeeper_new(&time, &node->timekeeper, error) || make_publisher(node, error) ||
        node_make_broker(node, error)) {
        return -1;
    }
    return 0;
}

static void free_all(struct node *node)
{
    mqtt_uv_free(node->mqtt);
    publisher_free(node->publisher);
    timekeeper_free(node->timekeeper);
    sampler_free(node->sampler);
    spool_close(node->spool);
}

/* ---- running and ending ---- */

static void on_end_limit(uv_timer_t *timer)
{
    ((struct node *)timer->data)->end_is_late = true;
}

/* Inputs first, then what they fed; the loop then runs out of handles by itself. */
static void end(struct node *node)
{
    node->ending = true;
    service_ending();
    sampler_stop(node->sampler);
    timekeeper_stop(node->timekeeper);
    send_state(node, node_now_ns(node), true);
    mqtt_uv_stop(node->mqtt, NULL, NULL);
    pace_close(&node->tick_pace);
    pace_close(&node->health_pace);
    flusher_close(&node->flusher);
    uv_timer_start(&node->end_limit, on_end_limit, END_LIMIT_MS, 0);
    uv_unref((uv_handle_t *)&node->end_limit);
    for (int i = 0; i < 2; i++) {
        uv_unref((uv_handle_t *)&node->signals[i]);
    }
}

static void on_signal(uv_signal_t *handle, int number)
{
    struct node *node = handle->data;
    if (node->ending) {
        _exit(1);
    }
    log_info("signal %d: ending", number);
    end(node);
}

static void start(struct node *node)
{
    static const int numbers[2] = {SIGINT, SIGTERM};
    uv_timer_init(&node->loop, &node->end_limit);
    node->end_limit.data = node;
    for (int i = 0; i < 2; i++) {
        uv_signal_init(&node->loop, &node->signals[i]);
        node->signals[i].data = node;
        uv_signal_start(&node->signals[i], on_signal, numbers[i]);
    }
    uv_check_init(&node->loop, &node->awake);
    node->awake.data = node;
    uv_check_start(&node->awake, on_awake);
    uv_unref((uv_handle_t *)&node->awake);
    flusher_start(&node->loop, &node->flusher, node->spool, &node->clock);
    pace_start(&node->loop, &node->health_pace, &node->clock, node->config->state_every_ns,
               on_health, node);
    pace_start(&node->loop, &node->tick_pace, &node->clock, TICK_NS, on_tick, node);
    mqtt_uv_start(node->mqtt);
    timekeeper_start(node->timekeeper);
    node->since_ns = node_now_ns(node);
    sampler_start(node->sampler);
    battery_init(&node->battery, node->config->battery_empty_v);
    node->sensors_ns = node_now_ns(node) + SENSORS_FIRST_NS;
    send_state(node, node_now_ns(node), false);
    service_ready();
    log_info("node %s of site %s: boot %016llx, %zu channels", node->config->node,
             node->config->site, (unsigned long long)node->hello.boot, node->hello.channel_count);
}

static void close_rest(struct node *node)
{
    uv_close((uv_handle_t *)&node->end_limit, NULL);
    uv_close((uv_handle_t *)&node->awake, NULL);
    for (int i = 0; i < 2; i++) {
        uv_close((uv_handle_t *)&node->signals[i], NULL);
    }
    uv_run(&node->loop, UV_RUN_DEFAULT);
}

int node_run(const struct node_config *config, const struct clock_source *clock,
             const struct anew *before, struct anew *next, struct error *error)
{
    struct node *node = calloc(1, sizeof *node);
    if (!node) {
        return error_set(error, ERROR_MEMORY, "node: out of memory");
    }
    node->config = config;
    node->clock = *clock;
    node->slept_before_ns = clock_slept_ns(clock);
    int rc = uv_loop_init(&node->loop);
    if (rc < 0) {
        free(node);
        return error_set(error, ERROR_IO, "loop: %s", uv_strerror(rc));
    }
    rc = build(node, before, error);
    if (rc == 0) {
        start(node);
        while (!node->end_is_late && !node->over && uv_run(&node->loop, UV_RUN_ONCE) != 0) {
        }
        if (node->over) { /* the process ends anyway: nothing is torn down */
            *next = node->next;
            spool_close(node->spool);
            return NODE_ANEW;
        }
        if (node->end_is_late) { /* a look-up that hangs cannot be called off */
            spool_close(node->spool);
            _exit(0);
        }
        close_rest(node);
    }
    free_all(node);
    if (uv_loop_close(&node->loop) != 0) {
        log_error("a handle was left open");
    }
    free(node);
    return rc;
}
