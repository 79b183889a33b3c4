/* How the acts stand, as JSON for the page: one object an act, null where it was not begun tonight.
 * Must never hold what comes in a question session. Called by acts.c. */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "collector/record/acts_inside.h"
#include "common/json.h"

static const char *const states[] = {[ACT_NONE] = "none",
                                     [ACT_RUNNING] = "running",
                                     [ACT_OVER] = "over",
                                     [ACT_LEFT] = "left",
                                     [ACT_FAILED] = "failed"};

/* {"state":"running","stage":"...","say":"...","until":NS */
static void begin(const struct acts *acts, enum act_state state, const char *stage, const char *say,
                  int64_t until_ns, struct text *out)
{
    (void)text_append_format(out, "{\"state\":\"%s\",\"stage\":\"%s\",\"say\":", states[state],
                             stage);
    (void)json_append_string(out, say);
    if (until_ns != 0 && state == ACT_RUNNING) {
        (void)text_append_format(out, ",\"until\":%" PRId64,
                                 until_ns - web_live_base_ns(acts->settings.live));
    }
}

static void add_text(const char *field, const char *text, struct text *out)
{
    (void)text_append_format(out, ",\"%s\":", field);
    (void)json_append_string(out, text);
}

static void add_node(const struct acts *acts, size_t node, struct text *out)
{
    (void)text_append_format(out, "%s{\"id\":", node ? "," : "");
    (void)json_append_string(out, acts->settings.site->nodes[node].id);
}

static void add_report(const struct preflight_report *report, struct text *out)
{
    (void)text_append_format(out, ",\"go\":%s", report->go ? "true" : "false");
    add_text("text", report->well, out);
    (void)text_append_format(out, ",\"lines\":[");
    for (size_t i = 0; i < report->line_count; i++) {
        const struct preflight_line *line = &report->lines[i];
        char text[PREFLIGHT_LINE_SIZE + 32];
        (void)snprintf(text, sizeof text, "%s: %s",
                       line->stops ? preflight_fault_text(line->fault) : "note", line->text);
        (void)text_append_format(out, "%s", i ? "," : "");
        (void)json_append_string(out, text);
    }
    (void)text_append_format(out, "]");
}

static void write_preflight(const struct acts *acts, struct text *out)
{
    const struct act_preflight *act = &acts->preflight;
    const struct preflight_watch *watch = act->watch;
    struct text say = {0};
    bool over = act->state == ACT_OVER;
    if (act->state == ACT_NONE) {
        (void)text_append_format(out, "null");
        return;
    }
    preflight_watch_say(watch, &say);
    begin(acts, act->state, "", act->state == ACT_FAILED ? act->error.text : say.bytes,
          preflight_watch_until_ns(watch), out);
    text_free(&say);
    if (over) {
        (void)text_append_format(out, ",\"go\":%s,\"base\":{\"go\":%s",
                                 preflight_watch_is_go(watch) ? "true" : "false",
                                 preflight_watch_base(watch)->go ? "true" : "false");
        add_text("text", preflight_watch_base(watch)->text, out);
        (void)text_append_format(out, "}");
    }
    (void)text_append_format(out, ",\"nodes\":[");
    for (size_t node = 0; node < acts->settings.site->node_count; node++) {
        add_node(acts, node, out);
        (void)text_append_format(out, ",\"heard\":%s",
                                 preflight_watch_heard(watch, node) ? "true" : "false");
        if (over) {
            add_report(preflight_watch_report(watch, node), out);
        }
        (void)text_append_format(out, "}");
    }
    (void)text_append_format(out, "]}");
}

static void write_walk_nodes(const struct acts *acts, struct text *out)
{
    const struct walk_watch *watch = acts->walk.watch;
    (void)text_append_format(out, ",\"nodes\":[");
    for (uint32_t node = 0; node < acts->settings.site->node_count; node++) {
        const struct walk_node *seen = walk_watch_node(watch, node);
        add_node(acts, node, out);
        (void)text_append_format(out, ",\"expected\":%s,\"learnt\":%s",
                                 seen->expected ? "true" : "false",
                                 walk_watch_learnt(watch, node) ? "true" : "false");
        add_text("saw", seen->saw, out);
        (void)text_append_format(out, "}");
    }
    (void)text_append_format(out, "]}");
}

