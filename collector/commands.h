/* The subcommands' tables, one a cmd_*.c file; main.c lists them.
 * Must never grow anything but these lines. */
#ifndef ROOMWAKE_COLLECTOR_COMMANDS_H
#define ROOMWAKE_COLLECTOR_COMMANDS_H

struct command;

extern const struct command command_record;
extern const struct command command_import;
extern const struct command command_reanalyse;
extern const struct command command_review;
extern const struct command command_export;
extern const struct command command_report;
extern const struct command command_mark;
extern const struct command command_enrol;
extern const struct command command_preflight;
extern const struct command command_walk;
extern const struct command command_baseline;
extern const struct command command_serve;
extern const struct command command_plan;
extern const struct command command_verify;
extern const struct command command_ask;
extern const struct command command_answers;
extern const struct command command_align;
extern const struct command command_compare;
extern const struct command command_calibrate;
extern const struct command command_chirp;

#endif
