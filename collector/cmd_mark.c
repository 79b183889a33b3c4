/* roomwake mark: what the team did, now, into the running night.
 * Must never hold more than options and one call. Called by main.c. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/commands.h"
#include "collector/options.h"
#include "collector/record/running.h"
#include "collector/record/send_mark.h"
#include "common/ident.h"

#define DEFAULT_FOR_S 60.0
#define FOR_MOST_S 86400.0
#define NS_PER_SECOND 1e9

static int read_ident(const struct arguments *arguments, const char *option, char out[IDENT_SIZE],
                      struct error *error)
{
    const char *value = options_value(arguments, option);
    if (value && !ident_valid(value, strlen(value))) {
        return error_set(error, ERROR_USAGE, "--%s: \"%s\" is no id ([a-z0-9-], 1 to 32)", option,
                         value);
    }
    (void)snprintf(out, IDENT_SIZE, "%s", value ? value : "");
    return 0;
}

static int read_mark(const struct arguments *arguments, struct message_mark *mark,
                     struct error *error)
{
    const char *text = options_value(arguments, "text");
    const char *length = options_value(arguments, "for");
    double seconds = DEFAULT_FOR_S;
    if (length) {
        char *rest = NULL;
        seconds = strtod(length, &rest);
        if (*length == '\0' || *rest != '\0' || !(seconds >= 0 && seconds <= FOR_MOST_S)) {
            return error_set(error, ERROR_USAGE, "--for: \"%s\" is no number of seconds", length);
        }
    }
    if (text[0] == '\0' || strlen(text) >= sizeof mark->text) {
        return error_set(error, ERROR_USAGE, "--text: must have 1 to %zu bytes",
                         sizeof mark->text - 1);
    }
    (void)snprintf(mark->text, sizeof mark->text, "%s", text);
    mark->length_ns = (int64_t)(seconds * NS_PER_SECOND);
    return read_ident(arguments, "room", mark->room, error) == 0 &&
                   read_ident(arguments, "who", mark->who, error) == 0
               ? 0
               : -1;
}

static int run_command(const struct arguments *arguments)
{
    struct error error;
    struct running running;
    struct message_mark mark;
    memset(&mark, 0, sizeof mark);
    if (read_mark(arguments, &mark, &error) != 0 ||
        running_find(options_value(arguments, "site-id"), &running, &error) != 0 ||
        send_mark(running.broker, running.site, &mark, &error) != 0) {
        return options_fail("mark", &error);
    }
    printf("marked in %s: %s\n", running.site, mark.text);
    return EXIT_CODE_SUCCESS;
}

static const struct option_spec options[] = {
    {"text", "TEXT", true, "what was done"},
    {"room", "ID", false, "where; the whole site where not told"},
    {"for", "SECONDS", false, "how long it covers, from now (default 60)"},
    {"who", "ID", false, "who did it"},
    {"site-id", "ID", false, "which night, where several are being recorded on this machine"},
    {0},
};

const struct command command_mark = {
    .name = "mark",
    .summary = "a mark, now, into the running night",
    .options = options,
    .run = run_command,
};
