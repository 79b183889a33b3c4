/* The question sessions of a night, scored and told.
 * Must never write into the night. Called by cmd_answers.c. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_ANSWERS_NIGHT_H
#define ROOMWAKE_COLLECTOR_EXPORT_ANSWERS_NIGHT_H

#include <stdio.h>

#include "collector/night/reader.h"
#include "common/error.h"

/* All sessions, or the one of this id if `session` is not NULL. ERROR_NOT_FOUND where there is
 * none.
 */
int answers_night_write(struct night_reader *reader, const char *session, FILE *out,
                        struct error *error);

#endif