static void write_walk(const struct acts *acts, struct text *out)
{
    static const char *const stages[] = {
        [WALK_QUIET] = "quiet", [WALK_WALKING] = "walking", [WALK_OVER] = "over"};
    const struct act_walk *act = &acts->walk;
    struct text say = {0};
    struct text report = {0};
    if (act->state == ACT_NONE) {
        (void)text_append_format(out, "null");
        return;
    }
    walk_watch_say(act->watch, &say);
    walk_watch_report(act->watch, &report);
    begin(acts, act->state, stages[walk_watch_stage(act->watch)],
          act->state == ACT_FAILED ? act->error.text : say.bytes, walk_watch_until_ns(act->watch),
          out);
    (void)text_append_format(out, ",\"good\":%s,\"rooms\":[",
                             walk_watch_is_good(act->watch) ? "true" : "false");
    for (size_t i = 0; i < act->wishes.room_count; i++) {
        (void)text_append_format(out, "%s", i ? "," : "");
        (void)json_append_string(out, acts->settings.site->rooms[act->wishes.rooms[i]].id);
    }
    (void)text_append_format(out, "]");
    add_text("report", report.bytes ? report.bytes : "", out);
    write_walk_nodes(acts, out);
    text_free(&say);
    text_free(&report);
}

static void write_quiet(const struct acts *acts, struct text *out)
{
    const struct act_quiet *act = &acts->quiet;
    bool open = act->length_ns == 0 && act->ended_ns == 0;
    if (act->state == ACT_NONE) {
        (void)text_append_format(out, "null");
        return;
    }
    const char *say =
        act->state == ACT_OVER ? "The quiet spell is over: what has been learnt counts."
        : act->ended_ns != 0   ? "The quiet spell was ended: what came until then is being learnt."
        : act->longer ? "It goes on longer: it was disturbed, or a node came later. Keep still."
        : open        ? "The nodes learn what is usual, until you end it. Keep still."
                      : "The nodes learn what is usual. Keep still; it goes on longer where it is "
                        "disturbed.";
    begin(acts, act->state, act->longer ? "longer" : "", say,
          open || act->longer || act->ended_ns != 0 ? 0 : act->from_ns + act->length_ns, out);
    (void)text_append_format(
        out, ",\"first\":%s,\"from\":%" PRId64 ",\"longer\":%s", act->first ? "true" : "false",
        act->from_ns - web_live_base_ns(acts->settings.live), act->longer ? "true" : "false");
    add_text("report", act->summary.bytes ? act->summary.bytes : "", out);
    (void)text_append_format(out, "}");
}

/* What the team is to do or hear now. */
static void say_ask(const struct act_ask *act, bool own, char *say, size_t size)
{
    if (!own && act->open_ns != 0) {
        (void)snprintf(say, size, "Session %s is held from the base station's terminal, window %u.",
                       act->open_id, (unsigned)act->open_window);
    } else if (act->state == ACT_LEFT) {
        (void)snprintf(say, size, "Broken off: %s. It counts as a session that was tried.",
                       act->why);
    } else if (act->state == ACT_OVER) {
        (void)snprintf(say, size, "Over: all windows were held.");
    } else if (act->step.stage == HOLDING_REST) {
        (void)snprintf(say, size, "Rest: nothing counts until the next moment.");
    } else {
        (void)snprintf(say, size, "%s", act->said);
    }
}

static void write_ask(const struct acts *acts, struct text *out)
{
    static const char *const stages[] = {[HOLDING_REST] = "rest",
                                         [HOLDING_SPEAK] = "speak",
                                         [HOLDING_LISTEN] = "listen",
                                         [HOLDING_OVER] = "over"};
    const struct act_ask *act = &acts->ask;
    char say[sizeof act->said + 64];
    bool own = act->open_ns == 0 ||
               (act->holding && strcmp(holding_session(act->holding), act->open_id) == 0);
    if (act->state == ACT_NONE && act->open_ns == 0 && !act->answers.bytes &&
        act->answers_ns == 0) {
        (void)text_append_format(out, "null");
        return;
    }
    say_ask(act, own, say, sizeof say);
    begin(acts, own ? act->state : ACT_RUNNING, own ? stages[act->step.stage] : "elsewhere", say,
          own ? act->until_ns : 0, out);
    add_text("session", act->open_id, out);
    (void)text_append_format(out, ",\"own\":%s,\"counting\":%s", own ? "true" : "false",
                             act->answers_ns != 0 ? "true" : "false");
    if (own && act->holding) {
        add_text("title", act->plan->title, out);
        (void)text_append_format(out, ",\"nth\":%zu,\"count\":%zu", holding_nth(act->holding),
                                 holding_count(act->holding));
    }
    add_text("report", act->answers.bytes ? act->answers.bytes : "", out);
    (void)text_append_format(out, "}");
}

void acts_write(const struct acts *acts, struct text *out)
{
    (void)text_append_format(out, "{\"preflight\":");
    write_preflight(acts, out);
    (void)text_append_format(out, ",\"walk\":");
    write_walk(acts, out);
    (void)text_append_format(out, ",\"quiet\":");
    write_quiet(acts, out);
    (void)text_append_format(out, ",\"ask\":");
    write_ask(acts, out);
    (void)text_append_format(out, "}");
}
