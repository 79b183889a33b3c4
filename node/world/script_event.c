/* Events of a script, one reader a kind.
 * Must never allocate or do I/O. Called by script.c. */
#include "node/world/script_event.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "common/clock.h"
#include "common/json.h"

#define NIGHT_S 200000.0 /* no time in a script lies beyond this */

/* What a reader of one kind needs. */
struct source {
    const cJSON *item;
    const char *path;
    const struct site *site;
    const struct script_wires *wires;
    struct error *error;
};

static int number(const struct source *from, const char *field, double low, double high,
                  double *out)
{
    return json_get_number(from->item, from->path, field, low, high, out, from->error);
}

static int number_or(const struct source *from, const char *field, double low, double high,
                     double fallback, double *out)
{
    return json_get_number_or(from->item, from->path, field, low, high, fallback, out, from->error);
}

static bool has(const struct source *from, const char *field)
{
    return cJSON_GetObjectItemCaseSensitive(from->item, field) != NULL;
}

/* for_s, with a fallback in seconds; INFINITY: to the end. */
static int length(const struct source *from, double fallback_s, struct event *event)
{
    double seconds = fallback_s;
    if (has(from, "for_s") && number(from, "for_s", 0.001, NIGHT_S, &seconds)) {
        return -1;
    }
    event->length_ns = isinf(seconds) ? SCRIPT_FOREVER : llround(seconds * (double)NS_PER_S);
    return 0;
}

int script_read_vector(const cJSON *object, const char *path, const char *field, double limit,
                       const double fallback[3], double out[3], struct error *error)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, field);
    if (!item && fallback) {
        memcpy(out, fallback, 3 * sizeof *out);
        return 0;
    }
    if (!cJSON_IsArray(item) || cJSON_GetArraySize(item) != 3) {
        return error_set(error, ERROR_FORMAT, "%s.%s: three numbers needed", path, field);
    }
    int i = 0;
    const cJSON *part;
    cJSON_ArrayForEach(part, item)
    {
        if (!cJSON_IsNumber(part) || !(fabs(part->valuedouble) <= limit)) {
            return error_set(error, ERROR_RANGE, "%s.%s[%d]: not a number within +-%g", path, field,
                             i, limit);
        }
        out[i++] = part->valuedouble;
    }
    return 0;
}

int script_read_wire(const cJSON *object, const char *path, const char *field,
                     const struct script_wires *wires, size_t *wire, struct error *error)
{
    char id[IDENT_SIZE];
    if (json_get_text(object, path, field, id, sizeof id, error)) {
        return -1;
    }
    for (size_t i = 0; i < wires->count; i++) {
        if (strcmp(wires->wires[i].id, id) == 0) {
            *wire = i;
            return 0;
        }
    }
    return error_set(error, ERROR_NOT_FOUND, "%s.%s: no wire \"%s\"", path, field, id);
}

static int find_room(const struct source *from, const char *where, const char *id, size_t *room)
{
    *room = site_find_room(from->site, id);
    if (*room == SIZE_MAX) {
        return error_set(from->error, ERROR_NOT_FOUND, "%s.%s: no room \"%s\"", from->path, where,
                         id);
    }
    return 0;
}

static int one_room(const struct source *from, const char *field, struct event *event)
{
    char id[IDENT_SIZE];
    if (json_get_text(from->item, from->path, field, id, sizeof id, from->error)) {
        return -1;
    }
    event->room_count = 1;
    return find_room(from, field, id, &event->rooms[0]);
}

/* "from" and "via": rooms, each joined to the one before by a door. */
static int way(const struct source *from, struct event *event)
{
    const cJSON *via;
    if (one_room(from, "from", event) ||
        json_get_array(from->item, from->path, "via", &via, from->error)) {
        return -1;
    }
    int index = 0;
    const cJSON *part;
    cJSON_ArrayForEach(part, via)
    {
        char where[32];
        (void)snprintf(where, sizeof where, "via[%d]", index++);
        if (event->room_count == PATH_ROOMS_MAX) {
            return error_set(from->error, ERROR_RANGE, "%s.%s: more than %d rooms", from->path,
                             where, PATH_ROOMS_MAX);
        }
        if (!cJSON_IsString(part)) {
            return error_set(from->error, ERROR_FORMAT, "%s.%s: not a text", from->path, where);
        }
        size_t room;
        if (find_room(from, where, part->valuestring, &room)) {
            return -1;
        }
        size_t before = event->rooms[event->room_count - 1];
        if (path_find_door(from->site, before, room) == SIZE_MAX) {
            return error_set(from->error, ERROR_NOT_FOUND,
                             "%s.%s: no door between \"%s\" and \"%s\"", from->path, where,
                             from->site->rooms[before].id, part->valuestring);
        }
        event->rooms[event->room_count++] = room;
    }
    if (event->room_count < 2) {
        return error_set(from->error, ERROR_FORMAT, "%s.via: at least one room needed", from->path);
    }
    return 0;
}

