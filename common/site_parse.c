/* The site file's JSON to a site: every field by name, every fault by path.
 * Must never fill in what is missing but the few numbers that have a default.
 * Called by site_load and by who holds a site's text (a night does). */
#include "common/site.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "common/json.h"
#include "common/site_check.h"
#include "common/site_numbers.h"

#define NOISE_MOST 1e9
#define BATTERY_MOST_V 1000.0
#define PATH_SIZE 96
#define INNER_SIZE 160
#define PLACE_MOST_M 10000.0
#define FLOOR_MOST 200.0
#define RATE_HZ_MAX 20000.0
#define CLOCK_ERROR_MOST_S 3600.0
#define CLOCK_ERROR_S 0.001

static int read_ident(const cJSON *object, const char *path, const char *field,
                      char out[IDENT_SIZE], struct error *error)
{
    char text[SITE_TITLE_SIZE];
    if (json_get_text(object, path, field, text, sizeof text, error) != 0) {
        return -1;
    }
    size_t length = strlen(text);
    if (!ident_valid(text, length)) {
        return error_set(error, ERROR_FORMAT,
                         "%s%s%s: \"%s\" is not made of 1 to 32 of a-z, 0-9 and -", path,
                         path[0] ? "." : "", field, text);
    }
    memcpy(out, text, length + 1);
    return 0;
}

/* A list of exactly `count` numbers. */
static int read_numbers(const cJSON *list, const char *path, size_t count, double *out,
                        struct error *error)
{
    if (!cJSON_IsArray(list) || (size_t)cJSON_GetArraySize(list) != count) {
        return error_set(error, ERROR_FORMAT, "%s: not a list of %zu numbers", path, count);
    }
    size_t i = 0;
    const cJSON *item = NULL;
    cJSON_ArrayForEach(item, list)
    {
        if (!cJSON_IsNumber(item) || !(fabs(item->valuedouble) <= PLACE_MOST_M)) {
            return error_set(error, ERROR_RANGE, "%s[%zu]: not a number within +-%g", path, i,
                             PLACE_MOST_M);
        }
        out[i++] = item->valuedouble;
    }
    return 0;
}

static int read_place(const cJSON *object, const char *path, const char *field, size_t count,
                      double *out, struct error *error)
{
    const cJSON *list = NULL;
    char inner[INNER_SIZE];
    (void)snprintf(inner, sizeof inner, "%s.%s", path, field);
    if (json_get_array(object, path, field, &list, error) != 0) {
        return -1;
    }
    return read_numbers(list, inner, count, out, error);
}

static int read_outline(const cJSON *object, const char *path, struct site_room *room,
                        struct error *error)
{
    const cJSON *list = NULL;
    if (json_get_array(object, path, "outline_m", &list, error) != 0) {
        return -1;
    }
    const cJSON *corner = NULL;
    cJSON_ArrayForEach(corner, list)
    {
        if (room->corner_count == SITE_OUTLINE_MAX) {
            return error_set(error, ERROR_RANGE, "%s.outline_m: more than %d corners", path,
                             SITE_OUTLINE_MAX);
        }
        char inner[INNER_SIZE];
        (void)snprintf(inner, sizeof inner, "%s.outline_m[%zu]", path, room->corner_count);
        if (read_numbers(corner, inner, 2, room->outline_m[room->corner_count], error) != 0) {
            return -1;
        }
        room->corner_count++;
    }
    return 0;
}

static int read_room(const cJSON *item, const char *path, struct site *site, size_t index,
                     struct error *error)
{
    static const char *const fields[] = {"id", "title", "floor", "outline_m", NULL};
    struct site_room *room = &site->rooms[index];
    double floor_number = 0;
    if (json_check_fields(item, path, fields, error) != 0 ||
        read_ident(item, path, "id", room->id, error) != 0 ||
        json_get_text_or(item, path, "title", room->id, room->title, sizeof room->title, error) !=
            0 ||
        json_get_number_or(item, path, "floor", -FLOOR_MOST, FLOOR_MOST, 0, &floor_number, error) !=
            0) {
        return -1;
    }
    room->floor = (int)floor_number;
    if (floor_number - room->floor != 0) {
        return error_set(error, ERROR_RANGE, "%s.floor: not a whole number", path);
    }
    return read_outline(item, path, room, error);
}

static int find_room(const struct site *site, const char *path, const char *id, size_t *out,
                     struct error *error)
{
    *out = site_find_room(site, id);
    if (*out == SIZE_MAX) {
        return error_set(error, ERROR_NOT_FOUND, "%s: no room \"%.64s\"", path, id);
    }
    return 0;
}

