/* A calibration as JSON, for hello messages, calibration files and the night's channel table.
 * Must never fill in what was not found. Called by them and by the calibrate command. */
#include "common/calibration.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "common/json.h"
#include "common/timefmt.h"

#define NUMBER_MOST 1e30

/* The figures that may be missing, by field name. */
static const struct figure {
    const char *field;
    size_t at;
    double least;
    double most;
} figures[] = {
    {"gain_sd", offsetof(struct calibration, gain_sd), 0, NUMBER_MOST},
    {"offset_sd", offsetof(struct calibration, offset_sd), 0, NUMBER_MOST},
    {"residual", offsetof(struct calibration, residual), 0, NUMBER_MOST},
    {"noise", offsetof(struct calibration, noise), 0, NUMBER_MOST},
    {"latency_s", offsetof(struct calibration, latency_s), -CALIBRATION_LATENCY_MOST_S,
     CALIBRATION_LATENCY_MOST_S},
    {"latency_sd_s", offsetof(struct calibration, latency_sd_s), 0, CALIBRATION_LATENCY_MOST_S},
};
#define FIGURES (sizeof figures / sizeof figures[0])

static double *figure_of(struct calibration *calibration, size_t i)
{
    return (double *)(void *)((char *)calibration + figures[i].at);
}

struct calibration calibration_begin(int64_t date_ns)
{
    struct calibration made = {.date_ns = date_ns, .gain = {1, 0}};
    for (size_t i = 0; i < FIGURES; i++) {
        *figure_of(&made, i) = NAN;
    }
    return made;
}

bool calibration_of_unit(const struct calibration *calibration)
{
    return calibration->date_ns != 0 && !isnan(calibration->gain_sd);
}

int calibration_value(const struct calibration *calibration, struct decimal reading,
                      struct decimal *value)
{
    struct decimal step = calibration->gain;
    step.exponent = (int16_t)(step.exponent + reading.exponent);
    return decimal_multiply_add(reading.mantissa, step, calibration->offset, value);
}

static bool same_decimal(struct decimal a, struct decimal b)
{
    a = decimal_normal(a);
    b = decimal_normal(b);
    return a.mantissa == b.mantissa && a.exponent == b.exponent;
}

bool calibration_same(const struct calibration *a, const struct calibration *b)
{
    struct calibration left = *a;
    struct calibration right = *b;
    bool same = a->date_ns == b->date_ns && strcmp(a->how, b->how) == 0 &&
                strcmp(a->against, b->against) == 0 && same_decimal(a->gain, b->gain) &&
                same_decimal(a->offset, b->offset);
    for (size_t i = 0; same && a->date_ns != 0 && i < FIGURES; i++) {
        double x = *figure_of(&left, i);
        double y = *figure_of(&right, i);
        same = (isnan(x) && isnan(y)) || (x >= y && x <= y);
    }
    return same;
}

int calibration_write(const struct calibration *calibration, struct text *out)
{
    struct calibration copy = *calibration;
    char gain[DECIMAL_TEXT_SIZE];
    char offset[DECIMAL_TEXT_SIZE];
    char date[TIMEFMT_SIZE];
    timefmt_rfc3339(copy.date_ns, date);
    decimal_format(copy.gain, gain);
    decimal_format(copy.offset, offset);
    (void)text_append_format(out, "{\"date\":\"%s\",\"how\":", date);
    (void)json_append_string(out, copy.how);
    (void)text_append_format(out, ",\"gain\":\"%s\",\"offset\":\"%s\"", gain, offset);
    for (size_t i = 0; i < FIGURES; i++) {
        double value = *figure_of(&copy, i);
        if (!isnan(value)) {
            (void)text_append_format(out, ",\"%s\":", figures[i].field);
            (void)json_append_number(out, value);
        }
    }
    if (copy.against[0]) {
        (void)text_append_format(out, ",\"against\":");
        (void)json_append_string(out, copy.against);
    }
    (void)text_append_format(out, "}");
    return out->failed ? -1 : 0;
}

static int read_decimal(const cJSON *json, const char *path, const char *field, struct decimal *out,
                        struct error *error)
{
    char text[DECIMAL_TEXT_SIZE];
    if (json_get_text(json, path, field, text, sizeof text, error) != 0) {
        return -1;
    }
    return decimal_parse(text, strlen(text), out, error) != 0
               ? error_wrap(error, "%s.%s", path, field)
               : 0;
}

static int read_words(const cJSON *json, const char *path, struct calibration *calibration,
                      struct error *error)
{
    char date[TIMEFMT_SIZE];
    if (json_get_text(json, path, "date", date, sizeof date, error) != 0 ||
        json_get_text(json, path, "how", calibration->how, CALIBRATION_HOW_SIZE, error) != 0 ||
        json_get_text_or(json, path, "against", "", calibration->against, CALIBRATION_AGAINST_SIZE,
                         error) != 0) {
        return -1;
    }
    if (timefmt_parse_rfc3339(date, strlen(date), &calibration->date_ns, error) != 0) {
        return error_wrap(error, "%s.date", path);
    }
    for (const char *c = calibration->how; *c; c++) {
        if (*c < ' ' || *c > '~') {
            return error_set(error, ERROR_FORMAT, "%s.how: not plain ASCII", path);
        }
    }
    return calibration->date_ns > 0
               ? 0
               : error_set(error, ERROR_RANGE, "%s.date: not after 1970", path);
}

int calibration_read(const cJSON *json, const char *path, struct calibration *calibration,
                     struct error *error)
{
    static const char *const fields[] = {"date",      "how",          "gain",     "offset",
                                         "gain_sd",   "offset_sd",    "residual", "noise",
                                         "latency_s", "latency_sd_s", "against",  NULL};
    struct calibration read = calibration_begin(0);
    if (json_check_fields(json, path, fields, error) != 0 ||
        read_words(json, path, &read, error) != 0 ||
        read_decimal(json, path, "gain", &read.gain, error) != 0 ||
        read_decimal(json, path, "offset", &read.offset, error) != 0) {
        return -1;
    }
    if (read.gain.mantissa == 0) {
        return error_set(error, ERROR_RANGE, "%s.gain: 0", path);
    }
    for (size_t i = 0; i < FIGURES; i++) {
        if (json_get_number_or(json, path, figures[i].field, figures[i].least, figures[i].most, NAN,
                               figure_of(&read, i), error) != 0) {
            return -1;
        }
    }
    *calibration = read;
    return 0;
}

int calibration_parse(const char *text, size_t length, const char *name,
                      struct calibration *calibration, struct error *error)
{
    cJSON *root = NULL;
    if (json_parse(text, length, name, &root, error) != 0) {
        return -1;
    }
    int result = calibration_read(root, name, calibration, error);
    cJSON_Delete(root);
    return result;
}