static int points(const struct source *from, struct event *event)
{
    const cJSON *list;
    if (json_get_array(from->item, from->path, "points_m", &list, from->error)) {
        return -1;
    }
    int count = cJSON_GetArraySize(list);
    if (count < 2 || count > PATH_ROOMS_MAX) {
        return error_set(from->error, ERROR_RANGE, "%s.points_m: 2 to %d points needed", from->path,
                         PATH_ROOMS_MAX);
    }
    const cJSON *point;
    cJSON_ArrayForEach(point, list)
    {
        double *at = event->points_m[event->point_count];
        if (!cJSON_IsArray(point) || cJSON_GetArraySize(point) != 3) {
            return error_set(from->error, ERROR_FORMAT, "%s.points_m[%zu]: three numbers needed",
                             from->path, event->point_count);
        }
        const cJSON *part;
        cJSON_ArrayForEach(part, point)
        {
            if (!cJSON_IsNumber(part) || !(fabs(part->valuedouble) <= 1e4)) {
                return error_set(from->error, ERROR_RANGE, "%s.points_m[%zu]: not within 10 km",
                                 from->path, event->point_count);
            }
            *at++ = part->valuedouble;
        }
        event->point_count++;
    }
    return 0;
}

static int read_load(const struct source *from, struct event *event)
{
    if (script_read_wire(from->item, from->path, "wire", from->wires, &event->wire, from->error)) {
        return -1;
    }
    return number(from, "amps", 0.0, 1000.0, &event->amps) || length(from, INFINITY, event) ? -1
                                                                                            : 0;
}

static int read_walk(const struct source *from, struct event *event)
{
    bool steel;
    double moment;
    if (json_get_text_or(from->item, from->path, "who", "walker", event->who, sizeof event->who,
                         from->error) ||
        way(from, event) || number(from, "speed_m_s", 0.05, 10.0, &event->speed_m_s) ||
        number_or(from, "height_m", 0.0, 2.5, 1.0, &event->height_m) ||
        json_get_bool_or(from->item, from->path, "steel", false, &steel, from->error) ||
        number_or(from, "steel_a_m2", 0.0, 100.0, 0.5, &moment)) {
        return -1;
    }
    /* Steel is magnetised along the field it stands in: mostly downwards. */
    event->moment_a_m2[2] = steel ? -moment : 0.0;
    return 0;
}

static int read_magnet(const struct source *from, struct event *event)
{
    if (has(from, "points_m") ? points(from, event) : way(from, event)) {
        return -1;
    }
    return json_get_text_or(from->item, from->path, "who", "carrier", event->who, sizeof event->who,
                            from->error) ||
                   number(from, "speed_m_s", 0.01, 10.0, &event->speed_m_s) ||
                   number_or(from, "height_m", 0.0, 2.5, 1.0, &event->height_m) ||
                   script_read_vector(from->item, from->path, "moment_a_m2", 1e4, NULL,
                                      event->moment_a_m2, from->error)
               ? -1
               : 0;
}

static int read_phone(const struct source *from, struct event *event)
{
    return one_room(from, "room", event) || length(from, 8.0, event) ||
                   number_or(from, "counts", 0.0, 1e6, 300.0, &event->counts)
               ? -1
               : 0;
}

static int read_pulse(const struct source *from, struct event *event)
{
    static const double none[3] = {0.0, 0.0, 0.0};
    if (has(from, "moment_a_m2") && has(from, "field_t")) {
        return error_set(from->error, ERROR_FORMAT, "%s.field_t: not together with moment_a_m2",
                         from->path);
    }
    return script_read_vector(from->item, from->path, "at_m", 1e4, NULL, event->at_m,
                              from->error) ||
                   script_read_vector(from->item, from->path, "moment_a_m2", 1e6, none,
                                      event->moment_a_m2, from->error) ||
                   script_read_vector(from->item, from->path, "field_t", 1.0, none, event->field_t,
                                      from->error) ||
                   number_or(from, "reach_m", 0.0, 1e4, 1e4, &event->reach_m) ||
                   number_or(from, "counts", -1e6, 1e6, 0.0, &event->counts) ||
                   number_or(from, "speed_m_s", 0.0, 1e9, 0.0, &event->speed_m_s) ||
                   number_or(from, "rise_s", 0.0, 3600.0, 0.01, &event->rise_s) ||
                   number_or(from, "fall_s", 0.0, 3600.0, 0.3, &event->fall_s) ||
                   length(from, 0.3, event)
               ? -1
               : 0;
}

