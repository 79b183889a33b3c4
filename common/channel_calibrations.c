/* Reads, writes and applies calibration files.
 * Must never leave half a file, nor skip a channel that it names. Called by the node's config, the
 * import and the calibrate command. */
#include "common/channel_calibrations.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "common/json.h"
#include "common/small_file.h"

#define FORMAT "roomwake-calibration"
#define VERSION 1
#define PATH_SIZE 4096

/* ---- reading ---- */

static int read_channel(const cJSON *item, const char *path, struct channel_calibrations *file,
                        struct error *error)
{
    static const char *const fields[] = {"name", "unit", "calibration", NULL};
    char name[CHANNEL_NAME_SIZE];
    char unit[UNIT_SIZE];
    char inner[96];
    struct calibration calibration;
    (void)snprintf(inner, sizeof inner, "%s.calibration", path);
    if (json_check_fields(item, path, fields, error) != 0 ||
        json_get_text(item, path, "name", name, sizeof name, error) != 0 ||
        json_get_text(item, path, "unit", unit, sizeof unit, error) != 0) {
        return -1;
    }
    if (!channel_name_valid(name, strlen(name))) {
        return error_set(error, ERROR_FORMAT, "%s.name: not a channel's name", path);
    }
    if (channel_calibrations_find(file, name)) {
        return error_set(error, ERROR_FORMAT, "%s.name: \"%s\" is there twice", path, name);
    }
    if (calibration_read(cJSON_GetObjectItemCaseSensitive(item, "calibration"), inner, &calibration,
                         error) != 0) {
        return -1;
    }
    return channel_calibrations_put(file, name, unit, &calibration, error);
}

static int read_root(const cJSON *root, struct channel_calibrations *file, struct error *error)
{
    static const char *const fields[] = {"format", "version", "node", "channels", NULL};
    char format[32];
    double version;
    const cJSON *list = NULL;
    if (json_check_fields(root, "", fields, error) != 0 ||
        json_get_text(root, "", "format", format, sizeof format, error) != 0 ||
        json_get_number(root, "", "version", 0, 1e6, &version, error) != 0 ||
        json_get_text(root, "", "node", file->node, sizeof file->node, error) != 0 ||
        json_get_array(root, "", "channels", &list, error) != 0) {
        return -1;
    }
    if (strcmp(format, FORMAT) != 0 || version < VERSION || version > VERSION) {
        return error_set(error, ERROR_VERSION, "no \"" FORMAT "\" of version %d", VERSION);
    }
    if (!ident_valid(file->node, strlen(file->node))) {
        return error_set(error, ERROR_FORMAT, "node: must be 1 to 32 of a-z, 0-9 and -");
    }
    for (const cJSON *item = list->child; item; item = item->next) {
        char path[48];
        (void)snprintf(path, sizeof path, "channels[%zu]", file->count);
        if (read_channel(item, path, file, error) != 0) {
            return -1;
        }
    }
    return 0;
}

int channel_calibrations_parse(const char *text, size_t length, const char *name,
                               struct channel_calibrations *file, struct error *error)
{
    cJSON *root = NULL;
    *file = (struct channel_calibrations){0};
    if (json_parse(text, length, name, &root, error) != 0) {
        return -1;
    }
    int result = read_root(root, file, error);
    cJSON_Delete(root);
    return result == 0 ? 0 : error_wrap(error, "%s", name);
}

int channel_calibrations_load(const char *path, struct channel_calibrations *file,
                              struct error *error)
{
    char *text = NULL;
    size_t length = 0;
    if (small_file_read(path, CHANNEL_CALIBRATIONS_MAX, &text, &length, error) != 0) {
        return -1;
    }
    int result = channel_calibrations_parse(text, length, path, file, error);
    free(text);
    return result;
}

/* ---- writing ---- */

