/* A coincidence as the findings' JSON has it.
 * Must never compute or round. Called by json.c and by the live alerts. */
#include "collector/export/json_coincidence.h"

#include <inttypes.h>

#include "collector/export/write.h"
#include "common/json.h"

static void put_order(struct text *text, const struct coincidence *c, const struct site *site)
{
    (void)text_append_format(text, ",\"first\":");
    if (c->first_known && c->order_count > 0) {
        (void)text_append_format(
            text, "{\"node\":\"%s\",\"probability\":", site->nodes[c->order[0].node].id);
        write_double(text, c->order[0].first_probability);
        (void)text_append_format(text, "}");
    } else {
        (void)text_append_format(text, "null");
    }
    (void)text_append_format(text, ",\"order\":[");
    for (size_t i = 0; i < c->order_count; i++) {
        (void)text_append_format(text, "%s{\"node\":\"%s\",\"onset\":", i > 0 ? "," : "",
                                 site->nodes[c->order[i].node].id);
        write_time(text, c->order[i].onset_ns);
        (void)text_append_format(text, ",\"uncertainty_s\":");
        write_seconds(text, c->order[i].onset_sd_ns);
        (void)text_append_format(text, "}");
    }
    (void)text_append_format(text, "]");
}

static void put_path(struct text *text, const struct coincidence *c, const struct site *site)
{
    (void)text_append_format(text, ",\"path\":[");
    for (size_t i = 0; i < c->path_count; i++) {
        (void)text_append_format(text, "%s{\"room\":\"%s\",\"time\":", i > 0 ? "," : "",
                                 site->rooms[c->path[i].room].id);
        write_time(text, c->path[i].time_ns);
        (void)text_append_format(text, "}");
    }
    (void)text_append_format(text, "],\"speed_m_s\":");
    if (c->speed.known) {
        (void)text_append_format(text, "{\"value\":");
        write_double(text, c->speed.value_m_s);
        (void)text_append_format(text, ",\"low\":");
        write_double(text, c->speed.low_m_s);
        (void)text_append_format(text, ",\"high\":");
        write_double(text, c->speed.high_m_s);
        (void)text_append_format(text, "}");
    } else {
        (void)text_append_format(text, "null");
    }
    (void)text_append_format(text, ",\"source\":null");
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
    write_double(text, c->chance.per_night);
    (void)text_append_format(text, ",\"p_value\":");
    write_double(text, c->chance.p_value);
    (void)text_append_format(
        text, ",\"method\":\"analytic\"},\"alert\":%s,\"mark\":", c->alert ? "true" : "false");
    if (c->mark_id != 0) {
        (void)text_append_format(text, "%" PRId64, c->mark_id);
    } else {
        (void)text_append_format(text, "null");
    }
}

void json_append_coincidence(struct text *text, const struct coincidence *coincidence,
                             const struct site *site)
{
    (void)text_append_format(text, "{\"id\":%" PRId64 ",\"start\":", coincidence->id);
    write_time(text, coincidence->start_ns);
    (void)text_append_format(text, ",\"end\":");
    write_time(text, coincidence->end_ns);
    (void)text_append_format(text, ",\"disturbances\":[");
    for (size_t i = 0; i < coincidence->member_count; i++) {
        (void)text_append_format(text, "%s%" PRId64, i > 0 ? "," : "", coincidence->members[i].id);
    }
    (void)text_append_format(text, "],\"witnesses\":%zu,\"kind\":\"%s\"",
                             coincidence->witness_count, coincidence_kind_text(coincidence->kind));
    put_order(text, coincidence, site);
    put_path(text, coincidence, site);
    put_cause(text, &coincidence->verdict);
    put_chance(text, coincidence);
    (void)text_append_format(text, "}");
}
