/* The base station's lines on the terminal.
 * Must never decide anything. Called by session.c's hooks. */
#include "collector/record/station.h"

#include <inttypes.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "common/log.h"
#include "common/timefmt.h"

#define LINE_SIZE 640
/* A clock is told again when its uncertainty has changed by this factor. */
#define RETELL_FACTOR 3.0
/* And so often in any case. */
#define RETELL_NS INT64_C(1800000000000)

struct node_view {
    bool heard;
    bool gone;
    bool silent;
    bool in_time;
    bool watching;
    int64_t told_uncertainty_ns;
    int64_t told_at_ns;
    char note[MESSAGE_TEXT_SIZE];
};

struct station {
    const struct site *site;
    struct site_clock *clock;
    bool broker_up;
    bool broker_told;
    bool disk_failed;
    unsigned unseen; /* lines that the screen did not take */
    struct node_view *nodes;
    struct {
        void (*heard)(void *context, int64_t time_ns, const char *head, const char *text);
        void *context;
    } listeners[STATION_LISTENERS];
};

int station_new(const struct site *site, struct site_clock *clock, struct station **out,
                struct error *error)
{
    struct station *station = calloc(1, sizeof *station);
    if (!station) {
        return error_set(error, ERROR_MEMORY, "station: out of memory");
    }
    station->site = site;
    station->clock = clock;
    station->nodes = calloc(site->node_count ? site->node_count : 1, sizeof *station->nodes);
    if (!station->nodes) {
        free(station);
        return error_set(error, ERROR_MEMORY, "station: out of memory");
    }
    *out = station;
    return 0;
}

void station_free(struct station *station)
{
    if (station) {
        free(station->nodes);
        free(station);
    }
}

void station_listen(struct station *station,
                    void (*heard)(void *context, int64_t time_ns, const char *head,
                                  const char *text),
                    void *context)
{
    for (size_t i = 0; i < STATION_LISTENERS; i++) {
        if (!station->listeners[i].heard) {
            station->listeners[i].heard = heard;
            station->listeners[i].context = context;
            return;
        }
    }
}

/* What a screen that stands still misses is in the night and on the page. */
static void print_line(struct station *station, const char *now, const char *head, const char *text)
{
    if (log_would_wait(STDOUT_FILENO)) {
        station->unseen++;
        return;
    }
    if (station->unseen > 0) {
        printf("%s  %-9s %u lines before this are not shown: the screen stood still\n", now,
               "screen", station->unseen);
        station->unseen = 0;
    }
    printf("%s  %-9s %s\n", now, head, text);
    (void)fflush(stdout);
}

void station_say(struct station *station, const char *head, const char *text)
{
    char now[TIMEFMT_SIZE];
    int64_t now_ns = site_clock_now_ns(station->clock);
    timefmt_local(now_ns, now, NULL);
    now[8] = '\0'; /* to the second */
    print_line(station, now, head, text);
    for (size_t i = 0; i < STATION_LISTENERS && station->listeners[i].heard; i++) {
        station->listeners[i].heard(station->listeners[i].context, now_ns, head, text);
    }
}

static void say_node(struct station *station, uint32_t node, const char *head, const char *text)
{
    char line[LINE_SIZE + 128];
    const struct site_node *which = &station->site->nodes[node];
    (void)snprintf(line, sizeof line, "%s (%s%s): %s", which->id,
                   station->site->rooms[which->room].id, which->control ? ", control" : "", text);
    station_say(station, head, line);
}

void station_hello(struct station *station, uint32_t node, const struct message_hello *hello)
{
    struct node_view *view = &station->nodes[node];
    char text[LINE_SIZE];
    size_t used =
        (size_t)snprintf(text, sizeof text, "%s, channels", view->heard ? "here again" : "here");
    for (size_t i = 0; i < hello->channel_count && used < sizeof text; i++) {
        used += (size_t)snprintf(text + used, sizeof text - used, "%s %s", i ? "," : "",
                                 hello->channels[i].name);
    }
    view->heard = true;
    view->gone = false;
    say_node(station, node, "node", text);
}

