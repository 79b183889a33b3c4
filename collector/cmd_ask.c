/* roomwake ask: a session of questions with control windows, into the running night.
 * Must never hold more than options and one call. Called by main.c. */
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "collector/commands.h"
#include "collector/night/reader.h"
#include "collector/options.h"
#include "collector/record/ask.h"
#include "collector/record/baseline_summary.h"
#include "collector/record/running.h"
#include "common/small_file.h"
#include "common/text.h"

#define DISK_STEPS 8
#define DISK_STEP_NS 250000000L

static int print_plan(const struct question_plan *plan, struct error *error)
{
    struct text words = {0};
    plan_say(plan, &words);
    int result = words.failed ? error_set(error, ERROR_MEMORY, "ask: out of memory") : 0;
    if (result == 0) {
        printf("%s", words.bytes);
    }
    text_free(&words);
    return result;
}

/* A session that has just told its end takes a moment to the disk. */
static int refuse_overlap(struct night_reader *reader, const struct running *running,
                          struct error *error)
{
    const struct timespec step = {0, DISK_STEP_NS};
    int result = ask_refuse_overlap(reader, running_now_ns(running), error);
    for (int i = 0; i < DISK_STEPS && result != 0 && error->code == ERROR_USAGE; i++) {
        (void)nanosleep(&step, NULL);
        result = ask_refuse_overlap(reader, running_now_ns(running), error);
    }
    return result;
}

/* Against the night that is being recorded, before anything is begun. */
static int check_night(const struct running *running, const struct question_plan *plan,
                       const char *path, struct error *error)
{
    struct night_reader *reader = NULL;
    struct site *site = NULL;
    if (night_reader_open(running->night, &reader, error) != 0) {
        return -1;
    }
    int result = night_read_site(reader, 0, &site, error);
    if (result == 0 && plan_check_site(plan, site, error) != 0) {
        result = error_wrap(error, "%s", path);
    }
    if (result == 0) {
        result = refuse_overlap(reader, running, error);
    }
    site_free(site);
    night_reader_close(reader);
    return result;
}

static int hold(const struct ask_settings *asked, const char *site_id, const char *path,
                struct error *error)
{
    struct running running;
    struct ask_settings settings = *asked;
    size_t learning = 0;
    struct text words = {0};
    if (running_find(site_id, &running, error) != 0 ||
        check_night(&running, settings.plan, path, error) != 0 ||
        baseline_count_learning(running.night, &learning, error) != 0) {
        return -1;
    }
    ask_say_learning(learning, &words);
    printf("%s", words.bytes ? words.bytes : "");
    text_free(&words);
    settings.broker_url = running.broker;
    settings.site = running.site;
    return ask_run(&settings, error);
}

static int run_command(const struct arguments *arguments)
{
    struct error error;
    char *text = NULL;
    size_t length = 0;
    struct question_plan *plan = NULL;
    const char *path = options_value(arguments, "plan");
    int result = small_file_read(path, PLAN_TEXT_MAX, &text, &length, &error);
    if (result == 0) {
        result = plan_parse(text, length, path, &plan, &error);
    }
    if (result == 0) {
        result = print_plan(plan, &error);
    }
    if (result == 0 && !options_value(arguments, "check")) {
        const struct ask_settings settings = {
            .plan = plan, .plan_text = text, .plan_length = length};
        result = hold(&settings, options_value(arguments, "site-id"), path, &error);
    }
    free(plan);
    free(text);
    return result == 0 ? EXIT_CODE_SUCCESS : options_fail("ask", &error);
}

static const struct option_spec options[] = {
    {"plan", "FILE", true, "what is asked, what counts as a response (README, Questions)"},
    {"check", NULL, false, "only look at the plan and tell what it can find"},
    {"site-id", "ID", false, "which night, where several are being recorded on this machine"},
    {0},
};

const struct command command_ask = {
    .name = "ask",
    .summary = "a session of questions, with windows in which nobody asks",
    .options = options,
    .run = run_command,
};
