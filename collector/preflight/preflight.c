/* One test a fault, each with its numbers in words.
 * Must never let one fault hide another. Called by the preflight's runner. */
#include "collector/preflight/preflight.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "common/clock.h"
#include "common/timefmt.h"

/* Our choices: how old the newest sample may be, how far ahead; how far off a rate may be (a cheap
 * part's own oscillator is up to some per cent off: common practice, no source; but then its
 * driver tells the true rate); which share of the samples at an end of the range is clipping, from
 * so many steps of range on. */
#define LATE_NS (8 * NS_PER_S)
#define AHEAD_NS (NS_PER_S / 2)
#define RATE_OFF 0.02
#define CLIPPED_PART 0.05
#define CLIPPED_STEPS 8.0
#define FAST_HZ 5.0
#define STUCK_LEAST 20u
#define NOISE_MORE 3.0
#define NOISE_LESS 0.3
/* Further from the others than this is worth knowing; than that, it is no compass any more. */
#define FIELD_APART_T 5e-6
#define FIELD_WRONG_T 20e-6

const char *preflight_fault_text(enum preflight_fault fault)
{
    static const char *const texts[PREFLIGHT_FAULTS] = {
        [PREFLIGHT_NOT_HEARD] = "not heard", [PREFLIGHT_GONE] = "gone",
        [PREFLIGHT_CLOCK] = "late clock",    [PREFLIGHT_DEAD] = "dead channel",
        [PREFLIGHT_STUCK] = "stuck",         [PREFLIGHT_CLIPPED] = "clipped",
        [PREFLIGHT_NOISE] = "noise",         [PREFLIGHT_RATE] = "wrong rate",
        [PREFLIGHT_BATTERY] = "low battery", [PREFLIGHT_STORAGE] = "full disk",
        [PREFLIGHT_FIELD] = "field",         [PREFLIGHT_DRIVER] = "driver"};
    return fault < PREFLIGHT_FAULTS ? texts[fault] : "";
}

static void add(struct preflight_report *report, enum preflight_fault fault, bool stops,
                const char *format, ...) __attribute__((format(printf, 4, 5)));

static void add(struct preflight_report *report, enum preflight_fault fault, bool stops,
                const char *format, ...)
{
    report->go = report->go && !stops;
    if (report->line_count < PREFLIGHT_LINES_MAX) {
        struct preflight_line *line = &report->lines[report->line_count++];
        va_list arguments;
        va_start(arguments, format);
        (void)vsnprintf(line->text, sizeof line->text, format, arguments);
        va_end(arguments);
        line->fault = fault;
        line->stops = stops;
    }
}

static void judge_clock(const struct preflight_node *node, const struct preflight_wish *wish,
                        struct preflight_report *report)
{
    char words[TIMEFMT_SIZE];
    if (node->has_state && !node->state.fit.known) {
        add(report, PREFLIGHT_CLOCK, true,
            "no time from the base station yet: is the \"time\" of its config right, and UDP let "
            "through?");
        return;
    }
    if (node->has_state && node->state.fit.uncertainty_ns > CLOCK_FIT_IN_TIME_NS) {
        timefmt_duration(node->state.fit.uncertainty_ns, words);
        add(report, PREFLIGHT_CLOCK, true, "only known to +- %s: wait a minute, or bring it nearer",
            words);
    }
    int64_t late_ns = wish->now_ns - node->last_ns;
    timefmt_duration(late_ns < 0 ? -late_ns : late_ns, words);
    if (node->last_ns != 0 && late_ns > LATE_NS) {
        add(report, PREFLIGHT_CLOCK, true,
            "its newest sample is %s old: its clock is behind, or what it sampled waits to be sent",
            words);
    } else if (node->last_ns != 0 && late_ns < -AHEAD_NS) {
        add(report, PREFLIGHT_CLOCK, true,
            "its samples are from %s ahead of the base station's time", words);
    }
}

/* Behind a number in a channel's unit, where nobody checked the unit's size. */
static const char *warning(const struct channel *channel)
{
    return channel_calibrated(channel) ? "" : " (uncalibrated)";
}

