/* The simulate driver: one node of the simulated building (node/world), sampled on the node's own
 * clock while the building goes by true time.
 * Must never let the node's clock error reach the building: a sample stamped by a skewed clock
 * carries the physics of the true moment. Called through the table in drivers.c. */
#include "node/drivers/driver.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "common/json.h"
#include "common/site.h"
#include "common/small_file.h"
#include "common/timefmt.h"
#include "node/drivers/simulate_files.h"
#include "node/world/world.h"

#define POLL_NS INT64_C(100000000)
#define CHUNK 1024
#define SCRIPT_FILE_MAX ((size_t)1024 * 1024)
#define PAIR_TRIES 3
/* Readings closer together than this say nothing about the clocks' rates. */
#define PAIR_APART_NS INT64_C(1000000)
#define PS_PER_NS 1000

/* The node's clock and the true time at one moment. */
struct pair {
    int64_t node_ns;
    int64_t true_ns;
};

struct driver {
    struct site *site;
    struct script *script;
    struct world *world;
    struct world_sampler *sampler;
    char node[IDENT_SIZE];
    struct clock_source clock;
    struct clock_source true_clock;
    bool start_known;
    int64_t start_ns; /* of the scenario, true time since 1970 */
    double crystal_ppm;
    char truth_path[SIMULATE_PATH_SIZE]; /* "": none */
    size_t truth_told;
    bool begun;
    int64_t origin_ns; /* node time of every channel's sample 0 */
    struct pair last;
    struct pair now;
    int64_t polled_ns; /* node time of the last poll: all before it was told */
    int64_t next_sample[NODE_CHANNELS_MAX];
    int64_t motion_until_ns; /* scenario time up to which changes were told */
    int64_t motion_last_ns;  /* node time of the last change told */
    int32_t motion_level;
};

/* Both clocks as near together as can be had. */
static struct pair read_pair(const struct driver *driver)
{
    struct pair best = {0, 0};
    int64_t best_width = INT64_MAX;
    for (int i = 0; i < PAIR_TRIES; i++) {
        int64_t before = driver->clock.mono_ns(driver->clock.context);
        int64_t true_ns = driver->true_clock.real_ns(driver->true_clock.context);
        int64_t after = driver->clock.mono_ns(driver->clock.context);
        if (after - before < best_width) {
            best_width = after - before;
            best = (struct pair){.node_ns = before + best_width / 2, .true_ns = true_ns};
        }
    }
    return best;
}

/* True nanoseconds for each of the node's, between the last two readings. */
static double true_rate(const struct driver *driver)
{
    int64_t node = driver->now.node_ns - driver->last.node_ns;
    return node < PAIR_APART_NS
               ? 1.0
               : (double)(driver->now.true_ns - driver->last.true_ns) / (double)node;
}

static int64_t scenario_from_node(const struct driver *driver, int64_t node_ns)
{
    double since = (double)(node_ns - driver->now.node_ns) * true_rate(driver);
    return driver->now.true_ns + llround(since) - driver->start_ns;
}

static int64_t node_from_scenario(const struct driver *driver, int64_t scenario_ns)
{
    double since = (double)(scenario_ns + driver->start_ns - driver->now.true_ns);
    double rate = true_rate(driver);
    return driver->now.node_ns + llround(rate > 0.0 ? since / rate : since);
}

/* The node's own sampling crystal: a sample takes this long on the node's clock. */
static int64_t sampling_period_ps(const struct driver *driver, const struct channel *channel)
{
    return llround((double)channel->period_ps * (1.0 - 1e-6 * driver->crystal_ppm));
}

static int64_t sample_node_ns(const struct driver *driver, int64_t period_ps, int64_t number)
{
    return driver->origin_ns +
           (int64_t)(((__int128)number * period_ps + PS_PER_NS / 2) / PS_PER_NS);
}

/* How many of the next samples are alike: with power (> 0), or without (< 0). */
static int64_t alike(const struct driver *driver, int64_t period_ps, int64_t first, int64_t most)
{
    int64_t until_ns;
    bool silent = false;
    for (int64_t i = 0; i < most; i++) {
        int64_t node_ns = sample_node_ns(driver, period_ps, first + i);
        bool now =
            world_sampler_silent(driver->sampler, scenario_from_node(driver, node_ns), &until_ns);
        if (i > 0 && now != silent) {
            return silent ? -i : i;
        }
        silent = now;
    }
    return silent ? -most : most;
}

