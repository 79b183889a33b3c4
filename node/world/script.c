/* A script's text into a plain struct: settings, wiring, cycles, and the list of events with its
 * repeats written out. Must never do I/O. Called by the simulate driver, tests and benchmarks. */
#include "node/world/script.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "common/clock.h"
#include "common/json.h"
#include "node/world/field.h"
#include "node/world/rng.h"
#include "node/world/script_event.h"

#define SCRIPT_VERSION 1
#define SCRIPT_TEXT_MAX ((size_t)1024 * 1024)
#define PATH_TEXT_SIZE 64
#define NIGHT_S 200000.0
#define SEED_MAX 9007199254740992.0 /* 2^53: what a JSON number carries exactly */

/* A number of the script and where it goes. */
struct setting {
    const char *field;
    double low;
    double high;
    double fallback;
    double *out;
};

/* Reads an optional object of numbers; its fields are those of the table. */
static int read_settings(const cJSON *root, const char *object, const struct setting *settings,
                         size_t count, bool *present, struct error *error)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(root, object);
    const char *fields[12] = {NULL};
    for (size_t i = 0; i < count; i++) {
        fields[i] = settings[i].field;
        *settings[i].out = settings[i].fallback;
    }
    *present = item != NULL;
    if (!item) {
        return 0;
    }
    if (json_check_fields(item, object, fields, error)) {
        return -1;
    }
    for (size_t i = 0; i < count; i++) {
        if (json_get_number_or(item, object, settings[i].field, settings[i].low, settings[i].high,
                               settings[i].fallback, settings[i].out, error)) {
            return -1;
        }
    }
    return 0;
}

#define READ_SETTINGS(root, object, table, present, error)                                         \
    read_settings(root, object, table, sizeof(table) / sizeof(table)[0], present, error)

static int read_building(const cJSON *root, const struct site *site, struct script *script,
                         struct error *error)
{
    bool present;
    const struct setting mains[] = {
        {"hz", 40.0, 70.0, site->mains_hz, &script->mains_hz},
        {"wander_hz", 0.0, 1.0, 0.015, &script->mains_wander_hz},
        {"wobble", 0.0, 0.5, 0.01, &script->standing_wobble},
        {"third", 0.0, 1.0, 0.1, &script->third},
        {"fifth", 0.0, 1.0, 0.05, &script->fifth},
        {"pickup_counts", 0.0, 1e6, 60.0, &script->pickup_counts},
    };
    const struct setting earth[] = {
        {"total_t", 0.0, 1e-3, 4.9e-5, &script->earth_t},
        {"dip_deg", -90.0, 90.0, 66.0, &script->dip_deg},
        {"north_deg", -360.0, 360.0, 90.0, &script->north_deg},
    };
    const struct setting temperature[] = {
        {"inside_c", -40.0, 60.0, 17.0, &script->inside_c},
        {"outside_c", -40.0, 60.0, 6.0, &script->outside_c},
    };
    return READ_SETTINGS(root, "mains", mains, &present, error) ||
                   READ_SETTINGS(root, "earth", earth, &present, error) ||
                   READ_SETTINGS(root, "temperature", temperature, &present, error)
               ? -1
               : 0;
}

