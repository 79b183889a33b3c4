/* Questions that several causes ask of a coincidence's members.
 * Must never weigh: that is each cause's own. Used by the causes. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_CAUSE_PARTS_H
#define ROOMWAKE_COLLECTOR_CORRELATE_CAUSE_PARTS_H

#include <stdbool.h>
#include <stddef.h>

#include "collector/correlate/cause.h"
#include "collector/correlate/path.h"
#include "collector/model/coincidence.h"
#include "common/site.h"

/* The strongest member of each node in one quantity and band, in order of node's first such onset:
 * at most COINCIDENCE_MEMBERS_MAX; returns how many nodes. */
size_t cause_strongest(const struct coincidence *coincidence, enum quantity quantity,
                       enum band band, const struct disturbance **members);
/* The one with the highest score among them; NULL where there is none. */
const struct disturbance *cause_top(const struct disturbance *const *members, size_t count);

/* What else was disturbed in this quantity and band from so long before the coincidence's first
 * onset until so long after its last, its own members too, as it is known by now: at most
 * RECENT_MAX, the latest first. */
size_t cause_around(const struct cause_case *question, enum quantity quantity, enum band band,
                    double before_s, double after_s, const struct disturbance **around);
/* Distinct nodes among them. */
size_t cause_nodes(const struct disturbance *const *members, size_t count);
/* Nodes of the site that have such a channel. */
size_t cause_nodes_having(const struct site *site, enum quantity quantity);
/* Peak in units of the threshold. */
double cause_over(const struct disturbance *member);

/* Duration; `lasting` where the end is not known. */
double cause_lasts_s(const struct disturbance *member, double lasting);
/* How much of the peak within the settling stretch stood at its end: 1 for a level that stays,
 * small for a spike, a burst or what still rises. */
double cause_level_share(const struct disturbance *member);
/* How far its field turned as it rose and fell, across over along; 0 where that can't be told. */
double cause_turn(const struct disturbance *member);
/* Whether a turn of `part` would have been seen, and wasn't. */
bool cause_turned_less(const struct disturbance *member, double part);
/* Whether a motion sensor of the member's room answered at about its time. */
bool cause_somebody_there(const struct cause_case *question, const struct disturbance *member);
/* A speed through these moments in order of time. */
void cause_speed(const struct site *site, struct path_point *points, size_t count,
                 struct speed *speed);

#endif
