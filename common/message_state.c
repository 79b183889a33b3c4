/* The state message: how a node fares, and the last will that says it is gone.
 * Must never invent a figure that the node did not tell.
 * Called by the node (write) and the collector (read). */
#include "common/message.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>

#include "common/json.h"
#include "common/message_fields.h"
#include "common/message_sensors.h"

#define BATTERY_V_MAX 1000.0
#define BATTERY_HOURS_MAX 10000.0

static void append_int64(struct text *out, const char *field, int64_t value)
{
    (void)text_append_format(out, ",\"%s\":\"%" PRId64 "\"", field, value);
}

static void append_fit(struct text *out, const struct clock_fit *fit)
{
    (void)text_append_format(out, ",\"clock\":{\"ref_node_ns\":\"%" PRId64 "\"", fit->ref_node_ns);
    append_int64(out, "offset_ns", fit->offset_ns);
    append_int64(out, "rate_ppt", fit->rate_ppt);
    append_int64(out, "uncertainty_ns", fit->uncertainty_ns);
    append_int64(out, "growth_ppb", fit->growth_ppb);
    (void)text_append_format(out, "%s}", fit->utc ? ",\"utc\":true" : "");
}

static void append_exchanges(struct text *out, const struct message_state *state)
{
    for (size_t i = 0; i < state->exchange_count; i++) {
        const struct clock_exchange *exchange = &state->exchanges[i];
        (void)text_append_format(out,
                                 "%s{\"t1_ns\":\"%" PRId64 "\",\"t2_ns\":\"%" PRId64
                                 "\",\"t3_ns\":\"%" PRId64 "\",\"t4_ns\":\"%" PRId64 "\"}",
                                 i == 0 ? ",\"exchanges\":[" : ",", exchange->t1_ns,
                                 exchange->t2_ns, exchange->t3_ns, exchange->t4_ns);
    }
    (void)text_append_format(out, "%s", state->exchange_count > 0 ? "]" : "");
}

/* Nothing where there is no number. */
static int append_number(struct text *out, const char *field, double value)
{
    struct decimal number;
    if (isnan(value)) {
        return 0;
    }
    if (decimal_from_double(value, &number) != 0) {
        return -1;
    }
    char text[DECIMAL_TEXT_SIZE];
    decimal_format(number, text);
    return text_append_format(out, ",\"%s\":%s", field, text);
}

int message_state_write(const struct message_state *state, struct text *out)
{
    if (state->gone) {
        (void)text_append_format(out, "{\"version\":%d,\"gone\":true}", MESSAGE_VERSION);
        return message_finish(out);
    }
    message_append_head(out, state->boot);
    (void)text_append_format(out, ",\"gone\":false");
    if (state->fit.known) {
        append_fit(out, &state->fit);
    }
    append_int64(out, "exchange_age_ns", state->exchange_age_ns);
    append_int64(out, "round_trip_ns", state->round_trip_ns);
    append_exchanges(out, state);
    if (append_number(out, "battery_v", state->battery_v) != 0) {
        return -1;
    }
    if (!isnan(state->battery_hours)) {
        (void)text_append_format(out, ",\"battery_hours\":%.1f", state->battery_hours);
    }
    (void)text_append_format(out,
                             ",\"spool\":{\"frames\":%" PRIu64 ",\"bytes\":%" PRIu64
                             ",\"dropped\":%" PRIu64 ",\"room\":%" PRIu64,
                             state->spool_frames, state->spool_bytes, state->dropped_frames,
                             state->spool_room_bytes);
    if (append_number(out, "rate", state->spool_rate_bytes_s) != 0) {
        return -1;
    }
    (void)text_append_format(out, "},\"note\":");
    (void)json_append_string(out, state->note);
    message_append_sensors(out, state);
    (void)text_append_format(out, "}");
    return message_finish(out);
}

static int read_fit(const cJSON *root, struct clock_fit *fit, struct error *error)
{
    static const char *const fields[] = {"ref_node_ns", "offset_ns", "rate_ppt", "uncertainty_ns",
                                         "growth_ppb",  "utc",       NULL};
    const char *path = "state.clock";
    const cJSON *clock = cJSON_GetObjectItemCaseSensitive(root, "clock");
    if (!clock) {
        return 0;
    }
    if (json_check_fields(clock, path, fields, error) != 0 ||
        json_get_int64_text(clock, path, "ref_node_ns", &fit->ref_node_ns, error) != 0 ||
        json_get_int64_text(clock, path, "offset_ns", &fit->offset_ns, error) != 0 ||
        json_get_int64_text(clock, path, "rate_ppt", &fit->rate_ppt, error) != 0 ||
        json_get_int64_text(clock, path, "uncertainty_ns", &fit->uncertainty_ns, error) != 0 ||
        json_get_int64_text(clock, path, "growth_ppb", &fit->growth_ppb, error) != 0 ||
        json_get_bool_or(clock, path, "utc", false, &fit->utc, error) != 0) {
        return -1;
    }
    if (fit->uncertainty_ns < 0 || fit->growth_ppb < 0) {
        return error_set(error, ERROR_RANGE, "%s: uncertainty below 0", path);
    }
    fit->known = true;
    return 0;
}

