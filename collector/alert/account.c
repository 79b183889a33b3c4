/* The account of a coincidence over several lines: who, in which order, why the verdict.
 * Must never leave out a number that the verdict stands on.
 * Called by the review. */
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#include "collector/alert/sentence.h"
#include "collector/alert/words.h"
#include "common/timefmt.h"

#define INDENT "    "

/* What the onset's uncertainty owes to the clock, and how high the reading had to go. */
static void account_measure(const struct disturbance *member, struct text *out)
{
    char clock[TIMEFMT_SIZE];
    timefmt_duration(member->clock_sd_ns, clock);
    (void)text_append_format(out, ", of it the clock %s", clock);
    if (member->quantity != QUANTITY_MOTION) {
        (void)text_append_format(out, "; counted from %.1f times on", member->threshold);
    }
}

/* A control node stands where nobody goes. */
static void account_control(const struct site *site, const struct coincidence *coincidence,
                            struct text *out)
{
    size_t controls = 0;
    for (size_t i = 0; i < site->node_count; i++) {
        controls += site->nodes[i].control;
    }
    if (coincidence->control_took_part) {
        (void)text_append_format(out, INDENT "the control node saw it too: it reached a room where"
                                             " nobody was to go\n");
    } else if (controls > 0) {
        (void)text_append_format(out, INDENT "the control node saw nothing of it\n");
    }
}

static bool ends_with(const char *text, const char *end)
{
    size_t length = strlen(text);
    size_t wanted = strlen(end);
    return length >= wanted && strcmp(text + length - wanted, end) == 0;
}

/* The causes that fit first, then those that were tried and don't, each with its numbers. */
static void account_causes(const struct coincidence *coincidence, struct text *out)
{
    const struct verdict *verdict = &coincidence->verdict;
    size_t fitting = 0;
    for (size_t i = 0; i < verdict->reason_count; i++) {
        fitting += ends_with(verdict->reasons[i], ": fits");
    }
    if (verdict->cause == CAUSE_UNEXPLAINED) {
        (void)text_append_format(out, INDENT "why unexplained: each ordinary cause was tried and"
                                             " none fits well enough\n");
    } else {
        (void)text_append_format(out, INDENT "why %s: %s\n", words_cause(verdict->cause),
                                 fitting > 1 ? "more than one cause fits, this one is the likeliest"
                                             : "of the ordinary causes this one alone fits");
    }
    for (int pass = 0; pass < 2; pass++) {
        for (size_t i = 0; i < verdict->reason_count; i++) {
            if (ends_with(verdict->reasons[i], ": does not fit") == (pass == 1)) {
                (void)text_append_format(out, INDENT "  %s\n", verdict->reasons[i]);
            }
        }
    }
}

static void account_chance(const struct coincidence *coincidence, struct text *out)
{
    char rate[64];
    sentence_rate(coincidence->chance.per_night, rate, sizeof rate);
    (void)text_append_format(out, INDENT "chance alone brings %s as rare as this in a night of 8 h",
                             rate);
    (void)text_append_format(out, coincidence->chance.method == CHANCE_TIME_SLIDES
                                      ? ", counted in this night's own onsets shifted against each"
                                        " other\n"
                                      : ", worked out from how often each node's readings jump by"
                                        " themselves\n");
}

/* Once a finding, not once a number. */
static void account_units(const struct site *site, const struct coincidence *coincidence,
                          struct text *out)
{
    size_t told = 0;
    for (size_t i = 0; i < coincidence->member_count; i++) {
        const struct disturbance *member = &coincidence->members[i];
        if (!member->calibrated) {
            (void)text_append_format(
                out, "%s%s of %s", told++ ? ", " : INDENT "uncalibrated: ", member->quantity_text,
                member->node < site->node_count ? site->nodes[member->node].id : "?");
        }
    }
    (void)text_append_format(
        out, "%s", told ? " (such a value compares only with others of the same channel)\n" : "");
}

static void account_members(const struct site *site, const struct coincidence *coincidence,
                            struct text *out)
{
    for (size_t i = 0; i < coincidence->member_count; i++) {
        (void)text_append_format(out, INDENT);
        (void)sentence_disturbance(site, &coincidence->members[i], out);
        account_measure(&coincidence->members[i], out);
        (void)text_append_format(out, "\n");
    }
    if (coincidence->dropped_members > 0) {
        (void)text_append_format(out, INDENT "and %zu more\n", coincidence->dropped_members);
    }
    account_units(site, coincidence, out);
}

static void account_path(const struct site *site, const struct coincidence *coincidence,
                         struct text *out)
{
    if (coincidence->path_count < 2) {
        return;
    }
    (void)text_append_format(out, INDENT "path: ");
    for (size_t i = 0; i < coincidence->path_count; i++) {
        char after[TIMEFMT_SIZE];
        timefmt_duration(coincidence->path[i].time_ns - coincidence->path[0].time_ns, after);
        (void)text_append_format(out, "%s%s", i == 0 ? "" : ", then ",
                                 words_room(site, coincidence->path[i].room));
        if (i > 0) {
            (void)text_append_format(out, " after %s", after);
        }
    }
    if (coincidence->speed.known) {
        (void)text_append_format(out, "; %.2g m/s (95 %% sure: %.2g to %.2g)",
                                 coincidence->speed.value_m_s, coincidence->speed.low_m_s,
                                 coincidence->speed.high_m_s);
    }
    (void)text_append_format(out, "\n");
}

static void account_order(const struct site *site, const struct coincidence *coincidence,
                          struct text *out)
{
    if (coincidence->order_count < 2) {
        return;
    }
    (void)text_append_format(out, INDENT "first of all: ");
    for (size_t i = 0; i < coincidence->order_count; i++) {
        const struct order_entry *entry = &coincidence->order[i];
        (void)text_append_format(out, "%s%s %.0f %%", i == 0 ? "" : ", ",
                                 entry->node < site->node_count ? site->nodes[entry->node].id : "?",
                                 entry->first_probability * 100);
    }
    (void)text_append_format(
        out, "%s\n",
        coincidence->first_known ? ""
        : coincidence->together
            ? " (together: their onsets differ by no more than their uncertainties bring)"
            : " (not enough to tell an order: the onsets lie closer than their uncertainties)");
}

int sentence_account(const struct site *site, const struct coincidence *coincidence,
                     struct text *out)
{
    (void)sentence_line(site, coincidence, out);
    (void)text_append_format(out, "\n");
    account_members(site, coincidence, out);
    account_order(site, coincidence, out);
    account_path(site, coincidence, out);
    account_control(site, coincidence, out);
    account_causes(coincidence, out);
    account_chance(coincidence, out);
    if (coincidence->alert) {
        (void)text_append_format(out, INDENT "an alert was raised\n");
    }
    return out->failed ? -1 : 0;
}
