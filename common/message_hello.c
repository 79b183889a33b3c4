/* The hello message: a node's channels and scales since its last boot.
 * Must never let a channel through that a block could not be read with.
 * Called by the node (write) and the collector (read). */
#include "common/message.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "common/json.h"
#include "common/message_fields.h"

#define RATE_HZ_MAX 20000.0

static int append_channel(struct text *out, const struct channel *channel)
{
    struct decimal rate;
    if (decimal_from_double(channel->rate_hz, &rate) != 0) {
        return -1;
    }
    char rate_text[DECIMAL_TEXT_SIZE];
    char step[DECIMAL_TEXT_SIZE];
    char offset[DECIMAL_TEXT_SIZE];
    decimal_format(rate, rate_text);
    decimal_format(channel->step, step);
    decimal_format(channel->offset, offset);
    (void)text_append_format(out, "{\"name\":\"%s\",\"unit\":", channel->name);
    (void)json_append_string(out, channel->unit);
    (void)text_append_format(out, ",\"rate_hz\":%s,\"step\":\"%s\",\"offset\":\"%s\"", rate_text,
                             step, offset);
    if (channel->least != channel->most) {
        (void)text_append_format(out, ",\"least\":%" PRId32 ",\"most\":%" PRId32, channel->least,
                                 channel->most);
    }
    if (channel->calibration.date_ns != 0) {
        (void)text_append_format(out, ",\"calibration\":");
        (void)calibration_write(&channel->calibration, out);
    }
    (void)text_append_format(out, "}");
    return 0;
}

int message_hello_write(const struct message_hello *hello, struct text *out)
{
    message_append_head(out, hello->boot);
    (void)text_append_format(out, ",\"software\":");
    (void)json_append_string(out, hello->software);
    (void)text_append_format(out, ",\"channels\":[");
    for (size_t i = 0; i < hello->channel_count; i++) {
        (void)text_append_format(out, "%s", i > 0 ? "," : "");
        if (append_channel(out, &hello->channels[i]) != 0) {
            return -1;
        }
    }
    (void)text_append_format(out, "]}");
    return message_finish(out);
}

static int read_decimal(const cJSON *item, const char *path, const char *field, struct decimal *out,
                        struct error *error)
{
    char text[DECIMAL_TEXT_SIZE];
    if (json_get_text(item, path, field, text, sizeof text, error) != 0) {
        return -1;
    }
    if (decimal_parse(text, strlen(text), out, error) != 0) {
        return error_wrap(error, "%s.%s", path, field);
    }
    return 0;
}

/* "least" and "most": both or none. */
static int read_range(const cJSON *item, const char *path, struct channel *channel,
                      struct error *error)
{
    double least;
    double most;
    if (json_get_number_or(item, path, "least", INT32_MIN, INT32_MAX, 0, &least, error) != 0 ||
        json_get_number_or(item, path, "most", INT32_MIN, INT32_MAX, 0, &most, error) != 0) {
        return -1;
    }
    if (least > most) {
        return error_set(error, ERROR_RANGE, "%s.least: above most", path);
    }
    channel->least = (int32_t)least;
    channel->most = (int32_t)most;
    return 0;
}

/* Step and offset have it in them already. */
static int read_calibration(const cJSON *item, const char *path, struct channel *channel,
                            struct error *error)
{
    char inner[64];
    const cJSON *calibration = cJSON_GetObjectItemCaseSensitive(item, "calibration");
    (void)snprintf(inner, sizeof inner, "%s.calibration", path);
    return calibration ? calibration_read(calibration, inner, &channel->calibration, error) : 0;
}

static int read_channel(const cJSON *item, const char *path, struct channel *channel,
                        struct error *error)
{
    static const char *const fields[] = {"name",  "unit", "rate_hz",     "step", "offset",
                                         "least", "most", "calibration", NULL};
    char name[CHANNEL_NAME_SIZE];
    char unit[UNIT_SIZE];
    double rate_hz = 0;
    if (json_check_fields(item, path, fields, error) != 0 ||
        json_get_text(item, path, "name", name, sizeof name, error) != 0 ||
        json_get_text(item, path, "unit", unit, sizeof unit, error) != 0 ||
        json_get_number(item, path, "rate_hz", 0, RATE_HZ_MAX, &rate_hz, error) != 0) {
        return -1;
    }
    if (channel_init(channel, name, unit, rate_hz, error) != 0) {
        return error_wrap(error, "%s", path);
    }
    if (read_decimal(item, path, "step", &channel->step, error) != 0 ||
        read_decimal(item, path, "offset", &channel->offset, error) != 0) {
        return -1;
    }
    if (channel->step.mantissa == 0) {
        return error_set(error, ERROR_RANGE, "%s.step: 0", path);
    }
    return read_range(item, path, channel, error) != 0
               ? -1
               : read_calibration(item, path, channel, error);
}

static int read_channels(const cJSON *root, struct message_hello *hello, struct error *error)
{
    const cJSON *list = NULL;
    if (json_get_array(root, "hello", "channels", &list, error) != 0) {
        return -1;
    }
    const cJSON *item = NULL;
    cJSON_ArrayForEach(item, list)
    {
        size_t index = hello->channel_count;
        if (index == NODE_CHANNELS_MAX) {
            return error_set(error, ERROR_RANGE, "hello.channels: more than %d", NODE_CHANNELS_MAX);
        }
        char path[48];
        (void)snprintf(path, sizeof path, "hello.channels[%zu]", index);
        if (read_channel(item, path, &hello->channels[index], error) != 0) {
            return -1;
        }
        for (size_t i = 0; i < index; i++) {
            if (strcmp(hello->channels[i].name, hello->channels[index].name) == 0) {
                return error_set(error, ERROR_FORMAT, "%s.name: \"%s\" is there twice", path,
                                 hello->channels[i].name);
            }
        }
        hello->channel_count++;
    }
    return 0;
}

int message_hello_read(const char *json, size_t length, struct message_hello *hello,
                       struct error *error)
{
    static const char *const fields[] = {"version", "boot", "software", "channels", NULL};
    cJSON *root = NULL;
    if (message_parse(json, length, "hello", fields, &root, error) != 0) {
        return -1;
    }
    struct message_hello read = {0};
    int failed = message_read_version(root, "hello", error);
    if (failed == 0) {
        failed = message_read_boot(root, "hello", &read.boot, error);
    }
    if (failed == 0) {
        failed =
            json_get_text(root, "hello", "software", read.software, sizeof read.software, error);
    }
    if (failed == 0) {
        failed = read_channels(root, &read, error);
    }
    cJSON_Delete(root);
    if (failed == 0) {
        *hello = read;
    }
    return failed;
}