static int read_sensors(const cJSON *root, struct script *script, struct error *error)
{
    bool present;
    struct script_heating *heating = &script->heating;
    const struct setting heating_table[] = {
        {"on_s", 1.0, NIGHT_S, 600.0, &heating->on_s},
        {"off_s", 1.0, NIGHT_S, 1500.0, &heating->off_s},
        {"first_s", 0.0, NIGHT_S, 0.0, &heating->first_s},
        {"rise_c", 0.0, 60.0, 6.0, &heating->rise_c},
        {"lag_s", 1.0, NIGHT_S, 1800.0, &heating->lag_s},
    };
    const struct setting motion[] = {
        {"range_m", 0.1, 30.0, 5.0, &script->motion_range_m},
        {"hold_s", 0.0, 300.0, 2.5, &script->motion_hold_s},
        {"blind_s", 0.0, 60.0, 2.5, &script->motion_blind_s},
        {"warm_up_s", 0.0, 600.0, 0.0, &script->motion_warm_up_s},
        {"latency_s", 0.0, 5.0, 0.2, &script->motion_latency_s},
        {"false_per_hour", 0.0, 60.0, 0.0, &script->motion_false_per_hour},
    };
    const struct setting noise[] = {
        {"magnetic_counts", 0.0, 1e4, 4.0, &script->noise_magnetic_counts},
        {"electric_counts", 0.0, 1e4, 2.0, &script->noise_electric_counts},
        {"slow", 0.0, 10.0, 0.1, &script->noise_slow},
        {"offset_t", 0.0, 1e-4, 1.5e-6, &script->offset_t},
        {"gain_error", 0.0, 0.5, 0.005, &script->gain_error},
        {"drift_t_per_c", 0.0, 1e-6, 2e-8, &script->drift_t_per_c},
    };
    return READ_SETTINGS(root, "heating", heating_table, &heating->present, error) ||
                   READ_SETTINGS(root, "motion", motion, &present, error) ||
                   READ_SETTINGS(root, "noise", noise, &present, error)
               ? -1
               : 0;
}

static int unit_vector(double vector[3], const char *path, const char *field, struct error *error)
{
    double length = sqrt(vec_dot(vector, vector));
    if (!(length > 1e-9)) {
        return error_set(error, ERROR_RANGE, "%s.%s: has no direction", path, field);
    }
    for (int i = 0; i < 3; i++) {
        vector[i] /= length;
    }
    return 0;
}

static int read_wire(const cJSON *item, const char *path, struct script *script,
                     struct error *error)
{
    static const char *const fields[] = {"id",        "through_m",     "along",  "across",
                                         "spacing_m", "standing_amps", "fed_by", NULL};
    static const double upwards[3] = {0.0, 0.0, 1.0};
    struct script_wire *wire = &script->wires[script->wire_count];
    wire->fed_by = SCRIPT_NO_WIRE;
    if (json_check_fields(item, path, fields, error) ||
        json_get_text(item, path, "id", wire->id, sizeof wire->id, error) ||
        script_read_vector(item, path, "through_m", 1e4, NULL, wire->through_m, error) ||
        script_read_vector(item, path, "along", 1e4, NULL, wire->along, error) ||
        unit_vector(wire->along, path, "along", error) ||
        script_read_vector(item, path, "across", 1e4, upwards, wire->across, error) ||
        unit_vector(wire->across, path, "across", error) ||
        json_get_number_or(item, path, "spacing_m", 0.0, 10.0, 0.0, &wire->spacing_m, error) ||
        json_get_number_or(item, path, "standing_amps", 0.0, 1000.0, 0.0, &wire->standing_amps,
                           error)) {
        return -1;
    }
    if (!ident_valid(wire->id, strlen(wire->id))) {
        return error_set(error, ERROR_FORMAT, "%s.id: not [a-z0-9-]{1,32}", path);
    }
    for (size_t i = 0; i < script->wire_count; i++) {
        if (strcmp(script->wires[i].id, wire->id) == 0) {
            return error_set(error, ERROR_FORMAT, "%s.id: \"%s\" is there twice", path, wire->id);
        }
    }
    const struct script_wires earlier = {script->wire_count, script->wires};
    if (cJSON_GetObjectItemCaseSensitive(item, "fed_by") &&
        script_read_wire(item, path, "fed_by", &earlier, &wire->fed_by, error)) {
        return -1;
    }
    script->wire_count++;
    return 0;
}

