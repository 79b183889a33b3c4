/* A coincidence as JSON, field by field in the findings' order.
 * Must never compute or round, nor let a NaN or a control byte into the text.
 * Called by the alert message and the export of the findings. */
#include "collector/alert/coincidence_json.h"

#include <inttypes.h>

#include "common/json.h"

static const char *node_id(const struct site *site, uint32_t node)
{
    return node < site->node_count ? site->nodes[node].id : "";
}

static const char *room_id(const struct site *site, uint32_t room)
{
    return room < site->room_count ? site->rooms[room].id : "";
}

static void put_order(struct text *text, const struct coincidence *c, const struct site *site)
{
    (void)text_append_format(text, ",\"first\":");
    if (c->first_known && c->order_count > 0) {
        (void)text_append_format(
            text, "{\"node\":\"%s\",\"probability\":", node_id(site, c->order[0].node));
        (void)json_append_number(text, c->order[0].first_probability);
        (void)text_append_format(text, "}");
    } else {
        (void)text_append_format(text, "null");
    }
    (void)text_append_format(text, ",\"order\":[");
    for (size_t i = 0; i < c->order_count; i++) {
        (void)text_append_format(text, "%s{\"node\":\"%s\",\"onset\":", i > 0 ? "," : "",
                                 node_id(site, c->order[i].node));
        (void)json_append_time(text, c->order[i].onset_ns);
        (void)text_append_format(text, ",\"uncertainty_s\":");
        (void)json_append_seconds(text, c->order[i].onset_sd_ns);
        (void)text_append_format(text, "}");
    }
    (void)text_append_format(text, "]");
}

static void put_path(struct text *text, const struct coincidence *c, const struct site *site)
{
    (void)text_append_format(text, ",\"path\":[");
    for (size_t i = 0; i < c->path_count; i++) {
        (void)text_append_format(text, "%s{\"room\":\"%s\",\"time\":", i > 0 ? "," : "",
                                 room_id(site, c->path[i].room));
        (void)json_append_time(text, c->path[i].time_ns);
        (void)text_append_format(text, "}");
    }
    (void)text_append_format(text, "],\"speed_m_s\":");
    if (c->speed.known) {
        (void)text_append_format(text, "{\"value\":");
        (void)json_append_number(text, c->speed.value_m_s);
        (void)text_append_format(text, ",\"low\":");
        (void)json_append_number(text, c->speed.low_m_s);
        (void)text_append_format(text, ",\"high\":");
        (void)json_append_number(text, c->speed.high_m_s);
        (void)text_append_format(text, "}");
    } else {
        (void)text_append_format(text, "null");
    }
}

static void put_source(struct text *text, const struct source *source)
{
    if (!source->known) {
        (void)text_append_format(text, ",\"source\":null");
        return;
    }
    (void)text_append_format(text, ",\"source\":{\"x_m\":");
    (void)json_append_number(text, source->x_m);
    (void)text_append_format(text, ",\"y_m\":");
    (void)json_append_number(text, source->y_m);
    (void)text_append_format(text, ",\"sd_m\":");
    (void)json_append_number(text, source->sd_m);
    (void)text_append_format(text, ",\"ellipse\":{\"major_m\":");
    (void)json_append_number(text, source->major_m);
    (void)text_append_format(text, ",\"minor_m\":");
    (void)json_append_number(text, source->minor_m);
    (void)text_append_format(text, ",\"major_deg\":");
    (void)json_append_number(text, source->major_deg);
    (void)text_append_format(text, "}}");
}

static void put_cause(struct text *text, const struct verdict *verdict)
{
    (void)text_append_format(text, ",\"cause\":{\"verdict\":\"%s\",\"reasons\":[",
                             cause_text(verdict->cause));
    for (size_t i = 0; i < verdict->reason_count; i++) {
        (void)text_append_format(text, "%s", i > 0 ? "," : "");
        (void)json_append_string(text, verdict->reasons[i]);
    }
    (void)text_append_format(text, "]}");
}

static void put_chance(struct text *text, const struct coincidence *c)
{
    (void)text_append_format(text, ",\"chance\":{\"per_night\":");
    (void)json_append_number(text, c->chance.per_night);
    (void)text_append_format(text, ",\"p_value\":");
    (void)json_append_number(text, c->chance.p_value);
    (void)text_append_format(text, ",\"method\":\"%s\"},\"alert\":%s,\"mark\":",
                             chance_method_text(c->chance.method), c->alert ? "true" : "false");
    if (c->mark_id != 0) {
        (void)text_append_format(text, "%" PRId64, c->mark_id);
    } else {
        (void)text_append_format(text, "null");
    }
}

void coincidence_json_append(struct text *text, const struct coincidence *coincidence,
                             const struct site *site)
{
    (void)text_append_format(text, "\"id\":%" PRId64 ",\"start\":", coincidence->id);
    (void)json_append_time(text, coincidence->start_ns);
    (void)text_append_format(text, ",\"end\":");
    (void)json_append_time(text, coincidence->end_ns);
    (void)text_append_format(text, ",\"disturbances\":[");
    for (size_t i = 0; i < coincidence->member_count; i++) {
        (void)text_append_format(text, "%s%" PRId64, i > 0 ? "," : "", coincidence->members[i].id);
    }
    (void)text_append_format(text, "],\"witnesses\":%zu,\"kind\":\"%s\"",
                             coincidence->witness_count, coincidence_kind_text(coincidence->kind));
    put_order(text, coincidence, site);
    put_path(text, coincidence, site);
    put_source(text, &coincidence->source);
    put_cause(text, &coincidence->verdict);
    put_chance(text, coincidence);
}
