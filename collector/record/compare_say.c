/* The nights' rates, what is beyond chance, rooms, appliances.
 * Must never print a rate without its limits. Called by cmd_compare.c. */
#include "collector/record/compare_say.h"

#include <math.h>
#include <string.h>

#include "collector/alert/sentence.h"
#include "collector/compare/rates.h"
#include "collector/export/plain.h"
#include "common/timefmt.h"

#define APPLIANCES_MOST 12
/* The list of unexplained findings is held against chance at each night's own alert limit, and at
 * this many a night. */
#define COMMON_PER_NIGHT 1.0

void compare_chance(double p_value, char out[COMPARE_CHANCE_SIZE])
{
    if (p_value > 0.5) {
        (void)snprintf(out, COMPARE_CHANCE_SIZE, "in most such sets of nights");
    } else if (p_value < 1e-6) {
        (void)snprintf(out, COMPARE_CHANCE_SIZE, "in under 1 of 1000000 such sets of nights");
    } else {
        double one_of = 1.0 / p_value;
        double step = fmax(1.0, pow(10.0, floor(log10(one_of)) - 1.0));
        (void)snprintf(out, COMPARE_CHANCE_SIZE, "in 1 of %.0f such sets of nights",
                       step * round(one_of / step));
    }
}

static bool unexplained(const struct compare_event *event)
{
    return event->counts && event->cause == CAUSE_UNEXPLAINED;
}

/* Two digits, and none of them an exponent. */
static void say_number(double value, const char *before, const char *after, FILE *out)
{
    fprintf(out, value >= 99.5 ? "%s%.0f%s" : "%s%.2g%s", before, value, after);
}

static void say_rate(uint64_t count, double watched_s, FILE *out)
{
    const struct rate rate = rates_of(count, watched_s);
    say_number(rate.per_night, "", " a night", out);
    say_number(rate.low, " (95 %: ", " to ", out);
    say_number(rate.high, "", ")", out);
}

static void say_night(const struct compare_night *night, uint32_t *count, FILE *out)
{
    char from[TIMEFMT_SIZE];
    char to[TIMEFMT_SIZE];
    uint32_t alerts = 0;
    *count = 0;
    for (size_t i = 0; i < night->event_count; i++) {
        *count += unexplained(&night->events[i]);
        alerts += night->events[i].alert;
    }
    timefmt_local(night->watch_ns, from, NULL);
    timefmt_local(night->end_ns, to, NULL);
    fprintf(out, "  %s: watched %.8s to %.8s (%.1f h): %zu findings, %u alerts, %u unexplained: ",
            night->id, from, to, night->watched_s / 3600.0, night->event_count, alerts, *count);
    say_rate(*count, night->watched_s, out);
    fprintf(out, "\n");
}

static void say_nights(const struct compare_book *book, FILE *out)
{
    uint32_t counts[TURNED_NIGHTS_MAX];
    double watched_s[TURNED_NIGHTS_MAX];
    double all_s = 0.0;
    uint32_t all = 0;
    size_t which = 0;
    char chance[COMPARE_CHANCE_SIZE];
    fprintf(out, "\nNights\n");
    for (size_t i = 0; i < book->night_count; i++) {
        say_night(&book->nights[i], &counts[i], out);
        watched_s[i] = book->nights[i].watched_s;
        all_s += watched_s[i];
        all += counts[i];
    }
    fprintf(out, "  all: %u unexplained in %.1f h: ", all, all_s / 3600.0);
    say_rate(all, all_s, out);
    double p = rates_busiest(counts, watched_s, book->night_count, &which);
    compare_chance(p, chance);
    if (p <= COMPARE_CLAIM) {
        fprintf(
            out,
            "\n  %s stands out: %u of the %u unexplained. Were all nights alike, some night would"
            " stand\n  out so far %s. Was anything different that night?\n",
            book->nights[which].id, counts[which], all, chance);
    } else {
        fprintf(out, "\n  No night stands out more than nights that are alike do by chance.\n");
    }
}

struct excess {
    uint32_t found;
    double expected;
    double p_value;
};

/* Of what chance alone brings at most `limit` times a night, at most limit times the nights come.
 */
static struct excess count_excess(const struct compare_book *book, double per_night)
{
    struct excess excess = {0};
    for (size_t i = 0; i < book->night_count; i++) {
        const struct compare_night *night = &book->nights[i];
        double limit = per_night > 0.0 ? per_night : night->alert_limit_per_night;
        excess.expected += limit * night->watched_s / RATES_NIGHT_S;
        for (size_t j = 0; j < night->event_count; j++) {
            const struct compare_event *event = &night->events[j];
            excess.found += unexplained(event) && event->chance_per_night <= limit;
        }
    }
    excess.p_value = rates_more(excess.found, excess.expected);
    return excess;
}

static void say_excess(const struct compare_book *book, FILE *out)
{
    static const char *const of[] = {"so rare that an alert is due",
                                     "that accidents alone bring once a night at most"};
    struct excess both[] = {count_excess(book, 0.0), count_excess(book, COMMON_PER_NIGHT)};
    double p[] = {both[0].p_value, both[1].p_value};
    bool beyond = false;
    rates_holm(p, 2);
    fprintf(out, "\nBeyond chance?\n");
    for (size_t i = 0; i < 2; i++) {
        char chance[COMPARE_CHANCE_SIZE];
        compare_chance(p[i], chance);
        beyond = beyond || p[i] <= COMPARE_CLAIM;
        fprintf(out,
                "  Unexplained and %s: %u. Accidental coincidences alone bring %.2g\n  in all these"
                " nights, and so many or more %s.\n",
                of[i], both[i].found, both[i].expected, chance);
    }
    fprintf(out, beyond
                     ? "  So the unexplained are more than accidents of independent readings bring."
                       " That does not say what\n  they are: an ordinary cause that none of the"
                       " tests knows does the same.\n"
                     : "  So the list of the unexplained is no longer than accidents make it.\n");
}

