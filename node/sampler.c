/* Asks each driver when it wants to be asked, and cuts frames in between.
 * Must never ask in a hurry what fails, nor promise what a driver has not handed over. Called by
 * node.c and by libuv. */
#include "node/sampler.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "common/log.h"
#include "node/outage.h"
#include "node/pace.h"

#define OPEN_AGAIN_LEAST_NS NS_PER_S
#define OPEN_AGAIN_MOST_NS (60 * NS_PER_S)
#define HELD_BACK_NS INT64_C(20000000)
#define HURRIED_POLLS 16 /* in one turn, so that the loop's other work gets its share */

struct source {
    struct sampler *sampler;
    const struct node_driver_config *config;
    struct driver *driver; /* NULL while it is closed */
    size_t first;          /* its first channel, counted over the node */
    size_t count;
    int64_t told_ns; /* all samples before are handed over */
    int64_t next_ns; /* to be asked, or opened, again */
    int64_t pause_ns;
    bool behind; /* it has more to tell than it told */
    char fault[160];
    struct outage outage;
};

struct sampler {
    struct sampler_setup setup;
    struct channel channels[NODE_CHANNELS_MAX];
    size_t channel_count;
    struct source sources[NODE_DRIVERS_MAX];
    size_t source_count;
    struct cutter *cutter;
    uv_timer_t timer;
    bool started;
    int64_t cut_ns; /* the next frame is due */
    size_t battery; /* its channel; SIZE_MAX where there is none */
    double battery_v;
};

static int64_t read_ns(const struct sampler *sampler)
{
    return sampler->setup.clock.mono_ns(sampler->setup.clock.context);
}

/* ---- what drivers call ---- */

static void note_battery(struct sampler *sampler, size_t channel, int32_t count)
{
    if (channel == sampler->battery) {
        sampler->battery_v = channel_value(&sampler->channels[channel], count);
    }
}

static void end_outage(struct source *source, size_t channel, int64_t first_ns, int64_t last_ns)
{
    bool on_change = source->sampler->channels[source->first + channel].period_ps == 0;
    int64_t from_ns;
    if (outage_end(&source->outage, channel, on_change, first_ns, last_ns, &from_ns)) {
        cutter_hole(source->sampler->cutter, source->first + channel, from_ns, first_ns,
                    source->outage.why);
    }
}

static void on_samples(void *context, size_t channel, int64_t t0_ns, int64_t period_ps,
                       const int32_t *counts, size_t count)
{
    struct source *source = context;
    if (channel < source->count && count > 0) {
        struct block run = {.t0_ns = t0_ns, .period_ps = period_ps};
        end_outage(source, channel, t0_ns, block_time_ns(&run, (uint32_t)(count - 1)));
        cutter_samples(source->sampler->cutter, source->first + channel, t0_ns, period_ps, counts,
                       count);
        note_battery(source->sampler, source->first + channel, counts[count - 1]);
    }
}

static void on_change(void *context, size_t channel, int64_t time_ns, int32_t count)
{
    struct source *source = context;
    if (channel < source->count) {
        end_outage(source, channel, time_ns, time_ns);
        cutter_change(source->sampler->cutter, source->first + channel, time_ns, count);
        note_battery(source->sampler, source->first + channel, count);
    }
}

static void on_hole(void *context, size_t channel, int64_t start_ns, int64_t end_ns,
                    const char *reason)
{
    struct source *source = context;
    if (channel < source->count) {
        cutter_hole(source->sampler->cutter, source->first + channel, start_ns, end_ns, reason);
    }
}

/* ---- drivers ---- */

static int open_driver(struct source *source, struct channel *channels, size_t size, size_t *count,
                       struct error *error)
{
    const struct sampler *sampler = source->sampler;
    struct driver_setup setup = {.settings = source->config->settings,
                                 .path = source->config->path,
                                 .config_dir = sampler->setup.config->dir,
                                 .clock = sampler->setup.clock};
    return source->config->type->open(&setup, &source->driver, channels, size, count, error);
}

static bool same_channel(const struct channel *a, const struct channel *b)
{
    return strcmp(a->name, b->name) == 0 && strcmp(a->unit, b->unit) == 0 &&
           a->period_ps == b->period_ps && a->step.mantissa == b->step.mantissa &&
           a->step.exponent == b->step.exponent && a->offset.mantissa == b->offset.mantissa &&
           a->offset.exponent == b->offset.exponent;
}