static int read_cycle(const cJSON *item, const char *path, struct script *script,
                      struct error *error)
{
    static const char *const fields[] = {"wire",    "amps",   "on_s", "off_s",
                                         "first_s", "jitter", NULL};
    const struct script_wires wires = {script->wire_count, script->wires};
    struct script_cycle *cycle = &script->cycles[script->cycle_count];
    if (json_check_fields(item, path, fields, error) ||
        script_read_wire(item, path, "wire", &wires, &cycle->wire, error) ||
        json_get_number(item, path, "amps", 0.0, 1000.0, &cycle->amps, error) ||
        json_get_number(item, path, "on_s", 1.0, NIGHT_S, &cycle->on_s, error) ||
        json_get_number(item, path, "off_s", 1.0, NIGHT_S, &cycle->off_s, error) ||
        json_get_number_or(item, path, "first_s", 0.0, NIGHT_S, 0.0, &cycle->first_s, error) ||
        json_get_number_or(item, path, "jitter", 0.0, 0.5, 0.05, &cycle->jitter, error)) {
        return -1;
    }
    script->cycle_count++;
    return 0;
}

/* An optional array of at most `most` entries, each handed to `read`. */
static int read_list(const cJSON *root, const char *field, size_t most,
                     int (*read)(const cJSON *, const char *, struct script *, struct error *),
                     struct script *script, struct error *error)
{
    const cJSON *list;
    if (!cJSON_GetObjectItemCaseSensitive(root, field)) {
        return 0;
    }
    if (json_get_array(root, "", field, &list, error)) {
        return -1;
    }
    size_t index = 0;
    const cJSON *item;
    cJSON_ArrayForEach(item, list)
    {
        char path[PATH_TEXT_SIZE];
        (void)snprintf(path, sizeof path, "%s[%zu]", field, index++);
        if (index > most) {
            return error_set(error, ERROR_RANGE, "%s: more than %zu", path, most);
        }
        if (read(item, path, script, error)) {
            return -1;
        }
    }
    return 0;
}

static int add_event(struct script *script, size_t *size, const struct event *event,
                     struct error *error)
{
    if (script->event_count == SCRIPT_EVENTS_MAX) {
        return error_set(error, ERROR_RANGE, "events: more than %d", SCRIPT_EVENTS_MAX);
    }
    if (script->event_count == *size) {
        *size = *size ? *size * 2 : 64;
        struct event *events = realloc(script->events, *size * sizeof *events);
        if (!events) {
            return error_set(error, ERROR_MEMORY, "events: out of memory");
        }
        script->events = events;
    }
    script->events[script->event_count++] = *event;
    return 0;
}

/* When the events of a repeat come again. */
struct repeat {
    int64_t from_ns;
    int64_t every_ns;
    double jitter_s;
};

/* Writes an event of the list `prefix` out: once, or again and again until the script's end. */
static int write_out(struct script *script, size_t *size, const struct event *event,
                     const struct repeat *repeat, size_t which, struct error *error)
{
    if (!repeat) {
        return add_event(script, size, event, error);
    }
    uint64_t key = rng_key(script->seed, rng_key_text(0, "repeat"), which);
    uint64_t turn = 0;
    for (int64_t from = repeat->from_ns; from + event->at_ns < script->length_ns;
         from += repeat->every_ns) {
        struct event again = *event;
        double shift_s = repeat->jitter_s * rng_uniform(key, turn++);
        again.at_ns += from + llround(shift_s * (double)NS_PER_S);
        if (add_event(script, size, &again, error)) {
            return -1;
        }
    }
    return 0;
}

static int read_events(const cJSON *root, const char *prefix, const struct site *site,
                       const struct repeat *repeat, struct script *script, size_t *size,
                       struct error *error)
{
    const struct script_wires wires = {script->wire_count, script->wires};
    const cJSON *list;
    const cJSON *item;
    size_t index = 0;
    if (!cJSON_GetObjectItemCaseSensitive(root, "events")) {
        return 0;
    }
    if (json_get_array(root, prefix, "events", &list, error)) {
        return -1;
    }
    cJSON_ArrayForEach(item, list)
    {
        char path[PATH_TEXT_SIZE];
        struct event event;
        (void)snprintf(path, sizeof path, "%s%sevents[%zu]", prefix, *prefix ? "." : "", index);
        if (script_event_read(item, path, site, &wires, &event, error) ||
            write_out(script, size, &event, repeat, index, error)) {
            return -1;
        }
        index++;
    }
    return 0;
}

