/* A node's channels in the night in words: which carry a unit that nobody checked, how fast they
 * really were. Must never take what a sensor told for what it did. Used by review.c. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_REVIEW_SENSORS_H
#define ROOMWAKE_COLLECTOR_EXPORT_REVIEW_SENSORS_H

#include <stdint.h>
#include <stdio.h>

#include "collector/night/reader.h"
#include "common/error.h"

/* Ends the node's line, and adds one. */
int review_sensors(struct night_reader *reader, uint32_t node, FILE *out, struct error *error);

#endif
