/* The coincidences of a night, all in lines and one in full.
 * Must never compute a finding anew: it says what the night holds. Called by desk.c. */
#include "collector/web/answer.h"

#include <inttypes.h>
#include <math.h>
#include <stdlib.h>

#include "collector/alert/coincidence_json.h"
#include "collector/alert/sentence.h"
#include "common/json.h"

/* So many are looked at; a night with more is told by its first ones, and says so. */
#define LOOKED_AT_MAX 200000u

struct listing {
    const struct web_night *night;
    struct text *out;
    struct text line;
    double *chances; /* of all, for the limit */
    size_t count;
    size_t size;
    double limit; /* those above it are left out */
    size_t sent;
};

static double rank(const struct coincidence *c)
{
    return c->alert ? -1.0 : isfinite(c->chance.per_night) ? c->chance.per_night : INFINITY;
}

static int take_chance(void *context, const struct coincidence *coincidence)
{
    struct listing *listing = context;
    if (listing->count == LOOKED_AT_MAX) {
        return 0;
    }
    if (listing->count == listing->size) {
        size_t size = listing->size ? 2 * listing->size : 256;
        double *more = realloc(listing->chances, size * sizeof *more);
        if (!more) {
            return -1;
        }
        listing->chances = more;
        listing->size = size;
    }
    listing->chances[listing->count++] = rank(coincidence);
    return 0;
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x > y) - (x < y);
}

static void append_order(struct text *out, const struct coincidence *c, const struct site *site,
                         int64_t base_ns)
{
    (void)text_append_format(out, ",\"order\":[");
    for (size_t i = 0; i < c->order_count; i++) {
        const struct order_entry *entry = &c->order[i];
        (void)text_append_format(out, "%s[\"%s\",%" PRId64 ",%" PRId64 "]", i > 0 ? "," : "",
                                 entry->node < site->node_count ? site->nodes[entry->node].id : "",
                                 entry->onset_ns - base_ns, entry->onset_sd_ns);
    }
    (void)text_append_format(out, "]");
}

int web_answer_append_brief(struct text *out, struct text *line, const struct coincidence *c,
                            const struct site *site, int64_t base_ns)
{
    text_clear(line);
    if (sentence_line(site, c, line) != 0) {
        return -1;
    }
    (void)text_append_format(
        out,
        "{\"id\":%" PRId64 ",\"start\":%" PRId64 ",\"end\":%" PRId64
        ",\"kind\":\"%s\",\"cause\":\"%s\",\"alert\":%s,\"mark\":%" PRId64
        ",\"nodes\":%zu,\"control\":%s,\"final\":%s,\"together\":%s,\"chance\":",
        c->id, c->start_ns - base_ns, c->end_ns - base_ns, coincidence_kind_text(c->kind),
        cause_text(c->verdict.cause), c->alert ? "true" : "false", c->mark_id, c->node_count,
        c->control_took_part ? "true" : "false", c->final ? "true" : "false",
        c->together ? "true" : "false");
    (void)json_append_number(out, c->chance.per_night);
    (void)text_append_format(out, ",\"line\":");
    (void)json_append_string(out, line->bytes);
    append_order(out, c, site, base_ns);
    return text_append_format(out, "}");
}

static int put_brief(void *context, const struct coincidence *c)
{
    struct listing *listing = context;
    if (listing->sent == WEB_FINDINGS_MAX || rank(c) > listing->limit) {
        return 0;
    }
    (void)text_append_format(listing->out, "%s\n", listing->sent > 0 ? "," : "");
    listing->sent++;
    return web_answer_append_brief(listing->out, &listing->line, c, listing->night->site,
                                   listing->night->info.start_ns);
}

int web_answer_findings(const struct web_night *night, const struct web_query *query,
                        struct text *out, struct error *error)
{
    (void)query;
    struct listing listing = {.night = night, .out = out, .limit = INFINITY};
    int result = night_each_coincidence(night->reader, 0, take_chance, &listing, error);
    if (result == 0 && listing.count > WEB_FINDINGS_MAX) {
        qsort(listing.chances, listing.count, sizeof *listing.chances, by_value);
        listing.limit = listing.chances[WEB_FINDINGS_MAX - 1];
    }
    if (result == 0) {
        (void)text_append_format(out, "{\"findings\":[");
        result = night_each_coincidence(night->reader, 0, put_brief, &listing, error);
    }
    (void)text_append_format(out, "],\"left_out\":%zu}", listing.count - listing.sent);
    free(listing.chances);
    text_free(&listing.line);
    return result;
}

