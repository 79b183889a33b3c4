/* The quiet spell as the page follows it: how long still, whether it goes on longer, what it
 * taught. Must never call it over while something still learns that could. Called by acts.c. */
#include <stdio.h>
#include <stdlib.h>

#include "collector/record/acts_inside.h"
#include "collector/record/baseline_summary.h"
#include "common/clock.h"

/* So late the last samples of a spell may come: nodes are waited for (intake.h). */
#define LATE_NS (12 * NS_PER_S)

int acts_quiet(struct acts *acts, const struct web_act *asked, struct text *said,
               struct error *error)
{
    const struct message_baseline order = {.end = asked->what == WEB_ACT_END,
                                           .length_ns = (int64_t)(asked->for_s * 1e9)};
    if (asked->what == WEB_ACT_CHECK) {
        return error_set(error, ERROR_USAGE, "quiet: it is begun or ended");
    }
    if ((!order.end && acts_refuse_session(acts, error) != 0) ||
        acts->settings.quiet(acts->settings.context, &order, error) != 0) {
        return -1;
    }
    (void)text_append_format(said, "%s", baseline_say(&order));
    return 0;
}

void acts_begin_night(struct acts *acts, int64_t begun_ns)
{
    if (acts) {
        acts->quiet.state = ACT_RUNNING;
        acts->quiet.first = true;
        acts->quiet.from_ns = begun_ns;
        acts->quiet.length_ns = (int64_t)(acts->settings.site->baseline_s * 1e9);
    }
}

void acts_take_quiet(struct acts *acts, const struct quiet_order *order)
{
    if (!acts) {
        return;
    }
    struct act_quiet *quiet = &acts->quiet;
    if (order->end) {
        quiet->ended_ns = order->from_ns;
        return;
    }
    quiet->state = ACT_RUNNING;
    quiet->first = false;
    quiet->from_ns = order->from_ns;
    quiet->length_ns = order->length_ns;
    quiet->ended_ns = 0;
    quiet->longer = false;
    quiet->summary_due = false;
    text_clear(&quiet->summary);
}

/* When it is over at the latest, whatever was disturbed; INT64_MAX: nobody knows. */
static int64_t latest_ns(const struct act_quiet *quiet)
{
    if (quiet->ended_ns != 0) {
        return quiet->ended_ns + LATE_NS;
    }
    return quiet->length_ns == 0
               ? INT64_MAX
               : quiet->from_ns + (int64_t)(QUIET_LONGEST * (double)quiet->length_ns) + LATE_NS;
}

void acts_quiet_tick(struct acts *acts)
{
    struct act_quiet *quiet = &acts->quiet;
    int64_t now_ns = acts_now_ns(acts);
    int64_t end_ns = quiet->ended_ns != 0    ? quiet->ended_ns
                     : quiet->length_ns == 0 ? INT64_MAX
                                             : quiet->from_ns + quiet->length_ns;
    if (quiet->state != ACT_RUNNING || now_ns < end_ns) {
        return;
    }
    size_t learning = acts->settings.learning(acts->settings.context);
    quiet->longer = quiet->ended_ns == 0 && learning > 0 && now_ns > end_ns + LATE_NS;
    if (now_ns >= latest_ns(quiet) || (learning == 0 && now_ns > end_ns + NS_PER_S)) {
        quiet->state = ACT_OVER;
        quiet->summary_due = true;
    }
}

/* On the thread. */
void acts_quiet_look(struct acts *acts)
{
    struct act_look *look = &acts->look;
    struct error error = {.code = ERROR_NONE};
    char *bytes = NULL;
    size_t length = 0;
    FILE *out = look->summary ? open_memstream(&bytes, &length) : NULL;
    if (!out) {
        return;
    }
    bool good = baseline_summary(acts->settings.night_path, out, &error) == 0;
    if (fclose(out) == 0 && good) {
        (void)text_append(&look->summary_text, bytes, length);
    } else {
        (void)text_append_format(&look->summary_text, "What it taught can't be read: %s",
                                 error.text);
    }
    free(bytes);
}

void acts_quiet_back(struct acts *acts)
{
    struct act_look *look = &acts->look;
    if (look->summary && acts->quiet.state == ACT_OVER) {
        text_free(&acts->quiet.summary);
        acts->quiet.summary = look->summary_text;
        look->summary_text = (struct text){0};
        acts->quiet.summary_due = false;
    }
    text_free(&look->summary_text);
}
