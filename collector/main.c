/* roomwake: one program, a table of subcommands.
 * Must never hold logic of its own beyond finding the command. */
#include <signal.h>
#include <stdio.h>
#include <string.h>

#include "collector/commands.h"
#include "collector/options.h"
#include "common/log.h"
#include "common/service.h"

static const struct command *const commands[] = {
    &command_preflight, &command_walk,      &command_record,
    &command_import,    &command_reanalyse, &command_review,
    &command_export,    &command_report,    &command_mark,
    &command_baseline,  &command_ask,       &command_answers,
    &command_align,     &command_compare,   &command_calibrate,
    &command_chirp,     &command_serve,     &command_plan,
    &command_enrol,     &command_verify,    NULL,
};

static void print_usage(FILE *out)
{
    fprintf(out, "usage: roomwake COMMAND [options]\n\n");
    for (size_t i = 0; commands[i]; i++) {
        fprintf(out, "  %-10s %s\n", commands[i]->name, commands[i]->summary);
    }
    fprintf(out, "\n\"roomwake COMMAND --help\" tells a command's options.\n");
}

/* "help manual", "help completion": for packages, made when building. 0 where it was neither. */
static int print_pages(const char *which)
{
    struct option_page pages[sizeof commands / sizeof *commands];
    size_t count = 0;
    for (; commands[count]; count++) {
        pages[count] = options_as_page(commands[count]);
    }
    if (strcmp(which, "manual") == 0) {
        option_pages_manual("roomwake", "watch several rooms of a building through a night", pages,
                            count, stdout);
        return 1;
    }
    if (strcmp(which, "completion") == 0) {
        option_pages_completion("roomwake", pages, count, stdout);
        return 1;
    }
    return 0;
}

int main(int argc, char **argv)
{
    log_set_program("roomwake");
    service_keep();
    (void)signal(SIGPIPE, SIG_IGN);
    if (argc == 3 && strcmp(argv[1], "help") == 0 && print_pages(argv[2])) {
        return EXIT_CODE_SUCCESS;
    }
    if (argc >= 2 && (strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "help") == 0)) {
        print_usage(stdout);
        return EXIT_CODE_SUCCESS;
    }
    if (argc >= 2 && strcmp(argv[1], "--version") == 0) {
        printf("roomwake %s\n", ROOMWAKE_VERSION);
        return EXIT_CODE_SUCCESS;
    }
    if (argc < 2) {
        print_usage(stderr);
        return EXIT_CODE_USAGE;
    }
    for (size_t i = 0; commands[i]; i++) {
        if (strcmp(argv[1], commands[i]->name) != 0) {
            continue;
        }
        if (options_ask_help(argc - 1, argv + 1)) {
            options_print_help(commands[i]);
            return EXIT_CODE_SUCCESS;
        }
        struct arguments arguments;
        struct error error;
        if (options_parse(commands[i], argc - 1, argv + 1, &arguments, &error) != 0) {
            return options_fail(commands[i]->name, &error);
        }
        return commands[i]->run(&arguments);
    }
    fprintf(stderr, "roomwake: %s: no such command (try \"roomwake --help\")\n", argv[1]);
    return EXIT_CODE_USAGE;
}
