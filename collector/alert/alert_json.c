/* A coincidence as JSON, field by field in the findings' order.
 * Must never let a NaN or a control byte into the text.
 * Called by the session for each alert. */
#include "collector/alert/alert_json.h"

#include "common/decimal.h"
#include "common/json.h"
#include "common/timefmt.h"

static void add_number(struct text *out, double value)
{
    struct decimal decimal;
    char text[DECIMAL_TEXT_SIZE];
    if (decimal_from_double(value, &decimal)) {
        (void)text_append_format(out, "null");
        return;
    }
    decimal_format(decimal, text);
    (void)text_append_format(out, "%s", text);
}

static void add_time(struct text *out, int64_t time_ns)
{
    char text[TIMEFMT_SIZE];
    timefmt_rfc3339(time_ns, text);
    (void)text_append_format(out, "\"%s\"", text);
}

static const char *node_id(const struct site *site, uint32_t node)
{
    return node < site->node_count ? site->nodes[node].id : "";
}

static void add_order(const struct site *site, const struct coincidence *coincidence,
                      struct text *out)
{
    (void)text_append_format(out, ",\"first\":");
    if (coincidence->first_known && coincidence->order_count > 0) {
        (void)text_append_format(
            out, "{\"node\":\"%s\",\"probability\":", node_id(site, coincidence->order[0].node));
        add_number(out, coincidence->order[0].first_probability);
        (void)text_append_format(out, "}");
    } else {
        (void)text_append_format(out, "null");
    }
    (void)text_append_format(out, ",\"order\":[");
    for (size_t i = 0; i < coincidence->order_count; i++) {
        const struct order_entry *entry = &coincidence->order[i];
        (void)text_append_format(out, "%s{\"node\":\"%s\",\"onset\":", i == 0 ? "" : ",",
                                 node_id(site, entry->node));
        add_time(out, entry->onset_ns);
        (void)text_append_format(out, ",\"uncertainty_s\":");
        add_number(out, (double)entry->onset_sd_ns / 1e9);
        (void)text_append_format(out, "}");
    }
    (void)text_append_format(out, "]");
}

static void add_path(const struct site *site, const struct coincidence *coincidence,
                     struct text *out)
{
    (void)text_append_format(out, ",\"path\":[");
    for (size_t i = 0; i < coincidence->path_count; i++) {
        const struct path_step *step = &coincidence->path[i];
        (void)text_append_format(out, "%s{\"room\":\"%s\",\"time\":", i == 0 ? "" : ",",
                                 step->room < site->room_count ? site->rooms[step->room].id : "");
        add_time(out, step->time_ns);
        (void)text_append_format(out, "}");
    }
    (void)text_append_format(out, "],\"speed_m_s\":");
    if (coincidence->speed.known) {
        (void)text_append_format(out, "{\"value\":");
        add_number(out, coincidence->speed.value_m_s);
        (void)text_append_format(out, ",\"low\":");
        add_number(out, coincidence->speed.low_m_s);
        (void)text_append_format(out, ",\"high\":");
        add_number(out, coincidence->speed.high_m_s);
        (void)text_append_format(out, "}");
    } else {
        (void)text_append_format(out, "null");
    }
    (void)text_append_format(out, ",\"source\":null");
}

static void add_cause(const struct coincidence *coincidence, struct text *out)
{
    (void)text_append_format(out, ",\"cause\":{\"verdict\":\"%s\",\"reasons\":[",
                             cause_text(coincidence->verdict.cause));
    for (size_t i = 0; i < coincidence->verdict.reason_count; i++) {
        (void)text_append_format(out, "%s", i == 0 ? "" : ",");
        (void)json_append_string(out, coincidence->verdict.reasons[i]);
    }
    (void)text_append_format(out, "]},\"chance\":{\"per_night\":");
    add_number(out, coincidence->chance.per_night);
    (void)text_append_format(out, ",\"p_value\":");
    add_number(out, coincidence->chance.p_value);
    (void)text_append_format(out, ",\"method\":\"analytic\"}");
}

int alert_json_write(const struct site *site, const struct coincidence *coincidence,
                     const char *line, struct text *out)
{
    (void)text_append_format(out, "{\"site\":\"%s\",\"text\":", site->id);
    (void)json_append_string(out, line);
    (void)text_append_format(out, ",\"id\":%lld,\"start\":", (long long)coincidence->id);
    add_time(out, coincidence->start_ns);
    (void)text_append_format(out, ",\"end\":");
    add_time(out, coincidence->end_ns);
    (void)text_append_format(out, ",\"disturbances\":[");
    for (size_t i = 0; i < coincidence->member_count; i++) {
        (void)text_append_format(out, "%s%lld", i == 0 ? "" : ",",
                                 (long long)coincidence->members[i].id);
    }
    (void)text_append_format(out, "],\"witnesses\":%zu,\"kind\":\"%s\"", coincidence->witness_count,
                             coincidence_kind_text(coincidence->kind));
    add_order(site, coincidence, out);
    add_path(site, coincidence, out);
    add_cause(coincidence, out);
    (void)text_append_format(out, ",\"alert\":%s,\"mark\":", coincidence->alert ? "true" : "false");
    if (coincidence->mark_id != 0) {
        (void)text_append_format(out, "%lld}", (long long)coincidence->mark_id);
    } else {
        (void)text_append_format(out, "null}");
    }
    return out->failed ? -1 : 0;
}
