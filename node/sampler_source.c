/* One driver: opened, asked, closed when it fails, opened again after a pause that grows.
 * Must never let one that fails hold up the others. Called by sampler.c. */
#include "node/sampler_inside.h"

#include <stdio.h>
#include <string.h>

#include "common/log.h"

#define PAUSE_MOST_NS (60 * NS_PER_S)
/* When it is found the node starts anew, which costs the others a moment: not every second. */
#define MISSING_PAUSE_NS (10 * NS_PER_S)

/* ---- what drivers call ---- */

static void tell_hole(struct source *source, size_t channel, int64_t start_ns, int64_t end_ns,
                      const char *reason)
{
    struct sampler *sampler = source->sampler;
    cutter_hole(sampler->cutter, source->first + channel, start_ns, end_ns, reason);
    sensor_watch_hole(&sampler->watches[source->first + channel], start_ns, end_ns);
}

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
        tell_hole(source, channel, from_ns, first_ns, source->outage.why);
    }
}

static void on_samples(void *context, size_t channel, int64_t t0_ns, int64_t period_ps,
                       const int32_t *counts, size_t count)
{
    struct source *source = context;
    if (channel < source->count && count > 0) {
        struct block run = {.t0_ns = t0_ns, .period_ps = period_ps};
        size_t place = source->first + channel;
        source->logged[0] = '\0';
        end_outage(source, channel, t0_ns, block_time_ns(&run, (uint32_t)(count - 1)));
        for (size_t i = 0; i < count; i++) {
            sensor_watch_sample(&source->sampler->watches[place], &source->sampler->channels[place],
                                block_time_ns(&run, (uint32_t)i), counts[i]);
        }
        cutter_samples(source->sampler->cutter, source->first + channel, t0_ns, period_ps, counts,
                       count);
        note_battery(source->sampler, source->first + channel, counts[count - 1]);
    }
}

static void on_change(void *context, size_t channel, int64_t time_ns, int32_t count)
{
    struct source *source = context;
    if (channel < source->count) {
        size_t place = source->first + channel;
        source->logged[0] = '\0';
        end_outage(source, channel, time_ns, time_ns);
        sensor_watch_sample(&source->sampler->watches[place], &source->sampler->channels[place],
                            time_ns, count);
        cutter_change(source->sampler->cutter, source->first + channel, time_ns, count);
        note_battery(source->sampler, source->first + channel, count);
    }
}

static void on_hole(void *context, size_t channel, int64_t start_ns, int64_t end_ns,
                    const char *reason)
{
    struct source *source = context;
    if (channel < source->count) {
        tell_hole(source, channel, start_ns, end_ns, reason);
    }
}

/* ---- drivers ---- */

int sampler_open(struct source *source, struct channel *channels, size_t size, size_t *count,
                 struct error *error)
{
    const struct sampler *sampler = source->sampler;
    struct driver_setup setup = {.settings = source->config->settings,
                                 .path = source->config->path,
                                 .config_dir = sampler->setup.config->dir,
                                 .clock = sampler->setup.clock,
                                 .again = sampler->started};
    if (source->config->type->open(&setup, &source->driver, channels, size, count, error)) {
        source->driver = NULL;
        return -1;
    }
    if (channel_calibrations_apply(&sampler->setup.config->calibration, channels, *count, error)) {
        source->config->type->close(source->driver);
        source->driver = NULL;
        if (error) {
            error->code = ERROR_FORMAT; /* the calibration is a setting */
        }
        return -1;
    }
    return 0;
}

/* A sensor that was not there at the start: opened to see that it is, and left to the next boot. */
static int look_again(struct source *source, struct error *error)
{
    struct sampler *sampler = source->sampler;
    struct channel channels[NODE_CHANNELS_MAX];
    size_t count;
    char which[sizeof source->fault];
    if (sampler->found) {
        return error_set(error, ERROR_STATE, "%s", source->fault);
    }
    if (sampler_open(source, channels, NODE_CHANNELS_MAX, &count, error)) {
        return -1;
    }
    source->config->type->close(source->driver);
    source->driver = NULL;
    sampler->found = true;
    (void)snprintf(which, sizeof which, "%s %s", source->config->path, source->config->type->name);
    sampler->setup.on_found(sampler->setup.context, which);
    return error_set(error, ERROR_STATE, "found: the node starts anew with it");
}

