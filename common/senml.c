/* SenML packs to resolved records in order of time.
 * Must never hand out a part of a pack: one record at fault refuses the whole.
 * Called by the collector's intake of foreign nodes and by imports. */
#include "common/senml.h"

#include <stdlib.h>
#include <string.h>

#include "common/json.h"
#include "common/senml_record.h"

struct place {
    int64_t time_ns;
    size_t index;
};

static int compare_places(const void *left, const void *right)
{
    const struct place *a = left;
    const struct place *b = right;
    if (a->time_ns != b->time_ns) {
        return a->time_ns < b->time_ns ? -1 : 1;
    }
    return a->index < b->index ? -1 : a->index > b->index;
}

static bool in_order(const struct senml_record *records, size_t count)
{
    for (size_t i = 1; i < count; i++) {
        if (records[i].time_ns < records[i - 1].time_ns) {
            return false;
        }
    }
    return true;
}

/* Sorts by time, equal times in pack order: places are sorted, since records are large. */
static int sort_records(struct senml_record **records, size_t count)
{
    if (in_order(*records, count)) {
        return 0;
    }
    struct place *places = malloc(count * sizeof *places);
    struct senml_record *sorted = malloc(count * sizeof *sorted);
    if (!places || !sorted) {
        free(places);
        free(sorted);
        return -1;
    }
    for (size_t i = 0; i < count; i++) {
        places[i] = (struct place){(*records)[i].time_ns, i};
    }
    qsort(places, count, sizeof *places, compare_places);
    for (size_t i = 0; i < count; i++) {
        sorted[i] = (*records)[places[i].index];
    }
    free(places);
    free(*records);
    *records = sorted;
    return 0;
}

static int resolve_records(const cJSON *pack, int64_t arrival_ns, struct senml_record *records,
                           struct error *error)
{
    struct senml_base base = {0};
    size_t count = 0;
    for (const cJSON *item = pack->child; item; item = item->next) {
        struct senml_fields fields;
        if (senml_fields_find(item, &fields, error) || senml_base_take(&fields, &base, error) ||
            senml_record_resolve(&fields, &base, arrival_ns, &records[count], error)) {
            return error_wrap(error, "SenML record %zu", count + 1);
        }
        count++;
    }
    return 0;
}

/* Resolves a pack of `count` records into new memory. */
static int resolve_pack(const cJSON *pack, size_t count, int64_t arrival_ns,
                        struct senml_record **records, struct error *error)
{
    struct senml_record *resolved = calloc(count > 0 ? count : 1, sizeof *resolved);
    if (!resolved) {
        return error_set(error, ERROR_MEMORY, "SenML pack: out of memory");
    }
    if (resolve_records(pack, arrival_ns, resolved, error)) {
        free(resolved);
        return -1;
    }
    if (sort_records(&resolved, count)) {
        free(resolved);
        return error_set(error, ERROR_MEMORY, "SenML pack: out of memory");
    }
    *records = resolved;
    return 0;
}

int senml_resolve(const char *json, size_t length, int64_t arrival_ns,
                  struct senml_record **records, size_t *count, struct error *error)
{
    *records = NULL;
    *count = 0;
    if (length > SENML_PACK_MAX) {
        return error_set(error, ERROR_RANGE, "SenML pack: %zu bytes, at most %zu are taken", length,
                         SENML_PACK_MAX);
    }
    cJSON *pack = NULL;
    if (json_parse_exact(json, length, "SenML pack", &pack, error)) {
        return -1;
    }
    int result;
    size_t held = cJSON_IsArray(pack) ? (size_t)cJSON_GetArraySize(pack) : 0;
    if (!cJSON_IsArray(pack)) {
        result = error_set(error, ERROR_FORMAT, "SenML pack: not a list of records");
    } else if (held > SENML_RECORDS_MAX) {
        result = error_set(error, ERROR_RANGE, "SenML pack: %zu records, at most %d are taken",
                           held, SENML_RECORDS_MAX);
    } else {
        result = resolve_pack(pack, held, arrival_ns, records, error);
    }
    cJSON_Delete(pack);
    if (result == 0) {
        *count = held;
    }
    return result;
}
