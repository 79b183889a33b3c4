/* roomwake baseline: begins or ends a quiet spell by hand, or tells what it taught.
 * Must never hold more than options and one call. Called by main.c. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/commands.h"
#include "collector/options.h"
#include "collector/record/baseline_summary.h"
#include "collector/record/running.h"
#include "collector/record/tell.h"

#define FOR_LEAST_S 20.0
#define FOR_MOST_S 86400.0
#define NS_PER_SECOND 1e9

static int read_options(const struct arguments *arguments, struct message_baseline *baseline,
                        struct error *error)
{
    const char *length = options_value(arguments, "for");
    char *rest = NULL;
    baseline->end = options_value(arguments, "end") != NULL;
    if (baseline->end && (options_value(arguments, "begin") || length)) {
        return error_set(error, ERROR_USAGE, "--end: not together with --begin or --for");
    }
    if (!length) {
        return 0;
    }
    double seconds = strtod(length, &rest);
    if (*length == '\0' || *rest != '\0' || !(seconds >= FOR_LEAST_S && seconds <= FOR_MOST_S)) {
        return error_set(error, ERROR_USAGE, "--for: \"%s\" is no number of seconds from %g to %g",
                         length, FOR_LEAST_S, FOR_MOST_S);
    }
    if (!options_value(arguments, "begin")) {
        return error_set(error, ERROR_USAGE, "--for: only together with --begin");
    }
    baseline->length_ns = (int64_t)(seconds * NS_PER_SECOND);
    return 0;
}

static int tell(const struct running *running, const struct message_baseline *baseline)
{
    struct error error;
    struct message_said said;
    if (tell_baseline(running->broker, running->site, baseline, &said, &error) != 0) {
        return options_fail("baseline", &error);
    }
    printf("%s%s\n", baseline_say(baseline),
           baseline->end || baseline->length_ns > 0 ? "" : " (roomwake baseline --end)");
    return EXIT_CODE_SUCCESS;
}

static int run_command(const struct arguments *arguments)
{
    struct error error;
    struct running running;
    struct message_baseline baseline = {.ref = ""};
    const char *night = options_value(arguments, "night");
    bool order = options_value(arguments, "begin") || options_value(arguments, "end") ||
                 options_value(arguments, "for");
    if (read_options(arguments, &baseline, &error) != 0) {
        return options_fail("baseline", &error);
    }
    if ((order || !night) &&
        running_find(options_value(arguments, "site-id"), &running, &error) != 0) {
        return options_fail("baseline", &error);
    }
    if (order) {
        return tell(&running, &baseline);
    }
    return baseline_summary(night ? night : running.night, stdout, &error) == 0
               ? EXIT_CODE_SUCCESS
               : options_fail("baseline", &error);
}

static const struct option_spec options[] = {
    {"begin", NULL, false, "all nodes learn anew what is usual, from now on"},
    {"for", "SECONDS", false, "for so long, and longer where disturbed; else until --end"},
    {"end", NULL, false, "what has been learnt is enough"},
    {"night", "FILE", false, "tell of this night; else of the one that is being recorded"},
    {"site-id", "ID", false, "which night, where several are being recorded on this machine"},
    {0},
};

const struct command command_baseline = {
    .name = "baseline",
    .summary = "the quiet spell: begin it, end it, or what it taught",
    .options = options,
    .run = run_command,
};