/* The hello of this boot stands: a driver that comes back must bring the same channels. */
static int open_again(struct source *source, struct error *error)
{
    struct channel channels[NODE_CHANNELS_MAX];
    size_t count = 0;
    if (open_driver(source, channels, NODE_CHANNELS_MAX, &count, error)) {
        source->driver = NULL;
        return -1;
    }
    bool same = count == source->count;
    for (size_t i = 0; same && i < count; i++) {
        same = same_channel(&channels[i], &source->sampler->channels[source->first + i]);
    }
    if (!same) {
        source->config->type->close(source->driver);
        source->driver = NULL;
        return error_set(error, ERROR_STATE, "it came back with other channels");
    }
    return 0;
}

static void set_fault(struct source *source, int64_t now_ns, const struct error *error)
{
    if (strncmp(source->fault, error->text, sizeof source->fault - 10) != 0) {
        log_warning("%s %s: %s", source->config->path, source->config->type->name, error->text);
    }
    snprintf(source->fault, sizeof source->fault, "%.150s", error->text);
    if (source->driver) {
        source->config->type->close(source->driver);
        source->driver = NULL;
    }
    outage_begin(&source->outage, source->told_ns, error->text);
    source->behind = false;
    source->told_ns = now_ns;
    int64_t most_ns = source->config->type->pause_most_ns;
    most_ns = most_ns > 0 ? most_ns : OPEN_AGAIN_MOST_NS;
    source->pause_ns = source->pause_ns < most_ns ? source->pause_ns : most_ns;
    source->next_ns = now_ns + source->pause_ns;
    source->pause_ns *= 2;
}

static void ask(struct source *source, int64_t now_ns)
{
    struct error error = {0};
    struct driver_sink sink = {source, on_samples, on_change, on_hole};
    if (!source->driver) {
        source->told_ns = now_ns;
        if (source->next_ns > now_ns) {
            return;
        }
        if (open_again(source, &error)) {
            set_fault(source, now_ns, &error);
            return;
        }
    }
    int64_t next_ns = INT64_MAX;
    if (source->config->type->poll(source->driver, now_ns, &sink, &next_ns, &error)) {
        set_fault(source, now_ns, &error);
        return;
    }
    source->fault[0] = '\0';
    source->pause_ns = OPEN_AGAIN_LEAST_NS;
    source->next_ns = next_ns;
    source->behind = next_ns <= now_ns;
    source->told_ns = source->behind ? next_ns : now_ns;
    if (source->config->type->told_ns && !source->behind) {
        source->told_ns = source->config->type->told_ns(source->driver, now_ns);
    }
}

/* ---- turns ---- */

static void advance(struct sampler *sampler, bool now)
{
    int64_t until_ns = INT64_MAX;
    for (size_t i = 0; i < sampler->source_count; i++) {
        if (sampler->sources[i].told_ns < until_ns) {
            until_ns = sampler->sources[i].told_ns;
        }
    }
    cutter_advance(sampler->cutter, until_ns, now);
}

/* A driver that is behind real time goes on at once, as long as the frames find a way out. */
static void catch_up(struct sampler *sampler, struct source *source, int64_t now_ns)
{
    for (int i = 0; i < HURRIED_POLLS && source->behind; i++) {
        if (!sampler->setup.may_hurry(sampler->setup.context)) {
            return;
        }
        ask(source, now_ns);
        advance(sampler, false);
    }
}

/* One turn: all that is due is asked; before a cut, all are. */
static void turn(struct sampler *sampler, int64_t now_ns, bool cut)
{
    for (size_t i = 0; i < sampler->source_count; i++) {
        struct source *source = &sampler->sources[i];
        if (source->behind) {
            catch_up(sampler, source, now_ns);
        } else if (source->driver && source->next_ns == INT64_MAX) {
            source->told_ns = now_ns;
        } else if (!source->driver || cut || source->next_ns <= now_ns) {
            ask(source, now_ns);
        }
    }
}

static void on_timer(uv_timer_t *timer)
{
    struct sampler *sampler = timer->data;
    int64_t block_ns = sampler->setup.config->block_ns;
    int64_t now_ns = read_ns(sampler);
    bool cut = now_ns >= sampler->cut_ns;
    turn(sampler, now_ns, cut);
    advance(sampler, false);
    if (cut) {
        sampler->cut_ns += ((now_ns - sampler->cut_ns) / block_ns + 1) * block_ns;
    }
    int64_t due_ns = sampler->cut_ns;
    for (size_t i = 0; i < sampler->source_count; i++) {
        const struct source *source = &sampler->sources[i];
        bool free_to_go = source->behind && sampler->setup.may_hurry(sampler->setup.context);
        int64_t next_ns =
            source->behind ? now_ns + (free_to_go ? 0 : HELD_BACK_NS) : source->next_ns;
        due_ns = next_ns < due_ns ? next_ns : due_ns;
    }
    uv_update_time(timer->loop);
    uv_timer_start(timer, on_timer, pace_delay_ms(&sampler->setup.clock, read_ns(sampler), due_ns),
                   0);
}