static int read_repeat(const cJSON *root, const struct site *site, struct script *script,
                       size_t *size, struct error *error)
{
    static const char *const fields[] = {"from_s", "every_s", "jitter_s", "events", NULL};
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(root, "repeat");
    double from_s;
    double every_s;
    struct repeat repeat;
    if (!item) {
        return 0;
    }
    if (json_check_fields(item, "repeat", fields, error) ||
        json_get_number(item, "repeat", "from_s", 0.0, NIGHT_S, &from_s, error) ||
        json_get_number(item, "repeat", "every_s", 1.0, NIGHT_S, &every_s, error) ||
        json_get_number_or(item, "repeat", "jitter_s", 0.0, NIGHT_S, 0.0, &repeat.jitter_s,
                           error)) {
        return -1;
    }
    repeat.from_ns = llround(from_s * (double)NS_PER_S);
    repeat.every_ns = llround(every_s * (double)NS_PER_S);
    return read_events(item, "repeat", site, &repeat, script, size, error);
}

static int by_time(const void *a, const void *b)
{
    const struct event *left = a;
    const struct event *right = b;
    if (left->at_ns != right->at_ns) {
        return left->at_ns < right->at_ns ? -1 : 1;
    }
    return (left->kind > right->kind) - (left->kind < right->kind);
}

static int read_script(const cJSON *root, const struct site *site, struct script *script,
                       struct error *error)
{
    static const char *const fields[] = {"version",     "seed",    "length_s", "mains", "earth",
                                         "temperature", "heating", "motion",   "noise", "wires",
                                         "cycles",      "events",  "repeat",   NULL};
    double version;
    double seed;
    double length_s;
    size_t size = 0;
    if (json_check_fields(root, "script", fields, error) ||
        json_get_number(root, "script", "version", 0.0, 1e6, &version, error) ||
        json_get_number(root, "script", "seed", 0.0, SEED_MAX, &seed, error) ||
        json_get_number_or(root, "script", "length_s", 1.0, NIGHT_S, 43200.0, &length_s, error)) {
        return -1;
    }
    if (version != SCRIPT_VERSION) {
        return error_set(error, ERROR_VERSION, "version: only %d is known", SCRIPT_VERSION);
    }
    script->seed = (uint64_t)seed;
    script->length_ns = llround(length_s * (double)NS_PER_S);
    if (read_building(root, site, script, error) || read_sensors(root, script, error) ||
        read_list(root, "wires", SCRIPT_WIRES_MAX, read_wire, script, error) ||
        read_list(root, "cycles", SCRIPT_CYCLES_MAX, read_cycle, script, error) ||
        read_events(root, "", site, NULL, script, &size, error) ||
        read_repeat(root, site, script, &size, error)) {
        return -1;
    }
    if (script->event_count > 1) {
        qsort(script->events, script->event_count, sizeof *script->events, by_time);
    }
    return 0;
}

int script_parse(const char *text, size_t length, const char *name, const struct site *site,
                 struct script **script, struct error *error)
{
    cJSON *root;
    if (length > SCRIPT_TEXT_MAX) {
        return error_set(error, ERROR_RANGE, "%s: larger than %zu bytes", name, SCRIPT_TEXT_MAX);
    }
    if (json_parse(text, length, name, &root, error)) {
        return -1;
    }
    struct script *made = calloc(1, sizeof *made);
    int status = made ? read_script(root, site, made, error)
                      : error_set(error, ERROR_MEMORY, "out of memory");
    cJSON_Delete(root);
    if (status) {
        script_free(made);
        return error_wrap(error, "%s", name);
    }
    *script = made;
    return 0;
}

void script_free(struct script *script)
{
    if (script) {
        free(script->events);
        free(script);
    }
}