static void say_clock(struct station *station, uint32_t node, const struct message_state *state,
                      int64_t uncertainty_ns)
{
    char text[LINE_SIZE];
    char error_text[TIMEFMT_SIZE];
    char trip[TIMEFMT_SIZE] = "not known";
    timefmt_duration(uncertainty_ns, error_text);
    if (state->round_trip_ns >= 0) {
        timefmt_duration(state->round_trip_ns, trip);
    }
    size_t used = (size_t)snprintf(
        text, sizeof text, "%s, +- %s (round trip %s",
        uncertainty_ns <= CLOCK_FIT_IN_TIME_NS ? "in time" : "NOT in time yet", error_text, trip);
    if (state->fit.rate_ppt != 0) {
        used += (size_t)snprintf(text + used, sizeof text - used, ", crystal %+.1f ppm",
                                 -(double)state->fit.rate_ppt / 1e6);
    }
    if (state->exchange_age_ns >= 0) {
        timefmt_duration(state->exchange_age_ns, trip);
        used += (size_t)snprintf(text + used, sizeof text - used, ", last exchange %s ago", trip);
    }
    (void)snprintf(text + used, sizeof text - used, ", offset %.3f s)",
                   (double)state->fit.offset_ns / 1e9);
    say_node(station, node, "clock", text);
}

void station_state(struct station *station, uint32_t node, const struct message_state *state)
{
    struct node_view *view = &station->nodes[node];
    if (state->gone) {
        if (!view->gone) {
            say_node(station, node, "node", "gone (stopped, or its link is lost)");
        }
        view->gone = true;
        return;
    }
    view->gone = false;
    if (strcmp(view->note, state->note) != 0) {
        (void)snprintf(view->note, sizeof view->note, "%s", state->note);
        say_node(station, node, "node", state->note[0] ? state->note : "no fault any more");
    }
    if (!state->fit.known) {
        return;
    }
    int64_t uncertainty_ns = state->fit.uncertainty_ns;
    bool in_time = uncertainty_ns <= CLOCK_FIT_IN_TIME_NS;
    double factor = view->told_uncertainty_ns > 0
                        ? (double)uncertainty_ns / (double)view->told_uncertainty_ns
                        : INFINITY;
    int64_t now_ns = site_clock_now_ns(station->clock);
    if (in_time != view->in_time || factor > RETELL_FACTOR || factor < 1 / RETELL_FACTOR ||
        now_ns - view->told_at_ns > RETELL_NS) {
        view->told_at_ns = now_ns;
        say_clock(station, node, state, uncertainty_ns);
        view->in_time = in_time;
        view->told_uncertainty_ns = uncertainty_ns;
    }
}

void station_noticed(struct station *station, uint32_t node)
{
    struct node_view *view = &station->nodes[node];
    if (!view->watching) {
        say_node(station, node, "watching", "its quiet spell is over, what is unusual counts now");
    }
    view->watching = true;
}

void station_waited_for(struct station *station, uint32_t node, bool waited_for)
{
    struct node_view *view = &station->nodes[node];
    if (!waited_for && !view->silent && view->heard) {
        say_node(station, node, "SILENT",
                 "nothing heard; the others go on without it, what it still sends is kept");
    } else if (waited_for && view->silent) {
        say_node(station, node, "node", "heard again");
    }
    view->silent = !waited_for && view->heard;
}

void station_gap(struct station *station, const struct gap *gap)
{
    char length[TIMEFMT_SIZE];
    char text[LINE_SIZE];
    timefmt_duration(gap->end_ns - gap->start_ns, length);
    (void)snprintf(text, sizeof text, "%s without samples: %s", length, gap->reason);
    say_node(station, gap->node, "gap", text);
}

/* Text from people on a terminal: no control character of theirs. */
static void keep_printable(char *text)
{
    for (char *c = text; *c; c++) {
        if ((unsigned char)*c < ' ' || *c == 0x7f) {
            *c = ' ';
        }
    }
}

static void say_mark(struct station *station, const struct mark *mark, const char *what)
{
    char length[TIMEFMT_SIZE] = "until it is ended";
    char when[TIMEFMT_SIZE];
    char text[MARK_TEXT_SIZE + 2 * LINE_SIZE];
    if (mark->end_ns != MARK_RUNNING_NS) {
        char seconds[TIMEFMT_SIZE];
        timefmt_duration(mark->end_ns - mark->start_ns, seconds);
        (void)snprintf(length, sizeof length, "for %.30s", seconds);
    }
    timefmt_local(mark->start_ns, when, NULL);
    when[8] = '\0';
    (void)snprintf(text, sizeof text, "\"%s\" (%s%s%s, from %s, %s; mark %" PRId64 "%s)",
                   mark->text, mark->room[0] ? mark->room : "whole site", mark->who[0] ? ", " : "",
                   mark->who, when, length, mark_number(mark), what);
    keep_printable(text);
    station_say(station, "mark", text);
}