static void say_rooms(const struct compare_book *book, FILE *out)
{
    double all_s = 0.0;
    fprintf(out, "\nRooms (findings that the room took part in, night by night; in brackets the"
                 " unexplained)\n");
    for (size_t i = 0; i < book->night_count; i++) {
        all_s += book->nights[i].watched_s;
    }
    for (size_t room = 0; room < book->room_count; room++) {
        uint32_t all = 0;
        fprintf(out, "  ");
        plain_print(out, book->rooms[room].title);
        fprintf(out, " (%s):", book->rooms[room].id);
        for (size_t i = 0; i < book->night_count; i++) {
            const struct compare_night *night = &book->nights[i];
            uint32_t count = 0;
            uint32_t open = 0;
            for (size_t j = 0; j < night->event_count; j++) {
                bool there = night->events[j].rooms >> room & 1;
                count += there;
                open += there && unexplained(&night->events[j]);
            }
            fprintf(out, " %u (%u)", count, open);
            all += count;
        }
        fprintf(out, "; ");
        say_rate(all, all_s, out);
        fprintf(out, "\n");
    }
    fprintf(out,
            "  Nodes differ: compare a room with itself on other nights, not with other rooms.\n");
}

size_t compare_count_appliance(const struct compare_book *book, int group, uint32_t *counts)
{
    size_t nights = 0;
    for (size_t i = 0; i < book->night_count; i++) {
        const struct compare_night *night = &book->nights[i];
        counts[i] = 0;
        for (size_t j = 0; j < night->event_count; j++) {
            size_t step = night->events[j].step;
            counts[i] += step != SIZE_MAX && book->steps[step].group == group;
        }
        nights += counts[i] > 0;
    }
    return nights;
}

/* The strongest switching of a group. */
static const struct appliance_step *founder(const struct compare_book *book, int group)
{
    const struct appliance_step *found = NULL;
    for (size_t i = 0; i < book->step_count; i++) {
        const struct appliance_step *step = &book->steps[i];
        size_t node = appliance_strongest(step);
        if (step->group == group &&
            (!found ||
             fabsf(step->at_node[node]) > fabsf(found->at_node[appliance_strongest(found)]))) {
            found = step;
        }
    }
    return found;
}

static void say_appliances(const struct compare_book *book, FILE *out)
{
    uint32_t counts[TURNED_NIGHTS_MAX];
    size_t told = 0;
    fprintf(out, "\nAppliances (mains switchings with the same steps at the same nodes)\n");
    for (size_t group = 0; group < book->appliances && told < APPLIANCES_MOST; group++) {
        if (compare_count_appliance(book, (int)group, counts) < 2) {
            continue;
        }
        const struct appliance_step *step = founder(book, (int)group);
        size_t node = appliance_strongest(step);
        char value[32];
        sentence_value(fabs((double)step->at_node[node]), "T", value, sizeof value);
        fprintf(out, "  %zu. %s%s, strongest at %s (", ++told, value,
                step->calibrated >> node & 1u ? "" : " (uncalibrated)", book->nodes[node].id);
        plain_print(out, book->rooms[book->nodes[node].room].title);
        fprintf(out, "), night by night:");
        for (size_t i = 0; i < book->night_count; i++) {
            fprintf(out, " %u", counts[i]);
        }
        fprintf(out, "\n");
    }
    if (told == 0) {
        fprintf(out, "  None was recognised in two nights.\n");
    }
}

/* All that were tried, so that nobody keeps only the lucky one. */
static void say_questions(const struct compare_book *book, FILE *out)
{
    uint32_t sessions = 0;
    uint32_t ended = 0;
    for (size_t i = 0; i < book->night_count; i++) {
        sessions += book->nights[i].sessions;
        ended += book->nights[i].sessions_ended;
    }
    if (sessions == 0) {
        return;
    }
    fprintf(out, "\nQuestions\n  Sessions tried in these nights: %u (", sessions);
    for (size_t i = 0; i < book->night_count; i++) {
        fprintf(out, "%s%u", i > 0 ? ", " : "", book->nights[i].sessions);
    }
    fprintf(out,
            "), broken off: %u. By chance alone one in twenty comes out at p <= 0.05:\n  name all"
            " of them wherever you name one (roomwake answers NIGHT).\n",
            sessions - (ended < sessions ? ended : sessions));
}

int compare_say(const struct compare_book *book, FILE *out, struct error *error)
{
    char local[TIMEFMT_SIZE];
    char zone[TIMEFMT_SIZE];
    timefmt_local(book->nights[0].watch_ns, local, zone);
    fprintf(out, "%zu nights at \"", book->night_count);
    plain_print(out, book->title);
    fprintf(out,
            "\" (%s); clock times as of this machine (UTC%s). A night is counted as 8 h, and from"
            " the end\nof its quiet spell on. What a mark covers counts nowhere but under rooms.\n",
            book->site, zone);
    say_nights(book, out);
    say_excess(book, out);
    if (compare_say_clock(book, out, error) != 0) {
        return -1;
    }
    say_rooms(book, out);
    say_appliances(book, out);
    say_questions(book, out);
    return fflush(out) == 0 && !ferror(out) ? 0
                                            : error_set(error, ERROR_IO, "standard output failed");
}
