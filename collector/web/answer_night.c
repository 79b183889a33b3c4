/* Whose night it is, its site, and what each node gave.
 * Must never put a name into the answer but as a JSON string. Called by desk.c and routes.c. */
#include "collector/web/answer.h"

#include <inttypes.h>

#include "common/json.h"

static void append_points(struct text *out, const double *point, size_t count)
{
    (void)text_append_format(out, "[");
    for (size_t i = 0; i < count; i++) {
        (void)text_append_format(out, "%s", i > 0 ? "," : "");
        (void)json_append_number(out, point[i]);
    }
    (void)text_append_format(out, "]");
}

static void append_room(struct text *out, const struct site_room *room)
{
    (void)text_append_format(out, "{\"id\":\"%s\",\"title\":", room->id);
    (void)json_append_string(out, room->title[0] ? room->title : room->id);
    (void)text_append_format(out, ",\"floor\":%d,\"outline_m\":[", room->floor);
    for (size_t i = 0; i < room->corner_count; i++) {
        (void)text_append_format(out, "%s", i > 0 ? "," : "");
        append_points(out, room->outline_m[i], 2);
    }
    (void)text_append_format(out, "]}");
}

static void append_node(struct text *out, const struct site *site, const struct site_node *node)
{
    (void)text_append_format(
        out, "{\"id\":\"%s\",\"room\":\"%s\",\"control\":%s,\"position_m\":", node->id,
        site->rooms[node->room].id, node->control ? "true" : "false");
    append_points(out, node->position_m, 3);
    (void)text_append_format(out, ",\"channels\":[");
    for (size_t i = 0; i < node->channel_count; i++) {
        const struct channel *channel = &node->channels[i];
        (void)text_append_format(out, "%s{\"name\":\"%s\",\"unit\":", i > 0 ? "," : "",
                                 channel->name);
        (void)json_append_string(out, channel->unit);
        (void)text_append_format(out, ",\"rate_hz\":");
        (void)json_append_number(out, channel->rate_hz);
        (void)text_append_format(out, "}");
    }
    (void)text_append_format(out, "]}");
}

void web_answer_append_site(struct text *out, const struct site *site)
{
    (void)text_append_format(out, "\"site\":\"%s\",\"title\":", site->id);
    (void)json_append_string(out, site->title[0] ? site->title : site->id);
    (void)text_append_format(out, ",\"alert_limit_per_night\":");
    (void)json_append_number(out, site->alert_limit_per_night);
    (void)text_append_format(out, ",\"order_confidence\":");
    (void)json_append_number(out, site->order_confidence);
    (void)text_append_format(out, ",\"rooms\":[");
    for (size_t i = 0; i < site->room_count; i++) {
        (void)text_append_format(out, "%s", i > 0 ? "," : "");
        append_room(out, &site->rooms[i]);
    }
    (void)text_append_format(out, "],\"doors\":[");
    for (size_t i = 0; i < site->door_count; i++) {
        const struct site_door *door = &site->doors[i];
        (void)text_append_format(out, "%s{\"between\":[\"%s\",\"%s\"],\"at_m\":", i > 0 ? "," : "",
                                 site->rooms[door->rooms[0]].id, site->rooms[door->rooms[1]].id);
        append_points(out, door->at_m, 2);
        (void)text_append_format(out, "}");
    }
    (void)text_append_format(out, "],\"nodes\":[");
    for (size_t i = 0; i < site->node_count; i++) {
        (void)text_append_format(out, "%s", i > 0 ? "," : "");
        append_node(out, site, &site->nodes[i]);
    }
    (void)text_append_format(out, "]");
}

int web_answer_night(const struct web_night *night, const struct web_query *query, struct text *out,
                     struct error *error)
{
    (void)query;
    (void)error;
    const struct night_info *info = &night->info;
    (void)text_append_format(out, "{\"id\":");
    (void)json_append_string(out, info->id);
    (void)text_append_format(out, ",\"base_ns\":\"%" PRId64 "\",\"end\":", info->start_ns);
    if (info->end_ns != 0) {
        (void)text_append_format(out, "%" PRId64, info->end_ns - info->start_ns);
    } else {
        (void)text_append_format(out, "null");
    }
    (void)text_append_format(out, ",\"origin\":");
    (void)json_append_string(out, info->origin);
    (void)text_append_format(out, ",\"analysis\":%d,", info->analysis);
    web_answer_append_site(out, night->site);
    return text_append_format(out, "}");
}

int web_answer_self(const struct web_night *night, const struct web_query *query, struct text *out,
                    struct error *error)
{
    return web_answer_night(night, query, out, error) == 0 ? text_append_format(out, "}") : -1;
}

int web_answer_nodes(const struct web_night *night, const struct web_query *query, struct text *out,
                     struct error *error)
{
    int64_t base_ns = night->info.start_ns;
    uint32_t count = (uint32_t)night->site->node_count;
    if (query->id > count) {
        return error_set(error, ERROR_NOT_FOUND, "id: there are %" PRIu32 " nodes", count);
    }
    uint32_t first = query->id > 0 ? (uint32_t)query->id - 1 : 0;
    (void)text_append_format(out, "{\"nodes\":[");
    for (uint32_t i = first; i < (query->id > 0 ? first + 1 : count); i++) {
        struct night_node_summary summary;
        if (night_read_node_summary(night->reader, i, &summary, error) != 0) {
            return -1;
        }
        (void)text_append_format(out, "%s{\"id\":\"%s\",\"samples\":%" PRIu64, i > first ? "," : "",
                                 night->site->nodes[i].id, summary.samples);
        if (summary.samples > 0) {
            (void)text_append_format(out, ",\"first\":%" PRId64 ",\"last\":%" PRId64,
                                     summary.first_ns - base_ns, summary.last_ns - base_ns);
        }
        if (summary.clock_sd_ns >= 0) {
            (void)text_append_format(out, ",\"clock_ns\":%" PRId64, summary.clock_sd_ns);
        }
        (void)text_append_format(out, "}");
    }
    return text_append_format(out, "]}");
}