static bool is_fast(const struct channel *channel)
{
    return channel->rate_hz > FAST_HZ;
}

/* A slow channel, such as a thermometer, may well show one value for a minute. */
static void judge_values(const struct channel *channel, const struct channel_look *look,
                         struct preflight_report *report)
{
    double range = look->most - look->least;
    uint64_t at_end = look->at_most > look->at_least ? look->at_most : look->at_least;
    if (!is_fast(channel) || look->count < STUCK_LEAST) {
        return;
    }
    if (range <= 0.0) {
        add(report, PREFLIGHT_STUCK, true, "%s shows %.6g %s%s and nothing else", channel->name,
            look->least, channel->unit, warning(channel));
    } else if (range >= CLIPPED_STEPS * look->step &&
               (double)at_end > CLIPPED_PART * (double)look->count) {
        add(report, PREFLIGHT_CLIPPED, true,
            "%s is at %.6g %s%s for %.0f %% of the time: beyond its range", channel->name,
            look->at_most > look->at_least ? look->most : look->least, channel->unit,
            warning(channel), 100.0 * (double)at_end / (double)look->count);
    }
}

static void judge_noise(const struct channel *channel, const struct channel_look *look,
                        double expected, struct preflight_report *report)
{
    double noise = channel_look_noise(look);
    if (!(expected > 0.0) || !(noise > 0.0) || !is_fast(channel)) {
        return;
    }
    if (noise > NOISE_MORE * expected) {
        add(report, PREFLIGHT_NOISE, true,
            "%s has %.3g %s%s of noise, %.1f times its part's %.3g: what is near it?",
            channel->name, noise, channel->unit, warning(channel), noise / expected, expected);
    } else if (noise < NOISE_LESS * expected) {
        add(report, PREFLIGHT_NOISE, true,
            "%s has %.3g %s%s of noise, less than its part can (%.3g): is it measuring?",
            channel->name, noise, channel->unit, warning(channel), expected);
    }
}

static void judge_rate(const struct channel *channel, const struct channel *told,
                       const struct channel_look *look, struct preflight_report *report)
{
    double rate_hz = channel_look_rate_hz(look);
    if (fabs(channel->rate_hz - told->rate_hz) > RATE_OFF * told->rate_hz) {
        add(report, PREFLIGHT_RATE, true, "%s: the node tells %.4g a second, the site file %.4g",
            channel->name, channel->rate_hz, told->rate_hz);
    } else if (look->count >= STUCK_LEAST && channel->rate_hz > 0.0 &&
               fabs(rate_hz - channel->rate_hz) > RATE_OFF * channel->rate_hz) {
        add(report, PREFLIGHT_RATE, true, "%s: %.4g samples a second came, %.4g are told",
            channel->name, rate_hz, channel->rate_hz);
    }
}

static size_t find_channel(const struct preflight_node *node, const char *name)
{
    for (size_t i = 0; i < node->channel_count; i++) {
        if (strcmp(node->channels[i].name, name) == 0) {
            return i;
        }
    }
    return SIZE_MAX;
}

static size_t judge_channels(const struct site_node *which, const struct preflight_node *node,
                             const struct preflight_wish *wish, struct preflight_report *report)
{
    size_t alive = 0;
    for (size_t i = 0; i < which->channel_count; i++) {
        const struct channel *told = &which->channels[i];
        size_t place = find_channel(node, told->name);
        if (place == SIZE_MAX) {
            add(report, PREFLIGHT_DEAD, true,
                "%s: the site file has it, the node does not tell of it", told->name);
            continue;
        }
        const struct channel *channel = &node->channels[place];
        const struct channel_look *look = &node->looks[place];
        if (look->count == 0 && told->period_ps > 0) {
            add(report, PREFLIGHT_DEAD, true, "%s: no sample in %.0f s", told->name,
                wish->looked_s);
            continue;
        }
        alive++;
        judge_values(channel, look, report);
        judge_noise(channel, look, which->noise[i], report);
        judge_rate(channel, told, look, report);
    }
    return alive;
}

