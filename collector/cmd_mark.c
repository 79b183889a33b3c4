/* roomwake mark: what the team did, into the running night; or a change of what was said.
 * Must never hold more than options and one call. Called by main.c. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/commands.h"
#include "collector/options.h"
#include "collector/record/list_marks.h"
#include "collector/record/moment.h"
#include "collector/record/running.h"
#include "collector/record/tell.h"
#include "common/clock.h"
#include "common/ident.h"

#define DEFAULT_FOR_S 60.0
#define FOR_MOST_S 86400.0
#define NS_PER_SECOND 1e9

static int read_ident(const struct arguments *arguments, const char *option, char out[IDENT_SIZE],
                      struct error *error)
{
    const char *value = options_value(arguments, option);
    if (value && value[0] && !ident_valid(value, strlen(value))) {
        return error_set(error, ERROR_USAGE, "--%s: \"%s\" is no id ([a-z0-9-], 1 to 32)", option,
                         value);
    }
    (void)snprintf(out, IDENT_SIZE, "%s", value ? value : "");
    return 0;
}

/* --for, --until or --running: one of them. */
static int read_length(const struct arguments *arguments, int64_t now_ns, struct message_mark *mark,
                       struct error *error)
{
    const char *length = options_value(arguments, "for");
    const char *until = options_value(arguments, "until");
    double seconds = DEFAULT_FOR_S;
    mark->running = options_value(arguments, "running") != NULL;
    if ((length != NULL) + (until != NULL) + mark->running > 1) {
        return error_set(error, ERROR_USAGE, "only one of --for, --until and --running");
    }
    if (length) {
        char *rest = NULL;
        seconds = strtod(length, &rest);
        if (*length == '\0' || *rest != '\0' || !(seconds >= 0 && seconds <= FOR_MOST_S)) {
            return error_set(error, ERROR_USAGE, "--for: \"%s\" is no number of seconds", length);
        }
    }
    mark->length_ns = (int64_t)(seconds * NS_PER_SECOND);
    mark->given |= length || until || mark->running ? (unsigned)MARK_GAVE_LENGTH : 0u;
    return until ? moment_parse(until, "until", now_ns, &mark->end_ns, error) : 0;
}

static int read_text(const struct arguments *arguments, struct message_mark *mark,
                     struct error *error)
{
    const char *text = options_value(arguments, "text");
    if (!text && mark->what == MARK_NEW) {
        return error_set(error, ERROR_USAGE,
                         "--text: tell what was done, e.g. --text \"I crossed "
                         "the hall\"");
    }
    if (!text) {
        return 0;
    }
    if (text[0] == '\0' || strlen(text) >= sizeof mark->text) {
        return error_set(error, ERROR_USAGE, "--text: must have 1 to %zu bytes",
                         sizeof mark->text - 1);
    }
    mark->given |= MARK_GAVE_TEXT;
    (void)snprintf(mark->text, sizeof mark->text, "%s", text);
    return 0;
}

/* Which mark is changed, and how; a new one where none is named. */
static int read_what(const struct arguments *arguments, struct message_mark *mark,
                     struct error *error)
{
    static const struct {
        const char *option;
        enum mark_what what;
    } changes[] = {{"correct", MARK_CORRECT}, {"end", MARK_END}, {"withdraw", MARK_WITHDRAW}};
    for (size_t i = 0; i < sizeof changes / sizeof *changes; i++) {
        const char *number = options_value(arguments, changes[i].option);
        char *rest = NULL;
        if (!number) {
            continue;
        }
        if (mark->what != MARK_NEW) {
            return error_set(error, ERROR_USAGE, "only one of --correct, --end and --withdraw");
        }
        mark->what = changes[i].what;
        mark->number = strtoll(number, &rest, 10);
        if (*number == '\0' || *rest != '\0' || mark->number < 1) {
            return error_set(error, ERROR_USAGE,
                             "--%s: \"%s\" is no mark's number (`roomwake mark "
                             "--list` has them)",
                             changes[i].option, number);
        }
    }
    return 0;
}

