/* roomwake-node: options in, exit code out.
 * Must never hold logic. Exit: 0 ended in order, 1 a failed run, 2 wrong use or a wrong config. */
#include <getopt.h>
#include <stdio.h>
#include <string.h>

#include "common/log.h"
#include "common/option_pages.h"
#include "node/join.h"
#include "node/node.h"

#define EXIT_FAILED 1
#define EXIT_USAGE 2

static const struct option_spec specs[] = {
    {"config", "FILE", true, "the node's settings (JSON)"},
    {"join", "CODE", false,
     "write into FILE who this node is, from the code of `roomwake enrol`, and end; what FILE says "
     "of "
     "sensors and spool stays"},
    {"version", NULL, false, "the version"},
    {0},
};

static const struct option_page page = {
    .summary =
        "samples this node's sensors, keeps what it sampled until the base station has stored "
        "it, and agrees with it on the time, until it is told to end (SIGINT, SIGTERM)",
    .options = specs,
};

/* For packages, made when building. 0 where `which` is neither. */
static int print_pages(const char *which)
{
    if (strcmp(which, "manual") == 0) {
        option_pages_manual("roomwake-node", "sample a room's sensors for a base station", &page, 1,
                            stdout);
        return 1;
    }
    if (strcmp(which, "completion") == 0) {
        option_pages_completion("roomwake-node", &page, 1, stdout);
        return 1;
    }
    return 0;
}

static int run(const char *path, char **argv)
{
    struct anew before;
    struct anew next;
    struct node_config config;
    struct clock_skew skew;
    struct clock_source clock;
    struct error error = {0};
    anew_take(&before);
    if (node_config_load(path, &config, &error) || clock_from_environment(&skew, &clock, &error)) {
        log_error("%s", error.text);
        return EXIT_USAGE;
    }
    int rc = node_run(&config, &clock, &before, &next, &error);
    node_config_free(&config);
    if (rc == NODE_ANEW) {
        log_warning("%s: starting anew", next.why);
        rc = anew_start(&next, argv, &error);
    }
    if (rc == 0) {
        return 0;
    }
    bool wrong_config = error.code == ERROR_USAGE || error.code == ERROR_FORMAT ||
                        error.code == ERROR_RANGE || error.code == ERROR_NOT_FOUND;
    log_error("%s%s%s", wrong_config ? path : "", wrong_config ? ": " : "", error.text);
    return wrong_config ? EXIT_USAGE : EXIT_FAILED;
}

static int join(const char *code, const char *path)
{
    struct error error;
    if (node_join(code, path, &error) == 0) {
        return 0;
    }
    log_error("%s", error.text);
    return error.code == ERROR_FORMAT ? EXIT_USAGE : EXIT_FAILED;
}

int main(int argc, char **argv)
{
    static const struct option options[] = {{"config", required_argument, NULL, 'c'},
                                            {"help", no_argument, NULL, 'h'},
                                            {"version", no_argument, NULL, 'v'},
                                            {"join", required_argument, NULL, 'j'},
                                            {NULL, 0, NULL, 0}};
    const char *path = NULL;
    const char *code = NULL;
    int option;
    log_set_program("roomwake-node");
    opterr = 0;
    if (argc == 3 && strcmp(argv[1], "help") == 0 && print_pages(argv[2])) {
        return 0;
    }
    while ((option = getopt_long(argc, argv, "", options, NULL)) != -1) {
        switch (option) {
        case 'c':
            path = optarg;
            break;
        case 'j':
            code = optarg;
            break;
        case 'h':
            option_pages_help("roomwake-node", &page, stdout);
            return 0;
        case 'v':
            puts("roomwake-node " ROOMWAKE_VERSION);
            return 0;
        default:
            log_error("%s: no such option, or its value is missing: see roomwake-node --help",
                      argv[optind - 1]);
            return EXIT_USAGE;
        }
    }
    if (!path || optind < argc) {
        log_error("%s: see roomwake-node --help", path ? argv[optind] : "--config FILE is needed");
        return EXIT_USAGE;
    }
    return code ? join(code, path) : run(path, argv);
}
