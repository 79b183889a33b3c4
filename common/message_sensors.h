/* The part of a state message that tells of each sensor.
 * Must never be used outside the message files. */
#ifndef ROOMWAKE_COMMON_MESSAGE_SENSORS_H
#define ROOMWAKE_COMMON_MESSAGE_SENSORS_H

#include <cjson/cJSON.h>

#include "common/message.h"

/* ,"sensors":[...], or nothing. */
void message_append_sensors(struct text *out, const struct message_state *state);
int message_read_sensors(const cJSON *root, struct message_state *state, struct error *error);

#endif
