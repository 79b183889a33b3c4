/* A word of the team's to the base station that runs on this machine, over its broker, and its
 * answer. Must never say "noted" before the base station has. Used by the team's commands. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_TELL_H
#define ROOMWAKE_COLLECTOR_RECORD_TELL_H

#include "common/error.h"
#include "common/message.h"

/* Both wait at most a few seconds. ERROR_NETWORK where the broker does not take it or nobody
 * answers; ERROR_USAGE where the base station refuses it, with its words. *said is the answer. */
int tell_mark(const char *broker_url, const char *site, const struct message_mark *mark,
              struct message_said *said, struct error *error);
int tell_baseline(const char *broker_url, const char *site, const struct message_baseline *baseline,
                  struct message_said *said, struct error *error);

#endif