static int read_start(const struct arguments *arguments, int64_t now_ns, struct message_mark *mark,
                      struct error *error)
{
    const char *at = options_value(arguments, "at");
    int64_t *time_ns = mark->what == MARK_END ? &mark->end_ns : &mark->start_ns;
    if (!at) {
        return 0;
    }
    mark->given |= MARK_GAVE_START;
    return moment_parse(at, "at", now_ns, time_ns, error);
}

static int read_mark(const struct arguments *arguments, int64_t now_ns, struct message_mark *mark,
                     struct error *error)
{
    if (read_what(arguments, mark, error) != 0 ||
        read_length(arguments, now_ns, mark, error) != 0 ||
        read_start(arguments, now_ns, mark, error) != 0 || read_text(arguments, mark, error) != 0) {
        return -1;
    }
    mark->given |= (options_value(arguments, "room") ? (unsigned)MARK_GAVE_ROOM : 0u) |
                   (options_value(arguments, "who") ? (unsigned)MARK_GAVE_WHO : 0u);
    return read_ident(arguments, "room", mark->room, error) == 0 &&
                   read_ident(arguments, "who", mark->who, error) == 0
               ? 0
               : -1;
}

static void print_answer(const char *site, const struct message_mark *mark,
                         const struct message_said *said)
{
    long long number = (long long)said->number;
    switch (mark->what) {
    case MARK_NEW:
        printf("marked in %s as mark %lld: %s\n", site, number, mark->text);
        if (mark->running) {
            printf("It runs until `roomwake mark --end %lld`; meanwhile nothing it covers is an "
                   "alert.\n",
                   number);
        }
        break;
    case MARK_CORRECT:
        printf("mark %lld is corrected; the original stays in the night\n", number);
        break;
    case MARK_END:
        printf("mark %lld has ended\n", number);
        break;
    case MARK_WITHDRAW:
        printf("mark %lld is withdrawn; it stays in the night, but covers nothing\n", number);
        break;
    case MARK_WHAT_COUNT:
        break;
    }
    if (said->note[0]) {
        printf("Note: it %s.\n", said->note);
    }
}

static int run_command(const struct arguments *arguments)
{
    struct error error;
    struct running running;
    struct clock_skew skew;
    struct clock_source clock;
    struct message_said said;
    struct message_mark mark;
    memset(&mark, 0, sizeof mark);
    if (clock_from_environment(&skew, &clock, &error) != 0) {
        return options_fail("mark", &error);
    }
    bool found = running_find(options_value(arguments, "site-id"), &running, &error) == 0;
    struct error wrong_use;
    int64_t now_ns = clock.mono_ns(clock.context) + (found ? running.site_less_mono_ns : 0);
    if (!options_value(arguments, "list") && read_mark(arguments, now_ns, &mark, &wrong_use) != 0) {
        return options_fail("mark", &wrong_use);
    }
    if (found && options_value(arguments, "list")) {
        return list_marks(running.night, stdout, &error) == 0 ? EXIT_CODE_SUCCESS
                                                              : options_fail("mark", &error);
    }
    if (!found || tell_mark(running.broker, running.site, &mark, &said, &error) != 0) {
        return options_fail("mark", &error);
    }
    print_answer(running.site, &mark, &said);
    return EXIT_CODE_SUCCESS;
}

static const struct option_spec options[] = {
    {"text", "TEXT", false, "what was done"},
    {"room", "ID", false, "where; the whole site where not told"},
    {"who", "ID", false, "who did it"},
    {"at", "TIME", false, "when it began (23:10, 23:10:30 or RFC 3339); now where not told"},
    {"for", "SECONDS", false, "how long it covers (default 60)"},
    {"until", "TIME", false, "or until when"},
    {"running", NULL, false, "or until it is ended with --end"},
    {"end", "NUMBER", false, "a running mark ends, now or --at"},
    {"correct", "NUMBER", false, "what is given replaces what that mark said; the original stays"},
    {"withdraw", "NUMBER", false, "that mark was none"},
    {"list", NULL, false, "all marks of the running night, with their numbers"},
    {"site-id", "ID", false, "which night, where several are being recorded on this machine"},
    {0},
};

const struct command command_mark = {
    .name = "mark",
    .summary = "a mark into the running night, or a change of one",
    .options = options,
    .run = run_command,
};
