/* The options of every command that is, or may start, a base station: one table and one reading.
 * Must never show a password. Used by cmd_record.c, cmd_preflight.c and cmd_walk.c. */
#ifndef ROOMWAKE_COLLECTOR_OPTIONS_STATION_H
#define ROOMWAKE_COLLECTOR_OPTIONS_STATION_H

#include "collector/options.h"
#include "collector/record/station_child.h"

/* clang-format off */
#define OPTIONS_STATION_SITE_ROW {"site", "FILE", true, "the site file: rooms, doors, nodes"}
/* Rows of the commands that start one where none is running. */
#define OPTIONS_STATION_ROWS                                                                       \
    {"night", "FILE", false,                                                                       \
     "where no night of the site is being recorded: what comes is kept there"},                    \
    {"broker", "URL", false, "likewise: as for record"},                                           \
    {"listen", "ADDR:PORT", false, "likewise"},                                                    \
    {"time", "ADDR:PORT", false, "likewise"}
/* clang-format on */

/* As given, for the command that is started; `site_id` is left to the caller. */
struct station_child_settings options_station(const struct arguments *arguments);

/* The broker's address of --broker, NULL where it was not given; *url is the caller's (free).
 * "@FILE" is read from the first line of a file that nobody else may read (ERROR_STATE else), since
 * whatever stands on a command line can be seen by all who use the machine. */
int options_broker(const struct arguments *arguments, char **url, struct error *error);

#endif
