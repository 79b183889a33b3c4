/* What the base station says on the terminal while a night is recorded: nodes coming, in time,
 * silent; the disk; the broker. Must never decide anything, nor say the same thing twice in a row.
 */
#ifndef ROOMWAKE_COLLECTOR_RECORD_STATION_H
#define ROOMWAKE_COLLECTOR_RECORD_STATION_H

#include <stdint.h>

#include "collector/model/gap.h"
#include "collector/model/mark.h"
#include "collector/model/question.h"
#include "collector/model/quiet.h"
#include "collector/record/loop_watch.h"
#include "collector/record/site_clock.h"
#include "common/message.h"
#include "common/site.h"

struct station;

/* `site` and `clock` must outlive it. Lines go to standard output, one each, with the local time.
 */
int station_new(const struct site *site, struct site_clock *clock, struct station **station,
                struct error *error);
void station_free(struct station *station);

/* Gives each line to `heard` too, the same words; to STATION_LISTENERS at most. */
#define STATION_LISTENERS 2
void station_listen(struct station *station,
                    void (*heard)(void *context, int64_t time_ns, const char *head,
                                  const char *text),
                    void *context);

void station_say(struct station *station, const char *head, const char *text);
void station_hello(struct station *station, uint32_t node, const struct message_hello *hello);
void station_state(struct station *station, uint32_t node, const struct message_state *state);
/* A quantity of the node has learnt its baseline: said once a node; the review tells the numbers.
 */
void station_noticed(struct station *station, uint32_t node);
void station_waited_for(struct station *station, uint32_t node, bool waited_for);
void station_gap(struct station *station, const struct gap *gap);
void station_mark(struct station *station, const struct mark *mark);
void station_mark_runs(struct station *station, const struct mark *mark);
void station_quiet(struct station *station, const struct quiet_order *order);
void station_question(struct station *station, const struct question_step *step);
void station_disk(struct station *station, const struct error *failure);
void station_broker(struct station *station, bool up, const char *why);
/* The loop was busy for so long in one turn; and, at the end, how it was over the night. */
void station_held_up(struct station *station, int64_t busy_ns, int64_t own_ns);
void station_pace(struct station *station, const struct loop_lag *lag);

#endif