static void judge_battery(const struct site_node *which, const struct preflight_node *node,
                          const struct preflight_wish *wish, struct preflight_report *report)
{
    const struct message_state *state = &node->state;
    double empty_v = which->battery_empty_v;
    if (!node->has_state || !isfinite(state->battery_v)) {
        return;
    }
    if (empty_v > 0.0 && state->battery_v <= empty_v) {
        add(report, PREFLIGHT_BATTERY, true, "%.2f V, and it is empty at %.2f V", state->battery_v,
            empty_v);
    } else if (state->battery_hours * 3600.0 < wish->night_s) {
        add(report, PREFLIGHT_BATTERY, true,
            "%.2f V, lasts %.1f h at the pace of its fall, the night %.1f h", state->battery_v,
            state->battery_hours, wish->night_s / 3600.0);
    } else if (!isfinite(state->battery_hours)) {
        add(report, PREFLIGHT_BATTERY, false,
            "battery %.2f V; how long it lasts is known once it has fallen for a while, and where "
            "the node's config says at what voltage it is empty",
            state->battery_v);
    }
}

static void judge_storage(const struct preflight_node *node, const struct preflight_wish *wish,
                          struct preflight_report *report)
{
    const struct message_state *state = &node->state;
    if (!node->has_state) {
        return;
    }
    if (state->dropped_frames > 0) {
        add(report, PREFLIGHT_STORAGE, true, "%llu messages went for want of room since it started",
            (unsigned long long)state->dropped_frames);
    }
    double hold_s = (double)state->spool_room_bytes / fmax(state->spool_rate_bytes_s, 1e-9);
    if (state->spool_rate_bytes_s > 0.0 && hold_s < wish->night_s) {
        add(report, PREFLIGHT_STORAGE, true,
            "room for %.1f h of samples if its link fails, the night has %.1f h: a larger spool "
            "(max_bytes) or a larger card",
            hold_s / 3600.0, wish->night_s / 3600.0);
    }
}

double preflight_field_t(const struct preflight_node *node)
{
    static const char *const axes[] = {"magnetic.x", "magnetic.y", "magnetic.z"};
    double squared = 0.0;
    for (size_t a = 0; a < 3; a++) {
        size_t place = find_channel(node, axes[a]);
        if (place == SIZE_MAX || node->looks[place].count == 0) {
            return 0.0;
        }
        double mean = channel_look_mean(&node->looks[place]);
        squared += mean * mean;
    }
    return sqrt(squared);
}

static int by_size(const void *a, const void *b)
{
    double left = *(const double *)a;
    double right = *(const double *)b;
    return (left > right) - (left < right);
}

/* The middle of the other nodes' fields; 0 for fewer than two others. */
static double others_field_t(const struct site *site, const struct preflight_node *nodes,
                             size_t own)
{
    double fields[SITE_NODES_MAX];
    size_t count = 0;
    for (size_t i = 0; i < site->node_count && i < SITE_NODES_MAX; i++) {
        double field_t = i == own ? 0.0 : preflight_field_t(&nodes[i]);
        if (field_t > 0.0) {
            fields[count++] = field_t;
        }
    }
    qsort(fields, count, sizeof fields[0], by_size);
    return count < 2 ? 0.0 : 0.5 * (fields[(count - 1) / 2] + fields[count / 2]);
}

static void judge_field(double field_t, double others_t, struct preflight_report *report)
{
    if (!(field_t > 0.0)) {
        return;
    }
    if (field_t < PREFLIGHT_FIELD_LEAST_T || field_t > PREFLIGHT_FIELD_MOST_T) {
        add(report, PREFLIGHT_FIELD, true,
            "%.1f uT; the earth's own field is %.0f to %.0f uT: a magnet or iron beside it, or a "
            "wrong scale",
            1e6 * field_t, 1e6 * PREFLIGHT_FIELD_LEAST_T, 1e6 * PREFLIGHT_FIELD_MOST_T);
    } else if (others_t > 0.0 && fabs(field_t - others_t) > FIELD_APART_T) {
        add(report, PREFLIGHT_FIELD, fabs(field_t - others_t) > FIELD_WRONG_T,
            "%.1f uT where the others have %.1f: iron near it, or a wrong scale", 1e6 * field_t,
            1e6 * others_t);
    }
}

