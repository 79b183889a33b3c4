/* The table of ordinary causes, and the choice between those that fit.
 * Must never invent a cause: where none fits it is unexplained. Called by judge. */
#include "collector/correlate/cause.h"

#include <stdio.h>

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

void causes_judge(const struct site *site, const struct mark *const *marks, size_t mark_count,
                  const struct rates *rates, struct coincidence *coincidence)
{
    struct cause_case question = {site, coincidence, marks, mark_count, rates};
    struct verdict verdict = {.cause = CAUSE_UNEXPLAINED};
    int64_t mark_id = 0;
    double best = 0.0;
    for (size_t i = 0; i < cause_test_count; i++) {
        struct cause_opinion opinion = {false, 0.0, 0, ""};
        cause_tests[i]->judge(&question, &opinion);
        add_reason(&verdict, cause_tests[i]->kind, &opinion);
        double weight = opinion.likelihood + (cause_tests[i]->overrules ? 1.0 : 0.0);
        if (opinion.fits && likely(&opinion) && weight > best) {
            verdict.cause = cause_tests[i]->kind;
            best = weight;
        }
        mark_id = opinion.fits && opinion.mark_id ? opinion.mark_id : mark_id;
    }
    coincidence->verdict = verdict;
    coincidence->mark_id = mark_id;
}