struct search {
    const struct web_night *night;
    int64_t id;
    bool found;
    struct text *out;
};

static void append_member(struct text *out, const struct disturbance *d, const struct site *site,
                          int64_t base_ns)
{
    (void)text_append_format(out, "{\"node\":\"%s\",\"quantity\":",
                             d->node < site->node_count ? site->nodes[d->node].id : "");
    (void)json_append_string(out, d->quantity_text);
    (void)text_append_format(
        out,
        ",\"band\":\"%s\",\"onset\":%" PRId64 ",\"sd_ns\":%" PRId64 ",\"pick_ns\":%" PRId64
        ",\"sampling_ns\":%" PRId64 ",\"clock_ns\":%" PRId64 ",\"peak\":%" PRId64 ",\"end\":",
        d->band == BAND_MAINS ? "mains" : "rest", d->onset_ns - base_ns, disturbance_onset_sd_ns(d),
        d->pick_sd_ns, d->sampling_sd_ns, d->clock_sd_ns, d->peak_ns - base_ns);
    if (d->end_ns != 0) {
        (void)text_append_format(out, "%" PRId64, d->end_ns - base_ns);
    } else {
        (void)text_append_format(out, "null");
    }
    (void)text_append_format(out, ",\"unit\":");
    (void)json_append_string(out, d->unit);
    (void)text_append_format(out, ",\"value\":");
    (void)json_append_number(out, d->peak_value);
    (void)text_append_format(out, ",\"score\":");
    (void)json_append_number(out, d->peak_score);
    (void)text_append_format(out, ",\"threshold\":");
    (void)json_append_number(out, d->threshold);
    (void)text_append_format(out, ",\"one_sample\":%s,\"clipped\":%s,\"calibrated\":%s}",
                             d->one_sample ? "true" : "false", d->clipped ? "true" : "false",
                             d->calibrated ? "true" : "false");
}

static void append_path(struct text *out, const struct coincidence *c, const struct site *site,
                        int64_t base_ns)
{
    (void)text_append_format(out, ",\"rooms\":[");
    for (size_t i = 0; i < c->path_count; i++) {
        const struct path_step *step = &c->path[i];
        (void)text_append_format(out, "%s[\"%s\",%" PRId64 "]", i > 0 ? "," : "",
                                 step->room < site->room_count ? site->rooms[step->room].id : "",
                                 step->time_ns - base_ns);
    }
    (void)text_append_format(out, "]");
}

static int put_found(void *context, const struct coincidence *c)
{
    struct search *search = context;
    struct text *out = search->out;
    const struct site *site = search->night->site;
    int64_t base_ns = search->night->info.start_ns;
    struct text line = {0};
    if (c->id != search->id) {
        return 0;
    }
    (void)text_append_format(out, "{\"brief\":");
    int result = web_answer_append_brief(out, &line, c, site, base_ns);
    (void)text_append_format(out, ",\"finding\":{");
    coincidence_json_append(out, c, site);
    (void)text_append_format(out, "},\"members\":[");
    for (size_t i = 0; i < c->member_count; i++) {
        (void)text_append_format(out, "%s", i > 0 ? "," : "");
        append_member(out, &c->members[i], site, base_ns);
    }
    (void)text_append_format(out, "],\"dropped\":%zu", c->dropped_members);
    append_path(out, c, site, base_ns);
    text_clear(&line);
    result = result == 0 ? sentence_account(site, c, &line) : -1;
    (void)text_append_format(out, ",\"account\":");
    (void)json_append_string(out, result == 0 ? line.bytes : "");
    (void)text_append_format(out, "}");
    text_free(&line);
    search->found = true;
    return result == 0 ? 1 : -1;
}

int web_answer_finding(const struct web_night *night, const struct web_query *query,
                       struct text *out, struct error *error)
{
    struct search search = {.night = night, .id = query->id, .out = out};
    int result = night_each_coincidence(night->reader, 0, put_found, &search, error);
    if (result < 0) {
        return -1;
    }
    return search.found ? 0
                        : error_set(error, ERROR_NOT_FOUND, "there is no finding of that number");
}