static int spell(const struct channel_calibrations *file, struct text *out)
{
    (void)text_append_format(
        out, "{\"format\":\"" FORMAT "\",\"version\":%d,\"node\":\"%s\",\"channels\":[", VERSION,
        file->node);
    for (size_t i = 0; i < file->count; i++) {
        (void)text_append_format(out, "%s\n  {\"name\":\"%s\",\"unit\":", i > 0 ? "," : "",
                                 file->channels[i].name);
        (void)json_append_string(out, file->channels[i].unit);
        (void)text_append_format(out, ",\"calibration\":");
        (void)calibration_write(&file->channels[i].calibration, out);
        (void)text_append_format(out, "}");
    }
    (void)text_append_format(out, "\n]}\n");
    return out->failed ? -1 : 0;
}

static int write_whole(const char *path, const struct text *text, struct error *error)
{
    char beside[PATH_SIZE];
    int length = snprintf(beside, sizeof beside, "%s.new", path);
    if (length < 0 || (size_t)length >= sizeof beside) {
        return error_set(error, ERROR_RANGE, "%.100s...: the path is too long", path);
    }
    FILE *out = fopen(beside, "we");
    if (!out) {
        return error_set(error, ERROR_IO, "%s: %s", beside, strerror(errno));
    }
    bool good = fwrite(text->bytes, 1, text->length, out) == text->length && fflush(out) == 0 &&
                fsync(fileno(out)) == 0;
    good = fclose(out) == 0 && good;
    if (!good || rename(beside, path) != 0) {
        (void)error_set(error, ERROR_IO, "%s: %s", path, strerror(errno));
        (void)remove(beside);
        return -1;
    }
    return 0;
}

int channel_calibrations_save(const char *path, const struct channel_calibrations *file,
                              struct error *error)
{
    struct text text = {0};
    int result = spell(file, &text) != 0 ? error_set(error, ERROR_MEMORY, "%s: out of memory", path)
                                         : write_whole(path, &text, error);
    text_free(&text);
    return result;
}

/* ---- using ---- */

static size_t place_of(const struct channel_calibrations *file, const char *channel)
{
    size_t i = 0;
    while (i < file->count && strcmp(file->channels[i].name, channel) != 0) {
        i++;
    }
    return i;
}

const struct calibration *channel_calibrations_find(const struct channel_calibrations *file,
                                                    const char *channel)
{
    size_t place = place_of(file, channel);
    return place < file->count ? &file->channels[place].calibration : NULL;
}

int channel_calibrations_put(struct channel_calibrations *file, const char *channel,
                             const char *unit, const struct calibration *calibration,
                             struct error *error)
{
    size_t place = place_of(file, channel);
    if (place == NODE_CHANNELS_MAX) {
        return error_set(error, ERROR_RANGE, "more than %d channels", NODE_CHANNELS_MAX);
    }
    file->count += place == file->count;
    (void)snprintf(file->channels[place].name, sizeof file->channels[place].name, "%s", channel);
    (void)snprintf(file->channels[place].unit, sizeof file->channels[place].unit, "%s", unit);
    file->channels[place].calibration = *calibration;
    return 0;
}

int channel_calibrations_check(const struct channel_calibrations *file,
                               const struct channel *channels, size_t count, struct error *error)
{
    for (size_t i = 0; i < file->count; i++) {
        size_t k = 0;
        while (k < count && strcmp(channels[k].name, file->channels[i].name) != 0) {
            k++;
        }
        if (k == count) {
            return error_set(error, ERROR_NOT_FOUND,
                             "calibration of %s: the node's drivers have no such channel",
                             file->channels[i].name);
        }
    }
    return 0;
}

int channel_calibrations_apply(const struct channel_calibrations *file, struct channel *channels,
                               size_t count, struct error *error)
{
    for (size_t i = 0; i < count; i++) {
        size_t place = place_of(file, channels[i].name);
        if (place == file->count) {
            continue;
        }
        if (strcmp(channels[i].unit, file->channels[place].unit) != 0) {
            return error_set(error, ERROR_STATE,
                             "calibration of %s: it was done in %s, the driver tells %s",
                             channels[i].name, file->channels[place].unit, channels[i].unit);
        }
        if (channel_calibrate(&channels[i], &file->channels[place].calibration, error) != 0) {
            return error_wrap(error, "calibration");
        }
    }
    return 0;
}
