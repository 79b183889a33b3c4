/* One mark to the base station that runs on this machine, over its broker.
 * Must never say "noted" before the broker has it. Used by cmd_mark.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_SEND_MARK_H
#define ROOMWAKE_COLLECTOR_RECORD_SEND_MARK_H

#include "common/error.h"
#include "common/message.h"

/* Waits at most a few seconds; ERROR_NETWORK where the broker does not take it. */
int send_mark(const char *broker_url, const char *site, const struct message_mark *mark,
              struct error *error);

#endif
