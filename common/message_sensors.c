/* Measured rate, noise, clipped, stuck and missing, a channel an object.
 * Must never tell a figure that was not measured. Called by message_state.c. */
#include "common/message_sensors.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "common/json.h"
#include "common/message_fields.h"

#define FIGURE_MOST 1e30

static void append_known(struct text *out, const char *field, double value)
{
    if (!isnan(value)) {
        (void)text_append_format(out, ",\"%s\":%.6g", field, value);
    }
}

void message_append_sensors(struct text *out, const struct message_state *state)
{
    for (size_t i = 0; i < state->sensor_count; i++) {
        const struct message_sensor *sensor = &state->sensors[i];
        (void)text_append_format(out, "%s{\"name\":\"%s\"", i == 0 ? ",\"sensors\":[" : ",",
                                 sensor->name);
        append_known(out, "rate_hz", sensor->rate_hz);
        append_known(out, "noise", sensor->noise);
        (void)text_append_format(out, ",\"clipped\":%" PRIu64, sensor->clipped);
        append_known(out, "stuck_s", sensor->stuck_s);
        append_known(out, "missing_s", sensor->missing_s);
        (void)text_append_format(out, "}");
    }
    (void)text_append_format(out, "%s", state->sensor_count > 0 ? "]" : "");
}

static int read_sensor(const cJSON *item, size_t index, struct message_sensor *sensor,
                       struct error *error)
{
    static const char *const fields[] = {"name",    "rate_hz",   "noise", "clipped",
                                         "stuck_s", "missing_s", NULL};
    char path[40];
    double clipped;
    (void)snprintf(path, sizeof path, "state.sensors[%zu]", index);
    if (json_check_fields(item, path, fields, error) != 0 ||
        json_get_text(item, path, "name", sensor->name, sizeof sensor->name, error) != 0 ||
        json_get_number_or(item, path, "rate_hz", 0, FIGURE_MOST, NAN, &sensor->rate_hz, error) !=
            0 ||
        json_get_number_or(item, path, "noise", 0, FIGURE_MOST, NAN, &sensor->noise, error) != 0 ||
        json_get_number(item, path, "clipped", 0, MESSAGE_COUNT_MAX, &clipped, error) != 0 ||
        json_get_number(item, path, "stuck_s", 0, FIGURE_MOST, &sensor->stuck_s, error) != 0 ||
        json_get_number(item, path, "missing_s", 0, FIGURE_MOST, &sensor->missing_s, error) != 0) {
        return -1;
    }
    sensor->clipped = (uint64_t)clipped;
    return channel_name_valid(sensor->name, strlen(sensor->name))
               ? 0
               : error_set(error, ERROR_FORMAT, "%s.name: not a channel's name", path);
}

int message_read_sensors(const cJSON *root, struct message_state *state, struct error *error)
{
    const cJSON *list = NULL;
    if (!cJSON_GetObjectItemCaseSensitive(root, "sensors")) {
        return 0;
    }
    if (json_get_array(root, "state", "sensors", &list, error) != 0) {
        return -1;
    }
    for (const cJSON *item = list->child; item; item = item->next) {
        if (state->sensor_count == NODE_CHANNELS_MAX) {
            return error_set(error, ERROR_RANGE, "state.sensors: more than %d", NODE_CHANNELS_MAX);
        }
        size_t index = state->sensor_count++;
        if (read_sensor(item, index, &state->sensors[index], error) != 0) {
            return -1;
        }
    }
    return 0;
}
