/* The account of a coincidence over several lines: who, in which order, why the verdict.
 * Must never leave out a number that the verdict stands on.
 * Called by the review. */
#include <stdio.h>

#include "collector/alert/sentence.h"
#include "collector/alert/words.h"
#include "common/timefmt.h"

#define INDENT "    "

static void account_members(const struct site *site, const struct coincidence *coincidence,
                            struct text *out)
{
    for (size_t i = 0; i < coincidence->member_count; i++) {
        (void)text_append_format(out, INDENT);
        (void)sentence_disturbance(site, &coincidence->members[i], out);
        (void)text_append_format(out, "\n");
    }
    if (coincidence->dropped_members > 0) {
        (void)text_append_format(out, INDENT "and %zu more\n", coincidence->dropped_members);
    }
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
    (void)text_append_format(out, "%s\n",
                             coincidence->first_known ? "" : " (not enough to tell an order)");
}

int sentence_account(const struct site *site, const struct coincidence *coincidence,
                     struct text *out)
{
    char rate[64];
    (void)sentence_line(site, coincidence, out);
    (void)text_append_format(out, "\n");
    account_members(site, coincidence, out);
    account_order(site, coincidence, out);
    account_path(site, coincidence, out);
    for (size_t i = 0; i < coincidence->verdict.reason_count; i++) {
        (void)text_append_format(out, INDENT "%s\n", coincidence->verdict.reasons[i]);
    }
    sentence_rate(coincidence->chance.per_night, rate, sizeof rate);
    (void)text_append_format(out, INDENT "chance alone brings %s like it in a night of 8 h\n",
                             rate);
    if (coincidence->alert) {
        (void)text_append_format(out, INDENT "an alert was raised\n");
    }
    return out->failed ? -1 : 0;
}
