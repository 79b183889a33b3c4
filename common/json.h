/* Strict reading of JSON that came from outside: bounded depth, known fields only, each fault named
 * by its path. A thin layer over cJSON. Must never accept a duplicate or unknown field silently. */
#ifndef ROOMWAKE_COMMON_JSON_H
#define ROOMWAKE_COMMON_JSON_H

#include <cjson/cJSON.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/decimal.h"
#include "common/error.h"

#define JSON_DEPTH_MAX 8

/* Parses exactly `length` bytes (no terminator needed): valid UTF-8, depth at most JSON_DEPTH_MAX,
 * nothing but white space after the value, no "\u0000". On a syntax fault the text names line and
 * column. The result is the caller's: cJSON_Delete. */
int json_parse(const char *text, size_t length, const char *name, cJSON **out, struct error *error);
/* As json_parse, but every number comes out as a string that starts with JSON_NUMBER_MARK, so that
 * no digit is lost; read it with json_exact_number. Text that holds the mark is refused. */
#define JSON_NUMBER_MARK '\x01'
int json_parse_exact(const char *text, size_t length, const char *name, cJSON **out,
                     struct error *error);
/* The digits of an exact number, or NULL where the item is none. */
const char *json_exact_number(const cJSON *item);

/* An object with only these fields (NULL-terminated list), none twice. `path` is e.g. "nodes[2]".
 */
int json_check_fields(const cJSON *object, const char *path, const char *const *fields,
                      struct error *error);

/* Each reads object.field; `path` names the object in errors. A missing field is an error for the
 * plain ones; the _or ones then give the fallback. */
int json_get_text(const cJSON *object, const char *path, const char *field, char *out, size_t size,
                  struct error *error);
int json_get_text_or(const cJSON *object, const char *path, const char *field, const char *fallback,
                     char *out, size_t size, struct error *error);
int json_get_number(const cJSON *object, const char *path, const char *field, double low,
                    double high, double *out, struct error *error);
int json_get_number_or(const cJSON *object, const char *path, const char *field, double low,
                       double high, double fallback, double *out, struct error *error);
int json_get_bool_or(const cJSON *object, const char *path, const char *field, bool fallback,
                     bool *out, struct error *error);
/* An int64 written as a decimal string ("1700000000000000000"), since JSON numbers are doubles. */
int json_get_int64_text(const cJSON *object, const char *path, const char *field, int64_t *out,
                        struct error *error);
int json_get_array(const cJSON *object, const char *path, const char *field, const cJSON **out,
                   struct error *error);

/* Writes `text` as a JSON string with quotes into a growing caller's buffer: see text.h. */
struct text;
int json_append_string(struct text *out, const char *string);
/* A number that reads back as the same double, as short as may be; null for what is none. */
int json_append_number(struct text *out, double value);
/* Seconds as an exact decimal number. */
int json_append_seconds(struct text *out, int64_t ns);
/* RFC 3339 in quotes; the second gives null for 0. */
int json_append_time(struct text *out, int64_t utc_ns);
int json_append_time_or_null(struct text *out, int64_t utc_ns);

#endif