/* The hello of this boot stands: a driver that comes back must bring the same channels. */
static int open_again(struct source *source, struct error *error)
{
    struct channel channels[NODE_CHANNELS_MAX];
    size_t count = 0;
    if (source->missing) {
        return look_again(source, error);
    }
    if (sampler_open(source, channels, NODE_CHANNELS_MAX, &count, error)) {
        return -1;
    }
    bool same = count == source->count;
    for (size_t i = 0; same && i < count; i++) {
        same = channel_same(&channels[i], &source->sampler->channels[source->first + i]);
    }
    if (!same) {
        source->config->type->close(source->driver);
        source->driver = NULL;
        return error_set(error, ERROR_STATE,
                         "it came back with other channels: end the node and start it again");
    }
    return 0;
}

static void set_fault(struct source *source, int64_t now_ns, const struct error *error)
{
    if (strncmp(source->logged, error->text, sizeof source->logged - 10) != 0) {
        log_warning("%s %s: %s", source->config->path, source->config->type->name, error->text);
    }
    snprintf(source->logged, sizeof source->logged, "%.150s", error->text);
    snprintf(source->fault, sizeof source->fault, "%.150s", error->text);
    if (source->driver) {
        source->config->type->close(source->driver);
        source->driver = NULL;
    }
    outage_begin(&source->outage, source->told_ns, error->text);
    source->behind = false;
    source->told_ns = now_ns;
    int64_t most_ns = source->config->type->pause_most_ns;
    most_ns = most_ns > 0 ? most_ns : PAUSE_MOST_NS;
    source->pause_ns = source->pause_ns < most_ns ? source->pause_ns : most_ns;
    source->next_ns = now_ns + source->pause_ns;
    source->pause_ns *= 2;
}

bool sampler_miss(struct source *source, int64_t now_ns, const struct error *error)
{
    bool settings = error->code == ERROR_FORMAT || error->code == ERROR_RANGE ||
                    error->code == ERROR_USAGE || error->code == ERROR_MEMORY;
    if (!source->config->type->may_be_missing || settings) {
        return false;
    }
    source->missing = true;
    source->pause_ns = MISSING_PAUSE_NS;
    set_fault(source, now_ns, error);
    log_warning("%s %s: the others start without it; it is looked for again and again",
                source->config->path, source->config->type->name);
    return true;
}

void sampler_ask(struct source *source, int64_t now_ns)
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
    source->pause_ns = SAMPLER_PAUSE_LEAST_NS;
    source->next_ns = next_ns;
    source->behind = next_ns <= now_ns;
    source->told_ns = source->behind ? next_ns : now_ns;
    if (source->config->type->told_ns && !source->behind) {
        source->told_ns = source->config->type->told_ns(source->driver, now_ns);
    }
}

/* Which channels are stuck or clipped: words without a figure, so that they are told once. */
static size_t note_sensors(const struct sampler *sampler, char *note, size_t size, size_t used)
{
    for (size_t i = 0; i < sampler->channel_count && used < size; i++) {
        const struct sensor_watch *watch = &sampler->watches[i];
        bool stuck = sensor_watch_stuck(watch, &sampler->channels[i]);
        if (stuck || sensor_watch_clipped(watch)) {
            used += (size_t)snprintf(note + used, size - used, "%s%s %s", used ? "; " : "",
                                     sampler->channels[i].name,
                                     stuck ? "is stuck: the same reading again and again"
                                           : "is clipped: at the end of its range");
        }
    }
    return used;
}

size_t sampler_tell_sensors(const struct sampler *sampler,
                            struct message_sensor sensors[NODE_CHANNELS_MAX])
{
    for (size_t i = 0; i < sampler->channel_count; i++) {
        sensor_watch_tell(&sampler->watches[i], &sampler->channels[i], &sensors[i]);
    }
    return sampler->channel_count;
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
    used = note_sensors(sampler, note, size, used);
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
