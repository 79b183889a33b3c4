/* What a page can ask of a night, each answer as bounded JSON. Times in it count from the night's
 * start, in ns: whole numbers that a browser holds exactly.
 * Must never write to the night nor run on the loop. Called by desk.c on its own thread. */
#ifndef ROOMWAKE_COLLECTOR_WEB_ANSWER_H
#define ROOMWAKE_COLLECTOR_WEB_ANSWER_H

#include "collector/night/reader.h"
#include "collector/web/query.h"
#include "common/error.h"
#include "common/site.h"
#include "common/text.h"

/* More of a kind are counted as left out, not sent. */
#define WEB_FINDINGS_MAX 2000u
#define WEB_EVENTS_MAX 5000u

/* A night that is open for reading. */
struct web_night {
    struct night_reader *reader;
    struct night_info info;
    struct site *site;
};

typedef int (*web_answer)(const struct web_night *night, const struct web_query *query,
                          struct text *out, struct error *error);

/* The site and whose night it is. */
int web_answer_night(const struct web_night *night, const struct web_query *query, struct text *out,
                     struct error *error);
/* The same as the last field of an object that `out` holds already. */
int web_answer_self(const struct web_night *night, const struct web_query *query, struct text *out,
                    struct error *error);
/* What each node gave (query->id: that node alone, from 1): samples, first and last, its clock. */
int web_answer_nodes(const struct web_night *night, const struct web_query *query, struct text *out,
                     struct error *error);
/* The coincidences, each in a line; where there are too many, those that chance brings least. */
int web_answer_findings(const struct web_night *night, const struct web_query *query,
                        struct text *out, struct error *error);
/* One of them (query->id) with all that is known of it. */
int web_answer_finding(const struct web_night *night, const struct web_query *query,
                       struct text *out, struct error *error);
/* Gaps, marks, question windows, clock uncertainty, notices and disturbances over query->from_ns to
 * to_ns. */
int web_answer_events(const struct web_night *night, const struct web_query *query,
                      struct text *out, struct error *error);
/* Each lane of the query from from_ns to to_ns, by minimum and maximum, down to the samples. */
int web_answer_window(const struct web_night *night, const struct web_query *query,
                      struct text *out, struct error *error);

/* One coincidence in a line, as an object; `line` is the caller's, for use in between. */
int web_answer_append_brief(struct text *out, struct text *line, const struct coincidence *c,
                            const struct site *site, int64_t base_ns);
/* Rooms, doors, nodes and channels, as fields of an object without its braces. */
void web_answer_append_site(struct text *out, const struct site *site);

#endif
