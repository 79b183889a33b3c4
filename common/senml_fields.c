/* The fields of one SenML record by label and type, and the base fields carried forward.
 * Must never pass over a label that ends in "_", which says that it must be understood.
 * Called by senml.c. */
#include "common/senml_record.h"

#include <string.h>

#include "common/json.h"
#include "common/timefmt.h"

/* RFC 8428 (2018) sec. 4.4: 10 unless told; a pack of a higher version must not be used. */
#define VERSION_DEFAULT 10

enum type { TYPE_STRING, TYPE_NUMBER, TYPE_BOOLEAN };

static const struct {
    const char *label;
    enum type type;
} labels[SENML_FIELD_COUNT] = {
    [SENML_BN] = {"bn", TYPE_STRING},  [SENML_BT] = {"bt", TYPE_NUMBER},
    [SENML_BU] = {"bu", TYPE_STRING},  [SENML_BV] = {"bv", TYPE_NUMBER},
    [SENML_BS] = {"bs", TYPE_NUMBER},  [SENML_BVER] = {"bver", TYPE_NUMBER},
    [SENML_N] = {"n", TYPE_STRING},    [SENML_U] = {"u", TYPE_STRING},
    [SENML_V] = {"v", TYPE_NUMBER},    [SENML_VS] = {"vs", TYPE_STRING},
    [SENML_VB] = {"vb", TYPE_BOOLEAN}, [SENML_VD] = {"vd", TYPE_STRING},
    [SENML_S] = {"s", TYPE_NUMBER},    [SENML_T] = {"t", TYPE_NUMBER},
    [SENML_UT] = {"ut", TYPE_NUMBER},
};

static size_t find_label(const char *label)
{
    size_t i = 0;
    while (i < SENML_FIELD_COUNT && strcmp(labels[i].label, label) != 0) {
        i++;
    }
    return i;
}

static bool type_fits(const cJSON *item, enum type type)
{
    switch (type) {
    case TYPE_STRING:
        return cJSON_IsString(item) && !json_exact_number(item);
    case TYPE_NUMBER:
        return json_exact_number(item) != NULL;
    case TYPE_BOOLEAN:
        return cJSON_IsBool(item);
    }
    return false;
}

int senml_fields_find(const cJSON *record, struct senml_fields *fields, struct error *error)
{
    static const char *const type_names[] = {"a string", "a number", "true or false"};
    *fields = (struct senml_fields){0};
    if (!cJSON_IsObject(record)) {
        return error_set(error, ERROR_FORMAT, "not an object");
    }
    for (const cJSON *item = record->child; item; item = item->next) {
        size_t place = find_label(item->string);
        size_t length = strlen(item->string);
        if (place == SENML_FIELD_COUNT) {
            if (length > 0 && item->string[length - 1] == '_') {
                return error_set(error, ERROR_VERSION,
                                 "field \"%.40s\" must be understood and "
                                 "is not known",
                                 item->string);
            }
            continue;
        }
        if (fields->items[place]) {
            return error_set(error, ERROR_FORMAT, "%s: given twice", labels[place].label);
        }
        if (!type_fits(item, labels[place].type)) {
            return error_set(error, ERROR_FORMAT, "%s: not %s", labels[place].label,
                             type_names[labels[place].type]);
        }
        fields->items[place] = item;
    }
    return 0;
}

static int take_text(const struct senml_fields *fields, enum senml_field field, char *out,
                     size_t size, struct error *error)
{
    const cJSON *item = fields->items[field];
    if (!item) {
        return 0;
    }
    size_t length = strlen(item->valuestring);
    if (length >= size) {
        return error_set(error, ERROR_RANGE, "%s: longer than %zu bytes", labels[field].label,
                         size - 1);
    }
    memcpy(out, item->valuestring, length + 1);
    return 0;
}

static int take_decimal(const struct senml_fields *fields, enum senml_field field, bool *has,
                        struct decimal *out, struct error *error)
{
    const cJSON *item = fields->items[field];
    if (!item) {
        return 0;
    }
    *has = true;
    const char *digits = json_exact_number(item);
    if (decimal_parse(digits, strlen(digits), out, error)) {
        return error_wrap(error, "%s", labels[field].label);
    }
    return 0;
}

/* The first record sets the version of the pack, and every other must have the same. */
static int take_version(const struct senml_fields *fields, struct senml_base *base,
                        struct error *error)
{
    bool has = false;
    struct decimal told = {VERSION_DEFAULT, 0};
    int64_t version = 0;
    if (take_decimal(fields, SENML_BVER, &has, &told, error)) {
        return -1;
    }
    if (!has && base->version != 0) {
        return 0;
    }
    if (decimal_rescale(told, 0, &version) || version < 1) {
        return error_set(error, ERROR_FORMAT, "bver: not a positive whole number");
    }
    if (version > VERSION_DEFAULT) {
        return error_set(error, ERROR_VERSION, "bver: version %lld is newer than %d",
                         (long long)version, VERSION_DEFAULT);
    }
    if (base->version != 0 && base->version != version) {
        return error_set(error, ERROR_VERSION, "bver: %lld after %lld in the same pack",
                         (long long)version, (long long)base->version);
    }
    base->version = version;
    return 0;
}

int senml_base_take(const struct senml_fields *fields, struct senml_base *base, struct error *error)
{
    if (take_version(fields, base, error) ||
        take_text(fields, SENML_BN, base->name, sizeof base->name, error) ||
        take_text(fields, SENML_BU, base->unit, sizeof base->unit, error) ||
        take_decimal(fields, SENML_BV, &base->has_value, &base->value, error) ||
        take_decimal(fields, SENML_BS, &base->has_sum, &base->sum, error)) {
        return -1;
    }
    const char *time = json_exact_number(fields->items[SENML_BT]);
    if (time && timefmt_parse_seconds_nearest(time, strlen(time), &base->time_ns, error)) {
        return error_wrap(error, "bt");
    }
    return 0;
}