static int read_draught(const struct source *from, struct event *event)
{
    return way(from, event) || number(from, "speed_m_s", 0.01, 5.0, &event->speed_m_s) ||
                   number_or(from, "drop_c", -20.0, 20.0, 1.5, &event->drop_c) ||
                   length(from, 60.0, event)
               ? -1
               : 0;
}

static int read_geomagnetic(const struct source *from, struct event *event)
{
    if (script_read_vector(from->item, from->path, "field_t", 1e-5, NULL, event->field_t,
                           from->error) ||
        length(from, 600.0, event)) {
        return -1;
    }
    event->reach_m = INFINITY;
    event->rise_s = 0.5 * (double)event->length_ns / (double)NS_PER_S;
    event->fall_s = event->rise_s;
    event->length_ns = 0;
    return 0;
}

static int read_node(const struct source *from, struct event *event)
{
    char id[IDENT_SIZE];
    if (json_get_text(from->item, from->path, "node", id, sizeof id, from->error)) {
        return -1;
    }
    event->node = site_find_node(from->site, id);
    if (event->node == SIZE_MAX) {
        return error_set(from->error, ERROR_NOT_FOUND, "%s.node: no node \"%s\"", from->path, id);
    }
    return length(from, 60.0, event);
}

static int read_stuck(const struct source *from, struct event *event)
{
    if (read_node(from, event) || json_get_text(from->item, from->path, "channel", event->channel,
                                                sizeof event->channel, from->error)) {
        return -1;
    }
    if (site_node_find_channel(&from->site->nodes[event->node], event->channel) == SIZE_MAX) {
        return error_set(from->error, ERROR_NOT_FOUND, "%s.channel: the node has no \"%s\"",
                         from->path, event->channel);
    }
    return 0;
}

#define FIELDS_MAX 14
static const struct {
    const char *name;
    int (*read)(const struct source *from, struct event *event);
    const char *fields[FIELDS_MAX];
} kinds[EVENT_KINDS] = {
    [EVENT_LOAD] = {"load", read_load, {"at_s", "kind", "wire", "amps", "for_s"}},
    [EVENT_WALK] = {"walk",
                    read_walk,
                    {"at_s", "kind", "who", "from", "via", "speed_m_s", "height_m", "steel",
                     "steel_a_m2"}},
    [EVENT_MAGNET] = {"magnet",
                      read_magnet,
                      {"at_s", "kind", "who", "from", "via", "points_m", "speed_m_s", "height_m",
                       "moment_a_m2"}},
    [EVENT_PHONE] = {"phone", read_phone, {"at_s", "kind", "room", "for_s", "counts"}},
    [EVENT_PULSE] = {"pulse",
                     read_pulse,
                     {"at_s", "kind", "at_m", "moment_a_m2", "field_t", "reach_m", "counts",
                      "speed_m_s", "rise_s", "for_s", "fall_s"}},
    [EVENT_DRAUGHT] = {"draught",
                       read_draught,
                       {"at_s", "kind", "from", "via", "speed_m_s", "drop_c", "for_s"}},
    [EVENT_GEOMAGNETIC] = {"geomagnetic", read_geomagnetic, {"at_s", "kind", "field_t", "for_s"}},
    [EVENT_OUTAGE] = {"outage", read_node, {"at_s", "kind", "node", "for_s"}},
    [EVENT_STUCK] = {"stuck", read_stuck, {"at_s", "kind", "node", "channel", "for_s"}},
};

const char *event_kind_text(enum event_kind kind)
{
    return kind >= 0 && kind < EVENT_KINDS ? kinds[kind].name : "unknown";
}

int script_event_read(const cJSON *item, const char *path, const struct site *site,
                      const struct script_wires *wires, struct event *event, struct error *error)
{
    const struct source from = {item, path, site, wires, error};
    char name[IDENT_SIZE];
    double at_s;
    *event = (struct event){.wire = SCRIPT_NO_WIRE};
    if (json_get_text(item, path, "kind", name, sizeof name, error)) {
        return -1;
    }
    for (int kind = 0; kind < EVENT_KINDS; kind++) {
        if (strcmp(kinds[kind].name, name) != 0) {
            continue;
        }
        event->kind = (enum event_kind)kind;
        if (json_check_fields(item, path, kinds[kind].fields, error) ||
            json_get_number(item, path, "at_s", 0.0, NIGHT_S, &at_s, error)) {
            return -1;
        }
        event->at_ns = llround(at_s * (double)NS_PER_S);
        return kinds[kind].read(&from, event);
    }
    return error_set(error, ERROR_FORMAT, "%s.kind: unknown \"%s\"", path, name);
}