void station_mark(struct station *station, const struct mark *mark)
{
    say_mark(station, mark,
             mark->withdrawn       ? " withdrawn"
             : mark->corrects != 0 ? ", corrected"
                                   : "");
}

void station_mark_runs(struct station *station, const struct mark *mark)
{
    say_mark(station, mark, " STILL RUNS: nothing it covers is an alert");
}

void station_quiet(struct station *station, const struct quiet_order *order)
{
    char text[LINE_SIZE] = "ended by hand: what has been learnt counts";
    if (!order->end && order->length_ns > 0) {
        char length[TIMEFMT_SIZE];
        timefmt_duration(order->length_ns, length);
        (void)snprintf(text, sizeof text,
                       "a quiet spell begins, for %s: all nodes learn anew, keep still", length);
    } else if (!order->end) {
        (void)snprintf(text, sizeof text,
                       "a quiet spell begins, until `roomwake baseline --end`: all nodes learn "
                       "anew, keep still");
    }
    for (size_t i = 0; !order->end && i < station->site->node_count; i++) {
        station->nodes[i].watching = false;
    }
    station_say(station, "baseline", text);
}

void station_question(struct station *station, const struct question_step *step)
{
    static const char *const words[QUESTION_WHAT_COUNT] = {
        [QUESTION_PLAN] = "a session begins, its plan is stored",
        [QUESTION_ASKED] = "asked",
        [QUESTION_SILENT] = "a window in which nobody asks",
        [QUESTION_END] = "the session is over",
        [QUESTION_BROKEN] = "the session was broken off"};
    const struct message_question *said = &step->said;
    bool tell = said->what == QUESTION_ASKED || said->what == QUESTION_BROKEN;
    char text[LINE_SIZE];
    (void)snprintf(text, sizeof text, "%s: %s%s%.300s", said->session, words[said->what],
                   tell ? ": " : "", tell ? said->text : "");
    keep_printable(text);
    station_say(station, "question", text);
}

void station_disk(struct station *station, const struct error *failure)
{
    if (failure && !station->disk_failed) {
        char text[sizeof failure->text + 64];
        (void)snprintf(text, sizeof text, "the disk refuses: %s; the nodes keep their samples",
                       failure->text);
        station_say(station, "NOT RECORDING", text);
    } else if (!failure && station->disk_failed) {
        station_say(station, "disk", "recording again; nothing was lost");
    }
    station->disk_failed = failure != NULL;
}

void station_broker(struct station *station, bool up, const char *why)
{
    char text[LINE_SIZE];
    if (up && (!station->broker_up || !station->broker_told)) {
        station_say(station, "broker", station->broker_told ? "there again" : "there");
    } else if (!up && (station->broker_up || !station->broker_told)) {
        (void)snprintf(text, sizeof text,
                       "no broker (%s); trying again, the nodes keep their "
                       "samples",
                       why);
        station_say(station, "NOT RECORDING", text);
    }
    station->broker_up = up;
    station->broker_told = true;
}

void station_held_up(struct station *station, int64_t busy_ns, int64_t own_ns)
{
    char text[LINE_SIZE];
    char busy[TIMEFMT_SIZE];
    char own[TIMEFMT_SIZE];
    timefmt_duration(busy_ns, busy);
    timefmt_duration(own_ns, own);
    (void)snprintf(text, sizeof text,
                   "for %s this machine let nothing else be attended to (%s of it was our own "
                   "work); alerts came later by that, nothing is lost; what else runs on it?",
                   busy, own);
    station_say(station, "SLOW", text);
}

void station_pace(struct station *station, const struct loop_lag *lag)
{
    char text[LINE_SIZE];
    char most[TIMEFMT_SIZE];
    char longest[TIMEFMT_SIZE];
    char own[TIMEFMT_SIZE];
    timefmt_duration(loop_lag_most_ns(lag, 0.999), most);
    timefmt_duration(lag->longest_ns, longest);
    timefmt_duration(lag->longest_own_ns, own);
    (void)snprintf(text, sizeof text,
                   "999 of 1,000 moments waited %s at the most to be attended to; the longest %s "
                   "(%s of it our own work)",
                   most, longest, own);
    station_say(station, "pace", text);
}
