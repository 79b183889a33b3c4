/* Several nights side by side, in words and numbers.
 * Must never claim more than the tests carry, nor name an appliance. Used by cmd_compare.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_COMPARE_SAY_H
#define ROOMWAKE_COLLECTOR_RECORD_COMPARE_SAY_H

#include <stdio.h>

#include "collector/record/compare_book.h"

/* Chance alone makes one claim or more in at most so many of such sets of nights, for each part. */
#define COMPARE_CLAIM 0.05
/* "The same clock time" and "the same hour". */
#define COMPARE_CLOCK_S 120.0
#define COMPARE_HOUR_S 3600.0

int compare_say(const struct compare_book *book, FILE *out, struct error *error);
/* The part of it about the clock, in compare_clock.c. */
int compare_say_clock(const struct compare_book *book, FILE *out, struct error *error);

/* "in 1 of 40 such sets of nights". */
#define COMPARE_CHANCE_SIZE 64
void compare_chance(double p_value, char out[COMPARE_CHANCE_SIZE]);
/* In how many nights a group of switchings was seen, and how often in each (night_count long). */
size_t compare_count_appliance(const struct compare_book *book, int group, uint32_t *counts);

#endif