static void poll_channel(struct driver *driver, size_t channel, int64_t period_ps, int64_t now_ns,
                         const struct driver_sink *sink)
{
    int32_t counts[CHUNK];
    int64_t number = driver->next_sample[channel];
    int64_t true_period_ps = llround((double)period_ps * true_rate(driver));
    while (sample_node_ns(driver, period_ps, number) <= now_ns) {
        int64_t due =
            (int64_t)((__int128)(now_ns - driver->origin_ns) * PS_PER_NS / period_ps) - number + 1;
        due = due < 1 ? 1 : due;
        int64_t count = alike(driver, period_ps, number, due < CHUNK ? due : CHUNK);
        if (count > 0) {
            int64_t node_ns = sample_node_ns(driver, period_ps, number);
            world_sampler_read(driver->sampler, channel, scenario_from_node(driver, node_ns),
                               true_period_ps, counts, (size_t)count);
            sink->samples(sink->context, channel, node_ns, period_ps, counts, (size_t)count);
        }
        number += count > 0 ? count : -count;
    }
    driver->next_sample[channel] = number;
}

static void tell_motion(struct driver *driver, size_t channel, int64_t node_ns, int32_t level,
                        const struct driver_sink *sink)
{
    /* The two clocks are read a little apart: an edge may seem to lie before the last poll. */
    if (node_ns < driver->polled_ns) {
        node_ns = driver->polled_ns;
    }
    if (node_ns <= driver->motion_last_ns) {
        node_ns = driver->motion_last_ns + 1;
    }
    sink->change(sink->context, channel, node_ns, level);
    driver->motion_last_ns = node_ns;
    driver->motion_level = level;
}

static void poll_motion(struct driver *driver, size_t channel, int64_t now_ns,
                        const struct driver_sink *sink)
{
    struct world_change change;
    int64_t outage_ns;
    int64_t until_ns = scenario_from_node(driver, now_ns);
    int64_t after_ns = driver->motion_until_ns;
    while (world_sampler_changes(driver->sampler, after_ns, until_ns, &change, 1) == 1) {
        if (!world_sampler_silent(driver->sampler, change.time_ns, &outage_ns) &&
            change.count != driver->motion_level) {
            tell_motion(driver, channel, node_from_scenario(driver, change.time_ns), change.count,
                        sink);
        }
        after_ns = change.time_ns;
    }
    /* At the first poll, and after an outage, the level as it is. */
    int32_t level = world_sampler_motion(driver->sampler, until_ns);
    if (level != driver->motion_level &&
        !world_sampler_silent(driver->sampler, until_ns, &outage_ns)) {
        tell_motion(driver, channel, now_ns, level, sink);
    }
    driver->motion_until_ns =
        until_ns > driver->motion_until_ns ? until_ns : driver->motion_until_ns;
}

/* Entries from the scenario time on at which this node began, as they come due. */
static int tell_truth(struct driver *driver, int64_t until_ns, struct error *error)
{
    size_t count;
    const struct world_truth *truth = world_sampler_truth(driver->sampler, &count);
    int64_t begun_ns = scenario_from_node(driver, driver->origin_ns);
    for (; driver->truth_told < count && truth[driver->truth_told].onset_ns <= until_ns;
         driver->truth_told++) {
        if (driver->truth_path[0] && truth[driver->truth_told].onset_ns >= begun_ns &&
            simulate_append_truth(driver->truth_path, driver->node, driver->start_ns,
                                  driver->script, &truth[driver->truth_told], error)) {
            return -1;
        }
    }
    return 0;
}

static void begin(struct driver *driver, int64_t now_ns)
{
    driver->begun = true;
    driver->origin_ns = now_ns;
    driver->last = driver->now;
    driver->motion_level = -1;
    driver->polled_ns = INT64_MIN;
    driver->motion_last_ns = INT64_MIN;
    if (!driver->start_known) {
        driver->start_known = true;
        driver->start_ns = driver->now.true_ns + (now_ns - driver->now.node_ns);
    }
    driver->motion_until_ns = scenario_from_node(driver, now_ns);
}

static int simulate_poll(struct driver *driver, int64_t now_ns, const struct driver_sink *sink,
                         int64_t *next_ns, struct error *error)
{
    size_t count;
    const struct channel *channels = world_sampler_channels(driver->sampler, &count);
    struct pair pair = read_pair(driver);
    if (!driver->begun) {
        driver->now = pair;
        begin(driver, now_ns);
    } else if (pair.node_ns - driver->now.node_ns >= PAIR_APART_NS) {
        driver->last = driver->now;
        driver->now = pair;
    }
    for (size_t i = 0; i < count; i++) {
        if (channels[i].period_ps > 0) {
            poll_channel(driver, i, sampling_period_ps(driver, &channels[i]), now_ns, sink);
        } else {
            poll_motion(driver, i, now_ns, sink);
        }
    }
    driver->polled_ns = now_ns;
    *next_ns = now_ns + POLL_NS;
    return tell_truth(driver, scenario_from_node(driver, now_ns), error);
}

static void simulate_close(struct driver *driver)
{
    if (driver) {
        world_sampler_free(driver->sampler);
        world_free(driver->world);
        script_free(driver->script);
        site_free(driver->site);
        free(driver);
    }
}

