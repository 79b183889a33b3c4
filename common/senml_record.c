/* A SenML record with its base fields applied: full name, absolute time, exact value.
 * Must never guess what a record leaves out.
 * Called by senml.c. */
#include "common/senml_record.h"

#include <string.h>

#include "common/clock.h"
#include "common/json.h"
#include "common/timefmt.h"
#include "common/utf8.h"

/* RFC 8428 (2018) sec. 4.5.3: times below 2^28 s count from now, the others from 1970. */
#define RELATIVE_BELOW_NS (INT64_C(268435456) * NS_PER_S)

static bool is_alphanumeric(char c)
{
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9');
}

/* Sec. 4.5.1: the characters of the full name. */
static bool name_valid(const char *name)
{
    if (!is_alphanumeric(name[0])) {
        return false;
    }
    for (const char *at = name; *at; at++) {
        if (!is_alphanumeric(*at) && !strchr("-:./_", *at)) {
            return false;
        }
    }
    return true;
}

static int resolve_name(const struct senml_fields *fields, const struct senml_base *base,
                        struct senml_record *record, struct error *error)
{
    const cJSON *item = fields->items[SENML_N];
    const char *own = item ? item->valuestring : "";
    size_t base_length = strlen(base->name);
    size_t own_length = strlen(own);
    if (base_length + own_length == 0) {
        return error_set(error, ERROR_FORMAT, "no name: neither n nor bn");
    }
    if (base_length + own_length >= sizeof record->name) {
        return error_set(error, ERROR_RANGE, "name longer than %zu bytes", sizeof record->name - 1);
    }
    memcpy(record->name, base->name, base_length);
    memcpy(record->name + base_length, own, own_length + 1);
    if (!name_valid(record->name)) {
        return error_set(error, ERROR_FORMAT,
                         "name \"%.80s\": characters that a name must not have", record->name);
    }
    return 0;
}

static int resolve_unit(const struct senml_fields *fields, const struct senml_base *base,
                        struct senml_record *record, struct error *error)
{
    const cJSON *item = fields->items[SENML_U];
    const char *unit = item ? item->valuestring : base->unit;
    size_t length = strlen(unit);
    if (length >= sizeof record->unit) {
        return error_set(error, ERROR_RANGE, "u: longer than %zu bytes", sizeof record->unit - 1);
    }
    memcpy(record->unit, unit, length + 1);
    return 0;
}

static int resolve_time(const struct senml_fields *fields, const struct senml_base *base,
                        int64_t arrival_ns, struct senml_record *record, struct error *error)
{
    int64_t own_ns = 0;
    const char *own = json_exact_number(fields->items[SENML_T]);
    if (own && timefmt_parse_seconds_nearest(own, strlen(own), &own_ns, error)) {
        return error_wrap(error, "t");
    }
    int64_t sum_ns = 0;
    bool overflow = __builtin_add_overflow(base->time_ns, own_ns, &sum_ns);
    record->time_from_arrival = sum_ns < RELATIVE_BELOW_NS;
    record->time_ns = sum_ns;
    if (record->time_from_arrival) {
        overflow = overflow || __builtin_add_overflow(arrival_ns, sum_ns, &record->time_ns);
    }
    return overflow ? error_set(error, ERROR_RANGE, "time beyond what can be stored") : 0;
}

/* Base plus own, exactly; a missing one counts as zero (sec. 4.5.4). */
static int add_to_base(const cJSON *item, struct decimal base, const char *label,
                       struct decimal *out, struct error *error)
{
    const char *digits = json_exact_number(item);
    if (!digits) {
        *out = base;
        return 0;
    }
    struct decimal own;
    if (decimal_parse(digits, strlen(digits), &own, error)) {
        return error_wrap(error, "%s", label);
    }
    if (decimal_multiply_add(1, own, base, out)) {
        return error_set(error, ERROR_RANGE, "%s: with its base more than 18 digits", label);
    }
    return 0;
}

/* Sec. 4.3 asks for RFC 4648 sec. 5, base64 with the URL-safe alphabet and no padding. */
static bool data_valid(const char *data)
{
    for (; *data; data++) {
        if (!is_alphanumeric(*data) && *data != '-' && *data != '_') {
            return false;
        }
    }
    return true;
}

static void copy_text(const char *from, char out[SENML_TEXT_SIZE])
{
    size_t length = utf8_cut(from, strlen(from), SENML_TEXT_SIZE - 1);
    memcpy(out, from, length);
    out[length] = '\0';
}

static int count_values(const struct senml_fields *fields)
{
    int count = 0;
    for (int field = SENML_V; field <= SENML_VD; field++) {
        count += fields->items[field] != NULL;
    }
    return count;
}

static int resolve_value(const struct senml_fields *fields, const struct senml_base *base,
                         struct senml_record *record, struct error *error)
{
    const cJSON *const *items = fields->items;
    if (count_values(fields) > 1) {
        return error_set(error, ERROR_FORMAT, "more than one of v, vs, vb and vd");
    }
    if (items[SENML_VS]) {
        record->kind = SENML_STRING;
        copy_text(items[SENML_VS]->valuestring, record->text);
    } else if (items[SENML_VB]) {
        record->kind = SENML_BOOLEAN;
        record->value = (struct decimal){cJSON_IsTrue(items[SENML_VB]) ? 1 : 0, 0};
    } else if (items[SENML_VD]) {
        record->kind = SENML_DATA;
        if (!data_valid(items[SENML_VD]->valuestring)) {
            return error_set(error, ERROR_FORMAT, "vd: not base64url");
        }
        copy_text(items[SENML_VD]->valuestring, record->text);
    } else if (items[SENML_V] || base->has_value) {
        record->kind = SENML_NUMBER;
        return add_to_base(items[SENML_V], base->value, "v", &record->value, error);
    } else if (items[SENML_S] || base->has_sum) {
        record->kind = SENML_SUM_ONLY;
    } else {
        return error_set(error, ERROR_FORMAT, "no value: none of v, vs, vb, vd and s");
    }
    return 0;
}

int senml_record_resolve(const struct senml_fields *fields, const struct senml_base *base,
                         int64_t arrival_ns, struct senml_record *record, struct error *error)
{
    *record = (struct senml_record){0};
    if (resolve_name(fields, base, record, error) || resolve_unit(fields, base, record, error) ||
        resolve_time(fields, base, arrival_ns, record, error) ||
        resolve_value(fields, base, record, error)) {
        return -1;
    }
    record->has_sum = fields->items[SENML_S] != NULL || base->has_sum;
    return add_to_base(fields->items[SENML_S], base->sum, "s", &record->sum, error);
}
