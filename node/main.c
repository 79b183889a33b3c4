/* roomwake-node: options in, exit code out.
 * Must never hold logic. Exit: 0 ended in order, 1 a failed run, 2 wrong use or a wrong config. */
#include <getopt.h>
#include <stdio.h>

#include "common/log.h"
#include "node/node.h"

#define EXIT_FAILED 1
#define EXIT_USAGE 2

static const char help[] =
    "usage: roomwake-node --config FILE\n"
    "\n"
    "Samples this node's sensors, keeps what it sampled until the base station has stored it,\n"
    "and agrees with it on the time. Runs until it is told to end (SIGINT, SIGTERM).\n"
    "\n"
    "  --config FILE   the node's settings (JSON)\n"
    "  --help          this text\n"
    "  --version       the version\n";

static int run(const char *path)
{
    struct node_config config;
    struct clock_skew skew;
    struct clock_source clock;
    struct error error = {0};
    if (node_config_load(path, &config, &error) || clock_from_environment(&skew, &clock, &error)) {
        log_error("%s", error.text);
        return EXIT_USAGE;
    }
    int rc = node_run(&config, &clock, &error);
    node_config_free(&config);
    if (rc == 0) {
        return 0;
    }
    log_error("%s", error.text);
    bool wrong_config = error.code == ERROR_USAGE || error.code == ERROR_FORMAT ||
                        error.code == ERROR_RANGE || error.code == ERROR_NOT_FOUND;
    return wrong_config ? EXIT_USAGE : EXIT_FAILED;
}

int main(int argc, char **argv)
{
    static const struct option options[] = {{"config", required_argument, NULL, 'c'},
                                            {"help", no_argument, NULL, 'h'},
                                            {"version", no_argument, NULL, 'v'},
                                            {NULL, 0, NULL, 0}};
    const char *path = NULL;
    int option;
    log_set_program("roomwake-node");
    opterr = 0;
    while ((option = getopt_long(argc, argv, "", options, NULL)) != -1) {
        switch (option) {
        case 'c':
            path = optarg;
            break;
        case 'h':
            fputs(help, stdout);
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
    return run(path);
}