/* ---- what others call ---- */

static int add_source(struct sampler *sampler, const struct node_driver_config *config,
                      struct error *error)
{
    struct source *source = &sampler->sources[sampler->source_count];
    *source = (struct source){.sampler = sampler,
                              .config = config,
                              .first = sampler->channel_count,
                              .pause_ns = OPEN_AGAIN_LEAST_NS};
    outage_init(&source->outage);
    struct channel *channels = &sampler->channels[source->first];
    if (open_driver(source, channels, NODE_CHANNELS_MAX - source->first, &source->count, error)) {
        source->driver = NULL;
        return -1;
    }
    sampler->source_count++;
    for (size_t i = 0; i < source->count; i++) {
        for (size_t k = 0; k < sampler->channel_count; k++) {
            if (strcmp(channels[i].name, sampler->channels[k].name) == 0) {
                return error_set(error, ERROR_FORMAT, "%s: another driver has a channel %s too",
                                 config->path, channels[i].name);
            }
        }
        if (channels[i].quantity == QUANTITY_BATTERY) {
            sampler->battery = source->first + i;
        }
        sampler->channel_count++;
    }
    return 0;
}

int sampler_new(const struct sampler_setup *setup, struct sampler **out, struct error *error)
{
    struct sampler *sampler = calloc(1, sizeof *sampler);
    if (!sampler) {
        return error_set(error, ERROR_MEMORY, "sampler: out of memory");
    }
    sampler->setup = *setup;
    sampler->battery = SIZE_MAX;
    sampler->battery_v = NAN;
    for (size_t i = 0; i < setup->config->driver_count; i++) {
        if (add_source(sampler, &setup->config->drivers[i], error)) {
            sampler_free(sampler);
            return -1;
        }
    }
    if (cutter_new(sampler->channel_count, setup->boot, setup->config->block_ns, setup->on_frame,
                   setup->context, &sampler->cutter, error)) {
        sampler_free(sampler);
        return -1;
    }
    if (setup->away_ns > 0) {
        int64_t now_ns = read_ns(sampler);
        cutter_hole(sampler->cutter, 0, now_ns - setup->away_ns, now_ns, setup->away_why);
    }
    *out = sampler;
    return 0;
}

const struct channel *sampler_get_channels(const struct sampler *sampler, size_t *count)
{
    *count = sampler->channel_count;
    return sampler->channels;
}

void sampler_start(struct sampler *sampler)
{
    uv_timer_init(sampler->setup.loop, &sampler->timer);
    sampler->timer.data = sampler;
    sampler->started = true;
    int64_t now_ns = read_ns(sampler);
    sampler->cut_ns = now_ns + sampler->setup.config->block_ns;
    turn(sampler, now_ns, true);
    advance(sampler, false);
    uv_timer_start(&sampler->timer, on_timer, 1, 0);
}

void sampler_stop(struct sampler *sampler)
{
    if (!sampler->started) {
        return;
    }
    sampler->started = false;
    uv_close((uv_handle_t *)&sampler->timer, NULL);
    turn(sampler, read_ns(sampler), true);
    advance(sampler, true);
}

void sampler_keep(struct sampler *sampler)
{
    sampler->started = false;
    (void)uv_timer_stop(&sampler->timer);
    advance(sampler, true);
}

void sampler_free(struct sampler *sampler)
{
    if (!sampler) {
        return;
    }
    for (size_t i = 0; i < sampler->source_count; i++) {
        if (sampler->sources[i].driver) {
            sampler->sources[i].config->type->close(sampler->sources[i].driver);
        }
    }
    cutter_free(sampler->cutter);
    free(sampler);
}

void sampler_note(const struct sampler *sampler, char *note, size_t size)
{
    size_t used = 0;
    note[0] = '\0';
    for (size_t i = 0; i < sampler->source_count && used < size; i++) {
        const struct source *source = &sampler->sources[i];
        const struct driver_type *type = source->config->type;
        char fault[sizeof source->fault];
        memcpy(fault, source->fault, sizeof fault);
        if (!fault[0] && source->driver && type->note) {
            type->note(source->driver, fault, sizeof fault);
        }
        if (fault[0]) {
            used += (size_t)snprintf(note + used, size - used, "%s%s %s: %s", used ? "; " : "",
                                     source->config->path, type->name, fault);
        }
    }
    uint64_t refused = cutter_refused(sampler->cutter);
    if (refused > 0 && used < size) {
        (void)snprintf(note + used, size - used, "%s%llu samples out of order were left out",
                       used ? "; " : "", (unsigned long long)refused);
    }
}

double sampler_battery_v(const struct sampler *sampler)
{
    return sampler->battery_v;
}