/* settings.field as a path; "" where it is not there and `needed` is false. */
static int read_path(const struct driver_setup *setup, const char *field, bool needed,
                     char out[SIMULATE_PATH_SIZE], struct error *error)
{
    char told[SIMULATE_PATH_SIZE];
    if (needed
            ? json_get_text(setup->settings, setup->path, field, told, sizeof told, error)
            : json_get_text_or(setup->settings, setup->path, field, "", told, sizeof told, error)) {
        return -1;
    }
    out[0] = '\0';
    return told[0] || needed ? simulate_path(setup->config_dir, told, out, error) : 0;
}

static int load_world(const struct driver_setup *setup, struct driver *driver, struct error *error)
{
    char site_path[SIMULATE_PATH_SIZE];
    char script_path[SIMULATE_PATH_SIZE];
    char *text;
    size_t length;
    if (read_path(setup, "site", true, site_path, error) ||
        read_path(setup, "script", true, script_path, error) ||
        site_load(site_path, &driver->site, NULL, error) ||
        small_file_read(script_path, SCRIPT_FILE_MAX, &text, &length, error)) {
        return -1;
    }
    int status = script_parse(text, length, script_path, driver->site, &driver->script, error);
    free(text);
    if (status) {
        return -1;
    }
    size_t node = site_find_node(driver->site, driver->node);
    if (node == SIZE_MAX) {
        return error_set(error, ERROR_NOT_FOUND, "%s.node: the site has no node \"%s\"",
                         setup->path, driver->node);
    }
    return world_new(driver->site, driver->script, &driver->world, error) ||
                   world_sampler_new(driver->world, node, &driver->sampler, error)
               ? -1
               : 0;
}

static int read_start(const struct driver_setup *setup, struct driver *driver, struct error *error)
{
    char start[TIMEFMT_SIZE];
    char start_path[SIMULATE_PATH_SIZE];
    if (json_get_text_or(setup->settings, setup->path, "start", "", start, sizeof start, error) ||
        read_path(setup, "start_file", false, start_path, error)) {
        return -1;
    }
    if (start[0] && start_path[0]) {
        return error_set(error, ERROR_FORMAT, "%s.start_file: not together with start",
                         setup->path);
    }
    if (start[0] && timefmt_parse_rfc3339(start, strlen(start), &driver->start_ns, error)) {
        return error_wrap(error, "%s.start", setup->path);
    }
    int64_t now_ns = driver->true_clock.real_ns(driver->true_clock.context);
    if (start_path[0] && simulate_agree_start(start_path, now_ns, &driver->start_ns, error)) {
        return -1;
    }
    driver->start_known = start[0] || start_path[0];
    return 0;
}

static int read_settings(const struct driver_setup *setup, struct driver *driver,
                         struct error *error)
{
    static const char *const fields[] = {"driver",     "site",  "script",      "node", "start",
                                         "start_file", "truth", "crystal_ppm", "time", NULL};
    char time[IDENT_SIZE];
    if (json_check_fields(setup->settings, setup->path, fields, error) ||
        json_get_text(setup->settings, setup->path, "node", driver->node, sizeof driver->node,
                      error) ||
        json_get_number_or(setup->settings, setup->path, "crystal_ppm", -10000.0, 10000.0, 0.0,
                           &driver->crystal_ppm, error) ||
        json_get_text_or(setup->settings, setup->path, "time", "true", time, sizeof time, error) ||
        read_path(setup, "truth", false, driver->truth_path, error)) {
        return -1;
    }
    bool by_node = strcmp(time, "node") == 0;
    if (!by_node && strcmp(time, "true") != 0) {
        return error_set(error, ERROR_FORMAT, "%s.time: neither \"true\" nor \"node\"",
                         setup->path);
    }
    driver->clock = setup->clock;
    driver->true_clock = by_node ? setup->clock : clock_system();
    return read_start(setup, driver, error);
}

static int simulate_open(const struct driver_setup *setup, struct driver **driver,
                         struct channel *channels, size_t size, size_t *count, struct error *error)
{
    struct driver *made = calloc(1, sizeof *made);
    if (!made) {
        return error_set(error, ERROR_MEMORY, "%s: out of memory", setup->path);
    }
    if (read_settings(setup, made, error) || load_world(setup, made, error)) {
        simulate_close(made);
        return -1;
    }
    const struct channel *own = world_sampler_channels(made->sampler, count);
    if (*count > size) {
        simulate_close(made);
        return error_set(error, ERROR_RANGE, "%s: more than %zu channels", setup->path, size);
    }
    memcpy(channels, own, *count * sizeof *channels);
    *driver = made;
    return 0;
}

/* Listed in drivers.c. */
const struct driver_type driver_simulate = {
    .name = "simulate",
    .open = simulate_open,
    .poll = simulate_poll,
    .close = simulate_close,
};
