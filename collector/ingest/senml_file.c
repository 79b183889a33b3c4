/* The records of a SenML file as samples, one after the other.
 * Must never hold more of it than one record, nor guess a unit. Called by the import. */
#include "collector/ingest/senml_file.h"

#include <inttypes.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "common/json.h"
#include "common/senml_record.h"

#define RECORD_BYTES_MAX 4096u

struct senml_file {
    char *name; /* the path */
    const struct site *site;
    const char *bytes;
    size_t length;
    bool mapped; /* bytes are the file's */
    size_t at;
    uint64_t record; /* of the last one taken, from 1 */
    bool ended;
    struct senml_base base;
};

static int fail(void *context, uint64_t record, enum error_code code, const char *what,
                struct error *error)
{
    const struct senml_file *file = context;
    return error_set(error, code, "%s: record %" PRIu64 ": %s", file->name, record, what);
}

static int fail_here(struct senml_file *file, const char *what, struct error *error)
{
    return fail(file, file->record, ERROR_FORMAT, what, error);
}

static bool is_space(char c)
{
    return c == ' ' || c == '\t' || c == '\n' || c == '\r';
}

static char skip_space(struct senml_file *file)
{
    while (file->at < file->length && is_space(file->bytes[file->at])) {
        file->at++;
    }
    return file->at < file->length ? file->bytes[file->at] : '\0';
}

/* The bytes of the object that begins here: up to its closing brace. 0: it does not close within
 * what a record may be long. */
static size_t object_length(const struct senml_file *file)
{
    bool quoted = false;
    int depth = 0;
    size_t left = file->length - file->at;
    const char *bytes = file->bytes + file->at;
    for (size_t i = 0; i < left && i < RECORD_BYTES_MAX; i++) {
        char c = bytes[i];
        if (quoted) {
            if (c == '\\') {
                i++;
            } else if (c == '"') {
                quoted = false;
            }
        } else if (c == '"') {
            quoted = true;
        } else if (c == '{' || c == '[') {
            depth++;
        } else if ((c == '}' || c == ']') && --depth == 0) {
            return i + 1;
        }
    }
    return 0;
}

/* 1: *json is the next object; 0: the array has ended, and nothing is behind it. */
static int take_object(struct senml_file *file, const char **json, size_t *length,
                       struct error *error)
{
    char c = skip_space(file);
    if (file->ended) {
        return c == '\0' && file->at == file->length
                   ? 0
                   : fail_here(file, "more behind the pack's end", error);
    }
    if (file->record > 0 && c == ',') {
        file->at++;
        c = skip_space(file);
    } else if (c == ']') {
        file->at++;
        file->ended = true;
        return take_object(file, json, length, error);
    } else if (file->record > 0) {
        return fail_here(file, "neither a comma nor the pack's end behind it", error);
    }
    file->record++;
    *json = file->bytes + file->at;
    *length = c == '{' ? object_length(file) : 0;
    if (*length == 0) {
        return fail_here(file, "not an object of at most 4096 bytes", error);
    }
    file->at += *length;
    return 1;
}

/* The last part of a name, and what is before it without its separator. */
static size_t split(const char *name, size_t length)
{
    while (length > 0 && name[length - 1] != '/' && name[length - 1] != ':') {
        length--;
    }
    return length;
}

static int find_node(struct senml_file *file, const char *name, size_t length, uint32_t *node,
                     struct error *error)
{
    char id[IDENT_SIZE];
    size_t start = length > 0 ? split(name, length - 1) : 0;
    size_t size = length > 0 ? length - 1 - start : 0;
    if (size == 0 && file->site->node_count == 1) {
        *node = 0;
        return 0;
    }
    if (size < sizeof id) {
        memcpy(id, name + start, size);
        id[size] = '\0';
        size_t found = site_find_node(file->site, id);
        if (found != SIZE_MAX) {
            *node = (uint32_t)found;
            return 0;
        }
    }
    return error_set(error, ERROR_FORMAT,
                     "%s: record %" PRIu64 ": \"%.80s\" does not end in NODE/CHANNEL of the site"
                     " file",
                     file->name, file->record, name);
}

