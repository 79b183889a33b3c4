/* Gathers what the node knows of itself into one message.
 * Must never wait or fail: what is not known is said so. Called by node.c. */
#include "node/health.h"

#include <stdio.h>
#include <string.h>

#define BATTERY_LOW_HOURS 2.0
/* With less time behind it the rate of samples is not told. */
#define RATE_LEAST_NS INT64_C(5000000000)

static void add_note(struct message_state *state, const char *text)
{
    size_t used = strlen(state->note);
    if (text[0]) {
        (void)snprintf(state->note + used, sizeof state->note - used, "%s%s", used ? "; " : "",
                       text);
    }
}

void health_fill(const struct health_sources *sources, int64_t now_ns, struct message_state *state)
{
    struct spool_counts counts;
    char drivers[MESSAGE_TEXT_SIZE];
    spool_count(sources->spool, &counts);
    sampler_note(sources->sampler, drivers, sizeof drivers);
    *state = (struct message_state){
        .boot = sources->boot,
        .fit = *timekeeper_fit(sources->timekeeper),
        .exchange_age_ns = timekeeper_age_ns(sources->timekeeper, now_ns),
        .round_trip_ns = timekeeper_round_trip_ns(sources->timekeeper),
        .battery_v = sampler_battery_v(sources->sampler),
        .battery_hours = battery_hours_left(sources->battery),
        .spool_frames = counts.frames,
        .spool_bytes = counts.bytes,
        .dropped_frames = counts.dropped,
        .spool_room_bytes = counts.room,
    };
    if (now_ns - sources->since_ns >= RATE_LEAST_NS) {
        state->spool_rate_bytes_s =
            (double)counts.taken / ((double)(now_ns - sources->since_ns) * 1e-9);
    }
    state->exchange_count =
        timekeeper_recent(sources->timekeeper, state->exchanges, MESSAGE_EXCHANGES_MAX);
    if (sources->sensors) {
        state->sensor_count = sampler_tell_sensors(sources->sampler, state->sensors);
    }
    add_note(state, drivers);
    add_note(state, spool_fault(sources->spool));
    if (state->battery_hours < BATTERY_LOW_HOURS) {
        add_note(state, "battery low: less than two hours left at this pace");
    }
}
