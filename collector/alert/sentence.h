/* A coincidence in plain words: one line for the dark room, an account for the review.
 * Must never say more than the numbers carry; never more than "unexplained". */
#ifndef ROOMWAKE_COLLECTOR_ALERT_SENTENCE_H
#define ROOMWAKE_COLLECTOR_ALERT_SENTENCE_H

#include <stddef.h>
#include <stdint.h>

#include "collector/model/coincidence.h"
#include "common/site.h"
#include "common/text.h"

/* "21:14:03.120 unexplained: hall, passage and kitchen (3 nodes) within 18 ms; order can't be told;
 * by chance 0.004 a night". No newline. -1 only where memory ran out. */
int sentence_line(const struct site *site, const struct coincidence *coincidence, struct text *out);
/* Several lines, each indented and ended: the line, who took part, the order, path and speed, each
 * reason of the verdict, chance, mark. */
int sentence_account(const struct site *site, const struct coincidence *coincidence,
                     struct text *out);
/* One disturbance: "21:14:03.120 hall (n1): magnetic 312 nT, 9.1 times its noise; onset +- 2 ms".
 */
int sentence_disturbance(const struct site *site, const struct disturbance *disturbance,
                         struct text *out);

/* "312 nT", "0.41 degC": three digits, with the prefix that suits. */
void sentence_value(double value, const char *unit, char *out, size_t size);
/* "0.004", "1.2", "12", "less than 1e-6": two digits. */
void sentence_rate(double per_night, char *out, size_t size);

#endif