static int read_door(const cJSON *item, const char *path, struct site *site, size_t index,
                     struct error *error)
{
    static const char *const fields[] = {"between", "at_m", NULL};
    struct site_door *door = &site->doors[index];
    const cJSON *between = NULL;
    if (json_check_fields(item, path, fields, error) != 0 ||
        json_get_array(item, path, "between", &between, error) != 0) {
        return -1;
    }
    if (cJSON_GetArraySize(between) != 2) {
        return error_set(error, ERROR_FORMAT, "%s.between: not a list of two rooms", path);
    }
    size_t i = 0;
    const cJSON *room = NULL;
    cJSON_ArrayForEach(room, between)
    {
        char inner[INNER_SIZE];
        (void)snprintf(inner, sizeof inner, "%s.between[%zu]", path, i);
        if (!cJSON_IsString(room)) {
            return error_set(error, ERROR_FORMAT, "%s: not a text", inner);
        }
        if (find_room(site, inner, room->valuestring, &door->rooms[i++], error) != 0) {
            return -1;
        }
    }
    return read_place(item, path, "at_m", 2, door->at_m, error);
}

static int read_channel(const cJSON *item, const char *path, struct channel *channel, double *noise,
                        struct error *error)
{
    static const char *const fields[] = {"name", "unit", "rate_hz", "noise", NULL};
    char name[CHANNEL_NAME_SIZE];
    char unit[UNIT_SIZE];
    double rate_hz = 0;
    if (json_check_fields(item, path, fields, error) != 0 ||
        json_get_text(item, path, "name", name, sizeof name, error) != 0 ||
        json_get_text_or(item, path, "unit", "", unit, sizeof unit, error) != 0 ||
        json_get_number(item, path, "rate_hz", 0, RATE_HZ_MAX, &rate_hz, error) != 0 ||
        json_get_number_or(item, path, "noise", 0, NOISE_MOST, 0, noise, error) != 0) {
        return -1;
    }
    if (!channel_name_valid(name, strlen(name))) {
        return error_set(error, ERROR_FORMAT, "%s.name: \"%s\" is not a quantity or quantity.axis",
                         path, name);
    }
    enum quantity quantity = quantity_from_name(name);
    bool told = cJSON_GetObjectItemCaseSensitive(item, "unit") != NULL;
    if (told && !quantity_unit_valid(quantity, unit)) {
        return error_set(error, ERROR_RANGE, "%s.unit: \"%s\" where %s is told in \"%s\"", path,
                         unit, name, quantity_unit_default(quantity));
    }
    if (channel_init(channel, name, told ? unit : NULL, rate_hz, error) != 0) {
        return error_wrap(error, "%s", path);
    }
    return 0;
}

static int read_channels(const cJSON *object, const char *path, struct site_node *node,
                         struct error *error)
{
    const cJSON *list = NULL;
    if (json_get_array(object, path, "channels", &list, error) != 0) {
        return -1;
    }
    const cJSON *item = NULL;
    cJSON_ArrayForEach(item, list)
    {
        if (node->channel_count == NODE_CHANNELS_MAX) {
            return error_set(error, ERROR_RANGE, "%s.channels: more than %d", path,
                             NODE_CHANNELS_MAX);
        }
        char inner[INNER_SIZE];
        (void)snprintf(inner, sizeof inner, "%s.channels[%zu]", path, node->channel_count);
        if (read_channel(item, inner, &node->channels[node->channel_count],
                         &node->noise[node->channel_count], error) != 0) {
            return -1;
        }
        node->channel_count++;
    }
    if (node->channel_count == 0) {
        return error_set(error, ERROR_FORMAT, "%s.channels: empty", path);
    }
    return 0;
}

static int read_node(const cJSON *item, const char *path, struct site *site, size_t index,
                     struct error *error)
{
    static const char *const fields[] = {
        "id",       "room", "position_m", "control", "clock_error_s", "battery_empty_v",
        "channels", NULL};
    struct site_node *node = &site->nodes[index];
    char room[SITE_TITLE_SIZE];
    char inner[INNER_SIZE];
    (void)snprintf(inner, sizeof inner, "%s.room", path);
    if (json_check_fields(item, path, fields, error) != 0 ||
        read_ident(item, path, "id", node->id, error) != 0 ||
        json_get_text(item, path, "room", room, sizeof room, error) != 0 ||
        find_room(site, inner, room, &node->room, error) != 0 ||
        read_place(item, path, "position_m", 3, node->position_m, error) != 0 ||
        json_get_bool_or(item, path, "control", false, &node->control, error) != 0 ||
        json_get_number_or(item, path, "clock_error_s", 0, CLOCK_ERROR_MOST_S, CLOCK_ERROR_S,
                           &node->clock_error_s, error) != 0 ||
        json_get_number_or(item, path, "battery_empty_v", 0, BATTERY_MOST_V, 0,
                           &node->battery_empty_v, error) != 0) {
        return -1;
    }
    return read_channels(item, path, node, error);
}

