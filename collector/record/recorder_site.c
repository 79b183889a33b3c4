/* The node "recorder" into the site's JSON.
 * Must never guess a room. Called by recorder.c. */
#include "collector/record/recorder_site.h"

#include <stdlib.h>
#include <string.h>

#include "collector/align/level.h"
#include "common/json.h"
#include "common/site_geometry.h"

#define HEIGHT_M 1.0

static int no_memory(struct error *error)
{
    return error_set(error, ERROR_MEMORY, "site: out of memory");
}

/* The site was drawn with the recorder in it. */
static int check_known(const struct site *site, size_t index, const struct recorder_place *place,
                       struct error *error)
{
    const struct site_node *node = &site->nodes[index];
    if ((place->room && strcmp(place->room, site->rooms[node->room].id) != 0) || place->at_m) {
        return error_set(error, ERROR_USAGE,
                         "--node: the site has \"%s\" in room \"%s\" already: leave out --room and"
                         " --at, or give the recorder another name",
                         node->id, site->rooms[node->room].id);
    }
    if (node->channel_count != 2 || site_node_find_channel(node, RECORDER_LOUDNESS) != 0 ||
        site_node_find_channel(node, RECORDER_PEAK) != 1) {
        return error_set(
            error, ERROR_USAGE,
            "--node: node \"%s\" of the site has other channels than " RECORDER_LOUDNESS
            " and " RECORDER_PEAK ": give the recorder another name",
            node->id);
    }
    return 0;
}

/* The middle of the outline's corners, where it lies in the room. */
static int find_middle(const struct site_room *room, double at_m[3], struct error *error)
{
    memset(at_m, 0, 3 * sizeof *at_m);
    for (size_t i = 0; i < room->corner_count; i++) {
        at_m[0] += room->outline_m[i][0] / (double)room->corner_count;
        at_m[1] += room->outline_m[i][1] / (double)room->corner_count;
    }
    at_m[2] = HEIGHT_M;
    return site_room_holds(room, at_m, 0.0)
               ? 0
               : error_set(error, ERROR_USAGE,
                           "--at: the middle of \"%s\" is outside of it: say where the recorder was"
                           " (X,Y,Z in metres)",
                           room->id);
}

static bool add_channel(cJSON *channels, const char *name)
{
    cJSON *channel = cJSON_CreateObject();
    return channel && cJSON_AddItemToArray(channels, channel) &&
           cJSON_AddStringToObject(channel, "name", name) &&
           cJSON_AddStringToObject(channel, "unit", RECORDER_UNIT) &&
           cJSON_AddNumberToObject(channel, "rate_hz", LEVEL_RATE_HZ);
}

/* `node` is in the tree already, which owns it. */
static bool fill_node(cJSON *node, const struct recorder_place *place, const double at_m[3])
{
    cJSON *position = cJSON_CreateDoubleArray(at_m, 3);
    return cJSON_AddStringToObject(node, "id", place->node) &&
           cJSON_AddStringToObject(node, "room", place->room) && position &&
           cJSON_AddItemToObject(node, "position_m", position);
}

static int add_node(cJSON *tree, const struct recorder_place *place, const double at_m[3],
                    struct error *error)
{
    cJSON *nodes = cJSON_GetObjectItemCaseSensitive(tree, "nodes");
    cJSON *node = cJSON_CreateObject();
    if (!node || !cJSON_AddItemToArray(nodes, node)) {
        cJSON_Delete(node);
        return no_memory(error);
    }
    cJSON *channels = NULL;
    return fill_node(node, place, at_m) && (channels = cJSON_AddArrayToObject(node, "channels")) &&
                   add_channel(channels, RECORDER_LOUDNESS) && add_channel(channels, RECORDER_PEAK)
               ? 0
               : no_memory(error);
}

static int extend(const char *text, const struct recorder_place *place, const double at_m[3],
                  struct site **more, char **more_text, struct error *error)
{
    cJSON *tree = NULL;
    if (json_parse(text, strlen(text), "site", &tree, error) != 0) {
        return -1;
    }
    char *printed = add_node(tree, place, at_m, error) == 0 ? cJSON_Print(tree) : NULL;
    cJSON_Delete(tree);
    if (!printed) {
        return no_memory(error);
    }
    if (site_parse(printed, strlen(printed), "the recorder's place", more, error) != 0) {
        cJSON_free(printed);
        return -1;
    }
    *more_text = printed;
    return 0;
}

int recorder_site(const struct site *site, const char *text, const struct recorder_place *place,
                  struct site **more, char **more_text, struct error *error)
{
    double at_m[3];
    *more = NULL;
    *more_text = NULL;
    size_t known = site_find_node(site, place->node);
    if (known != SIZE_MAX) {
        return check_known(site, known, place, error);
    }
    size_t room = place->room ? site_find_room(site, place->room) : SIZE_MAX;
    if (room == SIZE_MAX) {
        return place->room
                   ? error_set(error, ERROR_USAGE, "--room: the site has no room \"%.64s\"",
                               place->room)
                   : error_set(
                         error, ERROR_USAGE,
                         "--room: in which room was the recorder? (or --node with the name of a"
                         " recorder that the site file has)");
    }
    if (place->at_m) {
        memcpy(at_m, place->at_m, sizeof at_m);
    } else if (find_middle(&site->rooms[room], at_m, error) != 0) {
        return -1;
    }
    return extend(text, place, at_m, more, more_text, error);
}