static int name_sample(struct senml_file *file, const struct senml_record *record,
                       struct recording_sample *sample, struct error *error)
{
    size_t length = split(record->name, strlen(record->name));
    const char *channel = record->name + length;
    if (find_node(file, record->name, length, &sample->node, error) != 0) {
        return -1;
    }
    const struct site_node *node = &file->site->nodes[sample->node];
    const char *unit = "s";
    sample->channel = RECORDING_CLOCK;
    if (strcmp(channel, RECORDING_CLOCK_NAME) != 0) {
        size_t found = site_node_find_channel(node, channel);
        if (found == SIZE_MAX) {
            return error_set(error, ERROR_FORMAT,
                             "%s: record %" PRIu64
                             ": node %s has no channel %.47s in the site file",
                             file->name, file->record, node->id, channel);
        }
        sample->channel = (uint16_t)found;
        unit = node->channels[found].unit;
    }
    if (record->unit[0] != '\0' && strcmp(record->unit, unit) != 0) {
        return error_set(error, ERROR_FORMAT,
                         "%s: record %" PRIu64 ": unit \"%s\" where the site file has \"%s\"",
                         file->name, file->record, record->unit, unit);
    }
    return 0;
}

static int resolve(struct senml_file *file, const cJSON *tree, struct senml_record *record,
                   struct error *error)
{
    struct senml_fields fields;
    if (senml_fields_find(tree, &fields, error) != 0 ||
        senml_base_take(&fields, &file->base, error) != 0 ||
        senml_record_resolve(&fields, &file->base, 0, record, error) != 0) {
        return error_wrap(error, "%s: record %" PRIu64, file->name, file->record);
    }
    if (record->time_from_arrival) {
        return fail_here(file, "a time relative to its arrival: a recording needs absolute times",
                         error);
    }
    return record->kind == SENML_NUMBER || record->kind == SENML_BOOLEAN
               ? 0
               : fail_here(file, "neither a number nor a boolean", error);
}

static int next(void *context, struct recording_sample *sample, struct error *error)
{
    struct senml_file *file = context;
    const char *json = NULL;
    size_t length = 0;
    cJSON *tree = NULL;
    struct senml_record record;
    int more = take_object(file, &json, &length, error);
    if (more <= 0) {
        return more;
    }
    if (json_parse_exact(json, length, "JSON", &tree, error) != 0) {
        return error_wrap(error, "%s: record %" PRIu64, file->name, file->record);
    }
    int result = resolve(file, tree, &record, error);
    cJSON_Delete(tree);
    if (result != 0 || name_sample(file, &record, sample, error) != 0) {
        return -1;
    }
    sample->place = file->record;
    sample->time_ns = record.time_ns;
    sample->value = record.value;
    return 1;
}

static void rewind_file(void *context)
{
    struct senml_file *file = context;
    file->at = 0;
    (void)skip_space(file);
    file->at++; /* the bracket, which open has seen */
    file->record = 0;
    file->ended = false;
    file->base = (struct senml_base){0};
}

static void close_file(void *context)
{
    struct senml_file *file = context;
    if (file->mapped) {
        recording_unmap(file->bytes, file->length);
    }
    free(file->name);
    free(file);
}

static int look(struct senml_file *file, struct recording **out, struct error *error)
{
    if (skip_space(file) != '[') {
        (void)error_set(error, ERROR_FORMAT, "%s: not a SenML pack: no JSON array", file->name);
        close_file(file);
        return -1;
    }
    rewind_file(file);
    const struct recording_source source = {file, next, rewind_file, fail, close_file};
    return recording_open(file->name, &source, file->site, out, error);
}

static struct senml_file *make(const char *name, const struct site *site, struct error *error)
{
    struct senml_file *file = calloc(1, sizeof *file);
    if (!file || !(file->name = strdup(name))) {
        (void)error_set(error, ERROR_MEMORY, "%s: out of memory", name);
        free(file);
        return NULL;
    }
    file->site = site;
    return file;
}

int senml_file_open(const char *path, const struct site *site, struct recording **out,
                    struct error *error)
{
    struct senml_file *file = make(path, site, error);
    if (!file) {
        return -1;
    }
    if (recording_map(path, &file->bytes, &file->length, error)) {
        close_file(file);
        return -1;
    }
    file->mapped = true;
    return look(file, out, error);
}

int senml_file_open_bytes(const char *name, const char *bytes, size_t length,
                          const struct site *site, struct recording **out, struct error *error)
{
    struct senml_file *file = make(name, site, error);
    if (!file) {
        return -1;
    }
    file->bytes = bytes;
    file->length = length;
    return look(file, out, error);
}
