/* One ordinary cause's test: a coincidence in, an opinion with its numbers out. To add a cause:
 * one file cause_NAME.c and one line in causes.c.
 * Must never answer without saying by which numbers. Called by judge. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_CAUSE_H
#define ROOMWAKE_COLLECTOR_CORRELATE_CAUSE_H

#include <stdbool.h>
#include <stddef.h>

#include "collector/correlate/rates.h"
#include "collector/model/coincidence.h"
#include "collector/model/mark.h"
#include "common/site.h"

/* What a test may look at. `coincidence` lacks only its verdict; marks are those known by now. */
struct cause_case {
    const struct site *site;
    const struct coincidence *coincidence;
    const struct mark *const *marks;
    size_t mark_count;
    const struct rates *rates; /* what was seen before */
};

/* What happens without a cause would look as much like any one of them this often, and a cause is
 * named when what was seen is this much likelier with it. Both our choice. */
#define CAUSE_BY_ITSELF 0.1
#define CAUSE_FACTOR 3.0

/* likelihood: 0 to 1, how much of what the cause brings looks like this. Of several that fit the
 * likeliest is the verdict, where equal the table's order; the others' reasons say that they fit.
 */
struct cause_opinion {
    bool fits;
    double likelihood;
    int64_t mark_id;                           /* the mark that covers it; 0 for none */
    char reason[COINCIDENCE_REASON_SIZE - 64]; /* numbers in words, without name and verdict */
};

struct cause_test {
    enum cause_kind kind;
    void (*judge)(const struct cause_case *question, struct cause_opinion *opinion);
};

extern const struct cause_test *const cause_tests[];
extern const size_t cause_test_count;

extern const struct cause_test cause_mains;
extern const struct cause_test cause_walking;
extern const struct cause_test cause_team;
extern const struct cause_test cause_magnet;
extern const struct cause_test cause_radio;
extern const struct cause_test cause_draught;
extern const struct cause_test cause_heating;
extern const struct cause_test cause_geomagnetic;
extern const struct cause_test cause_fault;

/* Tries every test and fills the coincidence's verdict and mark. */
void causes_judge(const struct site *site, const struct mark *const *marks, size_t mark_count,
                  const struct rates *rates, struct coincidence *coincidence);
/* The marks alone, of one that was judged before: whether they now say otherwise. A mark overrules
 * whatever else fits. */
bool causes_mark(const struct site *site, const struct mark *const *marks, size_t mark_count,
                 struct coincidence *coincidence);

#endif
