/* roomwake ask: a session of questions with control windows, into the running night.
 * Must never hold more than options and one call. Called by main.c. */
#include <stdio.h>
#include <stdlib.h>

#include "collector/commands.h"
#include "collector/night/reader.h"
#include "collector/options.h"
#include "collector/record/ask.h"
#include "collector/record/baseline_summary.h"
#include "collector/record/running.h"
#include "common/small_file.h"

static void print_plan(const struct question_plan *plan)
{
    printf("\"%s\": %zu questions and as many windows in which nobody asks, in an order that nobody"
           " knows.\nIf %.0f of 100 questions are answered and chance gives %.0f of 100, this"
           " session finds it %.0f times in 100.\n",
           plan->title, plan->question_count, 100 * plan->expect_response,
           100 * plan->expect_by_chance, 100 * plan_power(plan));
    printf(
        "Whoever asks should sit as still in the windows without a question as in the others.\n");
}

/* Against the site of the night that is being recorded, before anything is begun. */
static int check_site(const struct running *running, const struct question_plan *plan,
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
    if (running_find(site_id, &running, error) != 0 ||
        check_site(&running, settings.plan, path, error) != 0 ||
        baseline_count_learning(running.night, &learning, error) != 0) {
        return -1;
    }
    if (learning > 0) {
        printf(
            "NOTE: %zu quantities are still learning what is usual, or are not heard: no response"
            " of theirs can\ncount yet (roomwake baseline tells).\n",
            learning);
    }
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
        print_plan(plan);
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
