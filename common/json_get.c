/* Fields out of a JSON object, each fault named by its path.
 * Must never take a field of another kind, out of its bounds or given twice.
 * Called by the readers of site files and messages. */
#include "common/json.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define FIELDS_MAX 64

/* "nodes[2].rate_hz: why", or "rate_hz: why" where path is "". */
static int field_error(struct error *error, enum error_code code, const char *path,
                       const char *field, const char *why)
{
    return error_set(error, code, "%s%s%.64s: %s", path, path[0] && field[0] ? "." : "", field,
                     why);
}

/* The place of `name` in the list; FIELDS_MAX where it is not there. */
static size_t find_field(const char *const *fields, const char *name)
{
    for (size_t i = 0; i < FIELDS_MAX && fields[i]; i++) {
        if (strcmp(fields[i], name) == 0) {
            return i;
        }
    }
    return FIELDS_MAX;
}

int json_check_fields(const cJSON *object, const char *path, const char *const *fields,
                      struct error *error)
{
    if (!cJSON_IsObject(object)) {
        return field_error(error, ERROR_FORMAT, path, "", "not an object");
    }
    uint64_t seen = 0;
    for (const cJSON *item = object->child; item; item = item->next) {
        size_t place = find_field(fields, item->string);
        if (place == FIELDS_MAX) {
            return field_error(error, ERROR_FORMAT, path, item->string, "unknown field");
        }
        if (seen & (UINT64_C(1) << place)) {
            return field_error(error, ERROR_FORMAT, path, item->string, "given twice");
        }
        seen |= UINT64_C(1) << place;
    }
    return 0;
}

static const cJSON *find(const cJSON *object, const char *field)
{
    return cJSON_GetObjectItemCaseSensitive(object, field);
}

static int require(const cJSON *object, const char *path, const char *field, struct error *error)
{
    return find(object, field) ? 0 : field_error(error, ERROR_FORMAT, path, field, "missing");
}

int json_get_text(const cJSON *object, const char *path, const char *field, char *out, size_t size,
                  struct error *error)
{
    return require(object, path, field, error)
               ? -1
               : json_get_text_or(object, path, field, "", out, size, error);
}

int json_get_text_or(const cJSON *object, const char *path, const char *field, const char *fallback,
                     char *out, size_t size, struct error *error)
{
    const cJSON *item = find(object, field);
    if (item && (!cJSON_IsString(item) || json_exact_number(item))) {
        return field_error(error, ERROR_FORMAT, path, field, "not a text");
    }
    const char *text = item ? item->valuestring : fallback;
    size_t length = strlen(text);
    if (length >= size) {
        return field_error(error, ERROR_RANGE, path, field, "too long");
    }
    memcpy(out, text, length + 1);
    return 0;
}

int json_get_number(const cJSON *object, const char *path, const char *field, double low,
                    double high, double *out, struct error *error)
{
    return require(object, path, field, error)
               ? -1
               : json_get_number_or(object, path, field, low, high, 0, out, error);
}

int json_get_number_or(const cJSON *object, const char *path, const char *field, double low,
                       double high, double fallback, double *out, struct error *error)
{
    const cJSON *item = find(object, field);
    if (!item) {
        *out = fallback;
        return 0;
    }
    if (!cJSON_IsNumber(item)) {
        return field_error(error, ERROR_FORMAT, path, field, "not a number");
    }
    double value = item->valuedouble;
    if (!isfinite(value) || value < low || value > high) {
        char why[96];
        (void)snprintf(why, sizeof why, "%g is not within %g to %g", value, low, high);
        return field_error(error, ERROR_RANGE, path, field, why);
    }
    *out = value;
    return 0;
}

int json_get_bool_or(const cJSON *object, const char *path, const char *field, bool fallback,
                     bool *out, struct error *error)
{
    const cJSON *item = find(object, field);
    if (item && !cJSON_IsBool(item)) {
        return field_error(error, ERROR_FORMAT, path, field, "not true or false");
    }
    *out = item ? cJSON_IsTrue(item) : fallback;
    return 0;
}

/* A minus sign where needed and digits, nothing else; -1 as well where int64 does not hold it. */
static int parse_int64(const char *text, int64_t *out)
{
    bool negative = text[0] == '-';
    const char *at = text + negative;
    if (*at == '\0') {
        return -1;
    }
    int64_t value = 0;
    for (; *at; at++) {
        if (*at < '0' || *at > '9') {
            return -1;
        }
        int64_t digit = negative ? '0' - *at : *at - '0';
        if (__builtin_mul_overflow(value, 10, &value) ||
            __builtin_add_overflow(value, digit, &value)) {
            return -1;
        }
    }
    *out = value;
    return 0;
}

int json_get_int64_text(const cJSON *object, const char *path, const char *field, int64_t *out,
                        struct error *error)
{
    if (require(object, path, field, error)) {
        return -1;
    }
    const cJSON *item = find(object, field);
    if (!cJSON_IsString(item) || json_exact_number(item) || parse_int64(item->valuestring, out)) {
        return field_error(error, ERROR_FORMAT, path, field,
                           "not a whole number of 64 bits, written as a string");
    }
    return 0;
}

int json_get_array(const cJSON *object, const char *path, const char *field, const cJSON **out,
                   struct error *error)
{
    if (require(object, path, field, error)) {
        return -1;
    }
    const cJSON *item = find(object, field);
    if (!cJSON_IsArray(item)) {
        return field_error(error, ERROR_FORMAT, path, field, "not a list");
    }
    *out = item;
    return 0;
}