typedef int (*read_item)(const cJSON *item, const char *path, struct site *site, size_t index,
                         struct error *error);

/* Space for one list of the root; the site owns it from then on. */
static int make_list(const cJSON *root, const char *field, size_t most, size_t width, void **items,
                     struct error *error)
{
    const cJSON *list = NULL;
    if (json_get_array(root, "", field, &list, error) != 0) {
        return -1;
    }
    size_t length = (size_t)cJSON_GetArraySize(list);
    if (length > most) {
        return error_set(error, ERROR_RANGE, "%s: %zu of them, at most %zu", field, length, most);
    }
    *items = calloc(length + 1, width);
    return *items ? 0 : error_set(error, ERROR_MEMORY, "%s: out of memory", field);
}

static int read_list(const cJSON *root, const char *field, read_item read, struct site *site,
                     size_t *count, struct error *error)
{
    const cJSON *item = NULL;
    cJSON_ArrayForEach(item, cJSON_GetObjectItemCaseSensitive(root, field))
    {
        char path[PATH_SIZE];
        (void)snprintf(path, sizeof path, "%s[%zu]", field, *count);
        if (read(item, path, site, *count, error) != 0) {
            return -1;
        }
        (*count)++;
    }
    return 0;
}

static int read_rooms(const cJSON *root, struct site *site, struct error *error)
{
    void *items = NULL;
    int failed = make_list(root, "rooms", SITE_ROOMS_MAX, sizeof *site->rooms, &items, error);
    site->rooms = items;
    if (failed != 0 || read_list(root, "rooms", read_room, site, &site->room_count, error) != 0) {
        return -1;
    }
    return site->room_count > 0 ? 0 : error_set(error, ERROR_FORMAT, "rooms: empty");
}

static int read_doors(const cJSON *root, struct site *site, struct error *error)
{
    if (!cJSON_GetObjectItemCaseSensitive(root, "doors")) {
        return 0;
    }
    void *items = NULL;
    int failed = make_list(root, "doors", SITE_DOORS_MAX, sizeof *site->doors, &items, error);
    site->doors = items;
    return failed != 0 ? -1 : read_list(root, "doors", read_door, site, &site->door_count, error);
}

static int read_nodes(const cJSON *root, struct site *site, struct error *error)
{
    void *items = NULL;
    int failed = make_list(root, "nodes", SITE_NODES_MAX, sizeof *site->nodes, &items, error);
    site->nodes = items;
    return failed != 0 ? -1 : read_list(root, "nodes", read_node, site, &site->node_count, error);
}

static int read_site_numbers(const cJSON *root, struct site *site, struct error *error)
{
    for (size_t i = 0; i < SITE_NUMBER_COUNT; i++) {
        const struct site_number *number = &site_numbers[i];
        double value = 0;
        if (json_get_number_or(root, "", number->name, number->low, number->high, number->fallback,
                               &value, error) != 0) {
            return -1;
        }
        memcpy((char *)site + number->offset, &value, sizeof value);
    }
    return 0;
}

static int read_site(const cJSON *root, struct site *site, struct error *error)
{
    static const char *const fields[] = {"site",
                                         "title",
                                         "mains_hz",
                                         "baseline_s",
                                         "false_onsets_per_hour",
                                         "alert_limit_per_night",
                                         "order_confidence",
                                         "rooms",
                                         "doors",
                                         "nodes",
                                         NULL};
    if (json_check_fields(root, "", fields, error) != 0 ||
        read_ident(root, "", "site", site->id, error) != 0 ||
        json_get_text_or(root, "", "title", site->id, site->title, sizeof site->title, error) !=
            0 ||
        read_site_numbers(root, site, error) != 0 || read_rooms(root, site, error) != 0 ||
        read_doors(root, site, error) != 0 || read_nodes(root, site, error) != 0) {
        return -1;
    }
    return site_check(site, error);
}

int site_parse(const char *text, size_t length, const char *name, struct site **site,
               struct error *error)
{
    if (length > SITE_FILE_MAX) {
        return error_set(error, ERROR_RANGE, "%s: over %u bytes", name, SITE_FILE_MAX);
    }
    cJSON *root = NULL;
    if (json_parse(text, length, name, &root, error) != 0) {
        return -1;
    }
    struct site *read = calloc(1, sizeof *read);
    int failed =
        read ? read_site(root, read, error) : error_set(error, ERROR_MEMORY, "out of memory");
    cJSON_Delete(root);
    if (failed != 0) {
        site_free(read);
        return error_wrap(error, "%s", name);
    }
    *site = read;
    return 0;
}
