/* The table of ordinary causes, and the choice between those that fit.
 * Must never invent a cause: where none fits it is unexplained. Called by judge. */
#include "collector/correlate/cause.h"

#include <stdio.h>
#include <string.h>

/* The team's is the first: causes_mark counts on it. */
const struct cause_test *const cause_tests[] = {&cause_team,    &cause_fault,       &cause_mains,
                                                &cause_walking, &cause_magnet,      &cause_draught,
                                                &cause_heating, &cause_geomagnetic, &cause_radio};
const size_t cause_test_count = sizeof cause_tests / sizeof cause_tests[0];

static bool likely(const struct cause_opinion *opinion)
{
    return opinion->likelihood >= CAUSE_FACTOR * CAUSE_BY_ITSELF;
}

static void add_reason(struct verdict *verdict, enum cause_kind kind,
                       const struct cause_opinion *opinion)
{
    if (verdict->reason_count < COINCIDENCE_REASONS_MAX) {
        (void)snprintf(verdict->reasons[verdict->reason_count++], COINCIDENCE_REASON_SIZE,
                       "%s: %s: %s", cause_text(kind), opinion->reason,
                       !opinion->fits ? "does not fit"
                                      : (likely(opinion) ? "fits" : "fits poorly"));
    }
}

static void choose(struct verdict *verdict, enum cause_kind ordinary, bool team)
{
    verdict->ordinary = ordinary;
    verdict->cause = team ? CAUSE_TEAM : ordinary;
}

void causes_judge(const struct site *site, const struct mark *const *marks, size_t mark_count,
                  const struct rates *rates, struct coincidence *coincidence)
{
    struct cause_case question = {site, coincidence, marks, mark_count, rates};
    struct verdict verdict = {.cause = CAUSE_UNEXPLAINED};
    enum cause_kind ordinary = CAUSE_UNEXPLAINED;
    int64_t mark_id = 0;
    double best = 0.0;
    for (size_t i = 0; i < cause_test_count; i++) {
        struct cause_opinion opinion = {false, 0.0, 0, ""};
        cause_tests[i]->judge(&question, &opinion);
        add_reason(&verdict, cause_tests[i]->kind, &opinion);
        if (cause_tests[i]->kind == CAUSE_TEAM) {
            mark_id = opinion.fits ? opinion.mark_id : 0;
        } else if (opinion.fits && likely(&opinion) && opinion.likelihood > best) {
            ordinary = cause_tests[i]->kind;
            best = opinion.likelihood;
        }
    }
    choose(&verdict, ordinary, mark_id != 0);
    coincidence->verdict = verdict;
    coincidence->mark_id = mark_id;
}

bool causes_mark(const struct site *site, const struct mark *const *marks, size_t mark_count,
                 struct coincidence *coincidence)
{
    struct cause_case question = {site, coincidence, marks, mark_count, NULL};
    struct cause_opinion opinion = {false, 0.0, 0, ""};
    struct verdict team = {.cause = CAUSE_TEAM};
    struct verdict *verdict = &coincidence->verdict;
    cause_team.judge(&question, &opinion);
    int64_t mark_id = opinion.fits ? opinion.mark_id : 0;
    if (mark_id == coincidence->mark_id) {
        return false;
    }
    add_reason(&team, CAUSE_TEAM, &opinion);
    memcpy(verdict->reasons[0], team.reasons[0], sizeof team.reasons[0]);
    choose(verdict, verdict->ordinary, mark_id != 0);
    coincidence->mark_id = mark_id;
    return true;
}
