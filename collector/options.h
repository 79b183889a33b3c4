/* Long options, positionals and exit codes, from one table a command.
 * Must never exit by itself: the caller returns the code. Used by main.c and every cmd_*.c. */
#ifndef ROOMWAKE_COLLECTOR_OPTIONS_H
#define ROOMWAKE_COLLECTOR_OPTIONS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/error.h"
#include "common/option_pages.h"

enum exit_code { EXIT_CODE_SUCCESS = 0, EXIT_CODE_FAILED = 1, EXIT_CODE_USAGE = 2 };

#define OPTIONS_GIVEN_MAX 64

/* What was given, pointing into argv. */
struct arguments {
    size_t option_count;
    struct {
        const struct option_spec *spec;
        const char *value;
    } options[OPTIONS_GIVEN_MAX];
    size_t positional_count;
    const char *positionals[OPTIONS_GIVEN_MAX];
};

struct command {
    const char *name;
    const char *positional; /* "NIGHT", "NIGHT RECORDING", or NULL where it takes none: so many; or
                             * more, where it ends in "..." */
    const char *summary;
    const struct option_spec *options;             /* ends with {0} */
    int (*run)(const struct arguments *arguments); /* an enum exit_code */
};

/* argv[0] is the command's name. 0, or -1 with ERROR_USAGE. */
int options_parse(const struct command *command, int argc, char **argv, struct arguments *arguments,
                  struct error *error);
/* Whether --help is among them, before anything else is judged. */
bool options_ask_help(int argc, char **argv);
void options_print_help(const struct command *command);
struct option_page options_as_page(const struct command *command);

/* The last value given, or NULL. For a switch: "" when given. */
const char *options_value(const struct arguments *arguments, const char *name);

/* A number from least to most into *number; `otherwise` where none was given. */
int options_number(const struct arguments *arguments, const char *option, double otherwise,
                   double least, double most, double *number, struct error *error);

/* A time as RFC 3339 or as seconds since 1970 into *time_ns, which stays where none was given. */
int options_time(const struct arguments *arguments, const char *option, int64_t *time_ns,
                 struct error *error);

/* Prints "roomwake COMMAND: text" on standard error and gives the exit code of the error. */
int options_fail(const char *command, const struct error *error);

/* "ADDR:PORT" or "[ADDR6]:PORT" into host (size bytes) and port. */
int options_parse_address(const char *text, const char *option, char *host, size_t size, int *port,
                          struct error *error);

#endif
