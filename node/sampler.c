/* Asks each driver when it wants to be asked, and cuts frames in between.
 * Must never ask in a hurry what fails, nor promise what a driver has not handed over. Called by
 * node.c and by libuv. */
#include "node/sampler_inside.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "node/pace.h"

#define HELD_BACK_NS INT64_C(20000000)
#define HURRIED_POLLS 16 /* in one turn, so that the loop's other work gets its share */

static int64_t read_ns(const struct sampler *sampler)
{
    return sampler->setup.clock.mono_ns(sampler->setup.clock.context);
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
        sampler_ask(source, now_ns);
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
            sampler_ask(source, now_ns);
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

/* An error that doesn't begin with the driver's place in the config. */
static int name_driver(const struct node_driver_config *config, struct error *error)
{
    bool named = error && strncmp(error->text, config->path, strlen(config->path)) == 0;
    return named ? -1 : error_wrap(error, "%s", config->path);
}

static int add_source(struct sampler *sampler, const struct node_driver_config *config,
                      struct error *error)
{
    struct source *source = &sampler->sources[sampler->source_count];
    *source = (struct source){.sampler = sampler,
                              .config = config,
                              .first = sampler->channel_count,
                              .pause_ns = SAMPLER_PAUSE_LEAST_NS};
    outage_init(&source->outage);
    struct channel *channels = &sampler->channels[source->first];
    sampler->source_count++;
    if (sampler_open(source, channels, NODE_CHANNELS_MAX - source->first, &source->count, error)) {
        source->count = 0;
        return sampler_miss(source, read_ns(sampler), error) ? 0 : name_driver(config, error);
    }
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

/* What it names may belong to a sensor that is missing. */
static int check_calibration(const struct sampler *sampler, struct error *error)
{
    for (size_t i = 0; i < sampler->source_count; i++) {
        if (sampler->sources[i].missing) {
            return 0;
        }
    }
    return channel_calibrations_check(&sampler->setup.config->calibration, sampler->channels,
                                      sampler->channel_count, error);
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
    if (check_calibration(sampler, error) ||
        cutter_new(sampler->channel_count, setup->boot, setup->config->block_ns, setup->on_frame,
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

int64_t sampler_clock_sd_ns(const struct sampler *sampler)
{
    int64_t most_ns = 0;
    for (size_t i = 0; i < sampler->source_count; i++) {
        const struct source *source = &sampler->sources[i];
        bool own = !source->driver || !source->config->type->clock_sd_ns;
        int64_t sd_ns = own ? 0 : source->config->type->clock_sd_ns(source->driver);
        most_ns = sd_ns > most_ns ? sd_ns : most_ns;
    }
    return most_ns;
}