/* ", magnetic 76.9 and electric 1004 a second": as they came, one of each quantity. */
static size_t say_rates(const struct preflight_node *node, char *text, size_t size)
{
    size_t used = 0;
    char before[IDENT_SIZE] = "";
    for (size_t i = 0; i < node->channel_count && used < size; i++) {
        char quantity[IDENT_SIZE], axis[IDENT_SIZE];
        channel_name_split(node->channels[i].name, quantity, axis);
        double rate_hz = channel_look_rate_hz(&node->looks[i]);
        if (node->channels[i].period_ps > 0 && node->looks[i].count >= STUCK_LEAST &&
            strcmp(quantity, before) != 0) {
            used += (size_t)snprintf(text + used, size - used, "%s%s %.4g",
                                     before[0] ? ", " : "; a second: ", quantity, rate_hz);
            memcpy(before, quantity, sizeof before);
        }
    }
    return used < size ? used : size - 1;
}

static void say_well(const struct preflight_node *node, size_t alive, double field_t,
                     struct preflight_report *report)
{
    char *text = report->well;
    size_t used = 0;
    if (node->has_state && node->state.fit.known) {
        char error[TIMEFMT_SIZE];
        timefmt_duration(node->state.fit.uncertainty_ns, error);
        used += (size_t)snprintf(text, PREFLIGHT_LINE_SIZE, "in time +- %s; ", error);
    }
    used += (size_t)snprintf(text + used, PREFLIGHT_LINE_SIZE - used, "%zu channels alive", alive);
    used += say_rates(node, text + used, PREFLIGHT_LINE_SIZE - used);
    if (field_t > 0.0) {
        used += (size_t)snprintf(text + used, PREFLIGHT_LINE_SIZE - used, "; field %.1f uT%s",
                                 1e6 * field_t,
                                 warning(&node->channels[find_channel(node, "magnetic.x")]));
    }
    if (node->has_state && isfinite(node->state.battery_v) && used < PREFLIGHT_LINE_SIZE) {
        used += (size_t)snprintf(text + used, PREFLIGHT_LINE_SIZE - used, "; battery %.2f V",
                                 node->state.battery_v);
    }
    if (node->has_state && node->state.spool_rate_bytes_s > 0.0 && used < PREFLIGHT_LINE_SIZE) {
        (void)snprintf(text + used, PREFLIGHT_LINE_SIZE - used, "; room for %.0f h without a link",
                       (double)node->state.spool_room_bytes / node->state.spool_rate_bytes_s /
                           3600.0);
    }
}

static void judge_node(const struct site *site, const struct preflight_node *nodes, size_t index,
                       const struct preflight_wish *wish, struct preflight_report *report)
{
    const struct site_node *which = &site->nodes[index];
    const struct preflight_node *node = &nodes[index];
    *report = (struct preflight_report){.go = true};
    if (!node->heard) {
        add(report, PREFLIGHT_NOT_HEARD, true,
            "nothing has come from it: is it on, in reach, and does its config name this site and "
            "broker?");
        return;
    }
    if (node->has_state && node->state.gone) {
        add(report, PREFLIGHT_GONE, true, "it was here and has stopped, or its link is lost");
        return;
    }
    double field_t = preflight_field_t(node);
    judge_clock(node, wish, report);
    /* Without the time it sends no samples: they wait, and nothing can be said of its channels. */
    bool silent = node->has_state && !node->state.fit.known && node->channel_count == 0;
    size_t alive = silent ? 0 : judge_channels(which, node, wish, report);
    judge_battery(which, node, wish, report);
    judge_storage(node, wish, report);
    judge_field(field_t, others_field_t(site, nodes, index), report);
    if (node->has_state && node->state.note[0]) {
        add(report, PREFLIGHT_DRIVER, true, "it says: %.200s", node->state.note);
    }
    say_well(node, alive, field_t, report);
}

void preflight_judge(const struct site *site, const struct preflight_node *nodes,
                     const struct preflight_wish *wish, struct preflight_report *reports)
{
    for (size_t i = 0; i < site->node_count; i++) {
        judge_node(site, nodes, i, wish, &reports[i]);
    }
}
