/* The one line of a coincidence, and of a disturbance.
 * Must never claim an order that the clocks can't carry.
 * Called for the terminal, for alerts and by the review. */
#include "collector/alert/sentence.h"

#include <stdio.h>
#include <string.h>

#include "collector/alert/words.h"
#include "common/timefmt.h"

/* Rooms in the order of onsets, each once, at most so many by name. */
#define ROOMS_NAMED 6

struct rooms {
    size_t count;
    size_t of[COINCIDENCE_MEMBERS_MAX];
};

static void find_rooms(const struct site *site, const struct coincidence *coincidence,
                       struct rooms *rooms)
{
    rooms->count = 0;
    for (size_t i = 0; i < coincidence->order_count; i++) {
        uint32_t node = coincidence->order[i].node;
        size_t room = node < site->node_count ? site->nodes[node].room : SIZE_MAX;
        size_t at = 0;
        while (at < rooms->count && rooms->of[at] != room) {
            at++;
        }
        if (at == rooms->count) {
            rooms->of[rooms->count++] = room;
        }
    }
}

/* "hall, passage and kitchen", or "hall, then passage, then kitchen" where the order is known. */
static void say_rooms(const struct site *site, const struct coincidence *coincidence,
                      struct text *out)
{
    struct rooms rooms;
    find_rooms(site, coincidence, &rooms);
    bool in_order = coincidence->kind == COINCIDENCE_TRAVELLING && coincidence->first_known;
    size_t named = rooms.count > ROOMS_NAMED ? ROOMS_NAMED : rooms.count;
    for (size_t i = 0; i < named; i++) {
        const char *between = i == 0                                   ? ""
                              : in_order                               ? ", then "
                              : i + 1 == named && named == rooms.count ? " and "
                                                                       : ", ";
        (void)text_append_format(out, "%s%s", between, words_room(site, rooms.of[i]));
    }
    if (rooms.count > named) {
        (void)text_append_format(out, " and %zu more rooms", rooms.count - named);
    }
    (void)text_append_format(out, " (%zu node%s)", coincidence->node_count,
                             coincidence->node_count == 1 ? "" : "s");
}

static void say_order(const struct site *site, const struct coincidence *coincidence,
                      struct text *out)
{
    char spread[TIMEFMT_SIZE];
    if (coincidence->order_count < 2) {
        return;
    }
    timefmt_duration(words_spread_ns(coincidence), spread);
    (void)text_append_format(out, " within %s", spread);
    if (!coincidence->first_known) {
        (void)text_append_format(out, coincidence->together
                                          ? "; together, as far as clocks and samples tell"
                                          : "; order can't be told");
        return;
    }
    const struct order_entry *first = &coincidence->order[0];
    (void)text_append_format(
        out, "; %s (%s) first, %.0f %% sure", words_node_room(site, first->node),
        first->node < site->node_count ? site->nodes[first->node].id : "?",
        first->first_probability >= 0.995 ? 99.0 : first->first_probability * 100);
}

int sentence_line(const struct site *site, const struct coincidence *coincidence, struct text *out)
{
    char time[TIMEFMT_SIZE];
    char rate[64];
    timefmt_local(coincidence->start_ns, time, NULL);
    sentence_rate(coincidence->chance.per_night, rate, sizeof rate);
    (void)text_append_format(out, "%s %s: ", time, words_cause(coincidence->verdict.cause));
    say_rooms(site, coincidence, out);
    say_order(site, coincidence, out);
    if (coincidence->speed.known) {
        (void)text_append_format(out, "; %.2g m/s", coincidence->speed.value_m_s);
    }
    if (coincidence->control_took_part) {
        (void)text_append_format(out, "; the control node saw it too");
    }
    (void)text_append_format(out, "; by chance %s a night", rate);
    if (coincidence->mark_id != 0) {
        (void)text_append_format(out, "; covered by mark %lld", (long long)coincidence->mark_id);
    }
    return out->failed ? -1 : 0;
}

int sentence_disturbance(const struct site *site, const struct disturbance *disturbance,
                         struct text *out)
{
    char time[TIMEFMT_SIZE];
    char value[64];
    char sd[TIMEFMT_SIZE];
    timefmt_local(disturbance->onset_ns, time, NULL);
    timefmt_duration(disturbance_onset_sd_ns(disturbance), sd);
    sentence_value(disturbance->peak_value, disturbance->unit, value, sizeof value);
    (void)text_append_format(
        out, "%s %s (%s): ", time, words_node_room(site, disturbance->node),
        disturbance->node < site->node_count ? site->nodes[disturbance->node].id : "?");
    if (disturbance->quantity == QUANTITY_MOTION) {
        (void)text_append_format(out, "motion");
    } else {
        (void)text_append_format(out, "%s%s %s, %.1f times its noise", disturbance->quantity_text,
                                 disturbance->band == BAND_MAINS ? " at the mains frequency" : "",
                                 value, disturbance->peak_score);
    }
    (void)text_append_format(out, "; onset +- %s%s", sd,
                             disturbance->clipped ? "; beyond the sensor's range" : "");
    return out->failed ? -1 : 0;
}