static int read_exchange(const cJSON *item, size_t index, struct clock_exchange *exchange,
                         struct error *error)
{
    static const char *const fields[] = {"t1_ns", "t2_ns", "t3_ns", "t4_ns", NULL};
    char path[40];
    (void)snprintf(path, sizeof path, "state.exchanges[%zu]", index);
    if (!cJSON_IsObject(item)) {
        return error_set(error, ERROR_FORMAT, "%s: not an object", path);
    }
    if (json_check_fields(item, path, fields, error) != 0 ||
        json_get_int64_text(item, path, "t1_ns", &exchange->t1_ns, error) != 0 ||
        json_get_int64_text(item, path, "t2_ns", &exchange->t2_ns, error) != 0 ||
        json_get_int64_text(item, path, "t3_ns", &exchange->t3_ns, error) != 0) {
        return -1;
    }
    return json_get_int64_text(item, path, "t4_ns", &exchange->t4_ns, error);
}

static int read_exchanges(const cJSON *root, struct message_state *state, struct error *error)
{
    const cJSON *list = NULL;
    if (!cJSON_GetObjectItemCaseSensitive(root, "exchanges")) {
        return 0;
    }
    if (json_get_array(root, "state", "exchanges", &list, error) != 0) {
        return -1;
    }
    for (const cJSON *item = list->child; item; item = item->next) {
        if (state->exchange_count == MESSAGE_EXCHANGES_MAX) {
            return error_set(error, ERROR_RANGE, "state.exchanges: more than %d",
                             MESSAGE_EXCHANGES_MAX);
        }
        size_t index = state->exchange_count++;
        if (read_exchange(item, index, &state->exchanges[index], error) != 0) {
            return -1;
        }
    }
    return 0;
}

static int read_count(const cJSON *spool, const char *field, uint64_t *out, struct error *error)
{
    double value = 0;
    if (json_get_number(spool, "state.spool", field, 0, MESSAGE_COUNT_MAX, &value, error) != 0) {
        return -1;
    }
    *out = (uint64_t)value;
    return 0;
}

static int read_spool(const cJSON *root, struct message_state *state, struct error *error)
{
    static const char *const fields[] = {"frames", "bytes", "dropped", "room", "rate", NULL};
    const cJSON *spool = cJSON_GetObjectItemCaseSensitive(root, "spool");
    if (!spool) {
        return error_set(error, ERROR_FORMAT, "state.spool: missing");
    }
    if (json_check_fields(spool, "state.spool", fields, error) != 0 ||
        read_count(spool, "frames", &state->spool_frames, error) != 0 ||
        read_count(spool, "bytes", &state->spool_bytes, error) != 0) {
        return -1;
    }
    double room = 0;
    if (read_count(spool, "dropped", &state->dropped_frames, error) != 0 ||
        json_get_number_or(spool, "state.spool", "room", 0, MESSAGE_COUNT_MAX, 0, &room, error) !=
            0) {
        return -1;
    }
    state->spool_room_bytes = (uint64_t)room;
    return json_get_number_or(spool, "state.spool", "rate", 0, MESSAGE_COUNT_MAX, 0,
                              &state->spool_rate_bytes_s, error);
}

static int read_state(const cJSON *root, struct message_state *state, struct error *error)
{
    if (message_read_version(root, "state", error) != 0 ||
        json_get_bool_or(root, "state", "gone", false, &state->gone, error) != 0) {
        return -1;
    }
    if (state->gone) {
        return 0;
    }
    if (message_read_boot(root, "state", &state->boot, error) != 0 ||
        read_fit(root, &state->fit, error) != 0 ||
        json_get_int64_text(root, "state", "exchange_age_ns", &state->exchange_age_ns, error) !=
            0 ||
        json_get_int64_text(root, "state", "round_trip_ns", &state->round_trip_ns, error) != 0 ||
        read_exchanges(root, state, error) != 0 ||
        json_get_number_or(root, "state", "battery_v", 0, BATTERY_V_MAX, NAN, &state->battery_v,
                           error) != 0 ||
        json_get_number_or(root, "state", "battery_hours", 0, BATTERY_HOURS_MAX, NAN,
                           &state->battery_hours, error) != 0 ||
        read_spool(root, state, error) != 0) {
        return -1;
    }
    return json_get_text_or(root, "state", "note", "", state->note, sizeof state->note, error) != 0
               ? -1
               : message_read_sensors(root, state, error);
}

int message_state_read(const char *json, size_t length, struct message_state *state,
                       struct error *error)
{
    static const char *const fields[] = {
        "version",       "gone",      "boot",      "clock", "exchange_age_ns",
        "round_trip_ns", "exchanges", "battery_v", "spool", "note",
        "battery_hours", "sensors",   NULL};
    cJSON *root = NULL;
    if (message_parse(json, length, "state", fields, &root, error) != 0) {
        return -1;
    }
    struct message_state read = {.exchange_age_ns = -1,
                                 .round_trip_ns = -1,
                                 .battery_v = (double)NAN,
                                 .battery_hours = (double)NAN};
    int failed = read_state(root, &read, error);
    cJSON_Delete(root);
    if (failed == 0) {
        *state = read;
    }
    return failed;
}
