/* Long options from one table a command, and the help printed from the same table.
 * Must never exit by itself. Called by main.c and every cmd_*.c. */
#include "collector/options.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "common/timefmt.h"

static const struct option_spec *find_option(const struct command *command, const char *name,
                                             size_t length)
{
    for (const struct option_spec *spec = command->options; spec->name; spec++) {
        if (strlen(spec->name) == length && memcmp(spec->name, name, length) == 0) {
            return spec;
        }
    }
    return NULL;
}

static int take_option(const struct command *command, int argc, char **argv, int *index,
                       struct arguments *arguments, struct error *error)
{
    const char *name = argv[*index] + 2;
    const char *equals = strchr(name, '=');
    size_t length = equals ? (size_t)(equals - name) : strlen(name);
    const struct option_spec *spec = find_option(command, name, length);
    if (!spec) {
        return error_set(error, ERROR_USAGE, "--%.*s: unknown option (try --help)", (int)length,
                         name);
    }
    const char *value = "";
    if (spec->value) {
        if (equals) {
            value = equals + 1;
        } else if (*index + 1 < argc) {
            value = argv[++*index];
        } else {
            return error_set(error, ERROR_USAGE, "--%s: needs a value (%s)", spec->name,
                             spec->value);
        }
    } else if (equals) {
        return error_set(error, ERROR_USAGE, "--%s: takes no value", spec->name);
    }
    if (arguments->option_count == OPTIONS_GIVEN_MAX) {
        return error_set(error, ERROR_USAGE, "--%s: too many options", spec->name);
    }
    arguments->options[arguments->option_count].spec = spec;
    arguments->options[arguments->option_count++].value = value;
    return 0;
}

static int check_complete(const struct command *command, const struct arguments *arguments,
                          struct error *error)
{
    for (const struct option_spec *spec = command->options; spec->name; spec++) {
        if (spec->required && !options_value(arguments, spec->name)) {
            return error_set(error, ERROR_USAGE, "--%s %s: missing (try --help)", spec->name,
                             spec->value ? spec->value : "");
        }
    }
    size_t wanted = command->positional ? 1 : 0;
    for (const char *c = command->positional; c && *c; c++) {
        wanted += *c == ' ';
    }
    if (arguments->positional_count < wanted) {
        return error_set(error, ERROR_USAGE, "%s: missing (try --help)", command->positional);
    }
    bool more =
        wanted > 0 && strcmp(command->positional + strlen(command->positional) - 3, "...") == 0;
    if (arguments->positional_count > wanted && !more) {
        return error_set(error, ERROR_USAGE, "%s: one argument too many",
                         arguments->positionals[wanted]);
    }
    return 0;
}

int options_parse(const struct command *command, int argc, char **argv, struct arguments *arguments,
                  struct error *error)
{
    memset(arguments, 0, sizeof *arguments);
    bool options_over = false;
    for (int i = 1; i < argc; i++) {
        if (!options_over && strcmp(argv[i], "--") == 0) {
            options_over = true;
        } else if (!options_over && strncmp(argv[i], "--", 2) == 0) {
            if (take_option(command, argc, argv, &i, arguments, error) != 0) {
                return -1;
            }
        } else if (arguments->positional_count < OPTIONS_GIVEN_MAX) {
            arguments->positionals[arguments->positional_count++] = argv[i];
        } else {
            return error_set(error, ERROR_USAGE, "too many arguments");
        }
    }
    return check_complete(command, arguments, error);
}

bool options_ask_help(int argc, char **argv)
{
    for (int i = 1; i < argc && strcmp(argv[i], "--") != 0; i++) {
        if (strcmp(argv[i], "--help") == 0) {
            return true;
        }
    }
    return false;
}

struct option_page options_as_page(const struct command *command)
{
    return (struct option_page){.name = command->name,
                                .positional = command->positional,
                                .summary = command->summary,
                                .options = command->options};
}

void options_print_help(const struct command *command)
{
    const struct option_page page = options_as_page(command);
    option_pages_help("roomwake", &page, stdout);
}

const char *options_value(const struct arguments *arguments, const char *name)
{
    for (size_t i = arguments->option_count; i-- > 0;) {
        if (strcmp(arguments->options[i].spec->name, name) == 0) {
            return arguments->options[i].value;
        }
    }
    return NULL;
}

int options_fail(const char *command, const struct error *error)
{
    (void)fflush(stdout);
    fprintf(stderr, "roomwake%s%s: %s\n", command ? " " : "", command ? command : "", error->text);
    return error->code == ERROR_USAGE ? EXIT_CODE_USAGE : EXIT_CODE_FAILED;
}

int options_parse_address(const char *text, const char *option, char *host, size_t size, int *port,
                          struct error *error)
{
    const char *colon = strrchr(text, ':');
    const char *start = text;
    const char *end = colon;
    if (colon && text[0] == '[' && colon > text + 1 && colon[-1] == ']') {
        start = text + 1;
        end = colon - 1;
    }
    char *rest = NULL;
    long number = colon ? strtol(colon + 1, &rest, 10) : -1;
    if (!colon || end == start || (size_t)(end - start) >= size || colon[1] == '\0' ||
        *rest != '\0' || number < 1 || number > 65535) {
        return error_set(error, ERROR_USAGE, "--%s: \"%s\" is no ADDR:PORT", option, text);
    }
    memcpy(host, start, (size_t)(end - start));
    host[end - start] = '\0';
    *port = (int)number;
    return 0;
}

int options_number(const struct arguments *arguments, const char *option, double otherwise,
                   double least, double most, double *number, struct error *error)
{
    const char *text = options_value(arguments, option);
    char *rest = NULL;
    *number = text ? strtod(text, &rest) : otherwise;
    return !text || (*text != '\0' && *rest == '\0' && *number >= least && *number <= most)
               ? 0
               : error_set(error, ERROR_USAGE, "--%s: \"%s\" is no number from %g to %g", option,
                           text, least, most);
}

int options_time(const struct arguments *arguments, const char *option, int64_t *time_ns,
                 struct error *error)
{
    const char *text = options_value(arguments, option);
    struct error ignored;
    if (!text || timefmt_parse_rfc3339(text, strlen(text), time_ns, &ignored) == 0 ||
        timefmt_parse_seconds(text, strlen(text), time_ns, &ignored) == 0) {
        return 0;
    }
    return error_set(error, ERROR_USAGE, "--%s: \"%s\" is neither RFC 3339 nor seconds since 1970",
                     option, text);
}
