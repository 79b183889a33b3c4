/* Marks as they come: checked against those that stand, stored, told to the pipeline.
 * Must never change a row that is stored: a correction, an end or a withdrawal is a further row.
 * Called by intake.c and the session. */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "collector/ingest/intake.h"
#include "collector/ingest/intake_node.h"
#include "common/timefmt.h"

/* Somebody's own clock may be so far ahead of ours. */
#define AHEAD_NS (60 * NS_PER_S)
#define REMIND_NS (900 * NS_PER_S)
#define NAME_SIZE 160

static const char *room_words(const struct mark *mark)
{
    return mark->room[0] ? mark->room : "the whole site";
}

static void clock_words(int64_t time_ns, char text[TIMEFMT_SIZE])
{
    timefmt_local(time_ns, text, NULL);
    text[8] = '\0'; /* to the second */
}

/* "mark 5 (kitchen, since 23:10:04)" */
static void name_mark(const struct mark *mark, char text[NAME_SIZE])
{
    char since[TIMEFMT_SIZE];
    clock_words(mark->start_ns, since);
    (void)snprintf(text, NAME_SIZE, "mark %" PRId64 " (%s, %s %s)", mark_number(mark),
                   room_words(mark), mark->end_ns == MARK_RUNNING_NS ? "since" : "from", since);
}

static void set_end(const struct message_mark *message, struct mark *mark)
{
    mark->end_ns = message->running       ? MARK_RUNNING_NS
                   : message->end_ns != 0 ? message->end_ns
                                          : mark->start_ns + message->length_ns;
}

static void make_new(const struct message_mark *message, struct mark *mark)
{
    mark->start_ns = message->start_ns != 0 ? message->start_ns : mark->noted_ns;
    set_end(message, mark);
    (void)snprintf(mark->room, sizeof mark->room, "%s", message->room);
    (void)snprintf(mark->who, sizeof mark->who, "%s", message->who);
    (void)snprintf(mark->text, sizeof mark->text, "%s", message->text);
}

/* What is given replaces what was said; a mark that begins at another time keeps its length. */
static int correct(const struct message_mark *message, const struct mark *old, struct mark *mark,
                   struct error *error)
{
    if (message->given == 0) {
        return error_set(error, ERROR_USAGE,
                         "nothing is corrected: give what was wrong (start, length, room, who or "
                         "text), or withdraw the mark");
    }
    if (message->given & MARK_GAVE_START) {
        bool runs = old->end_ns == MARK_RUNNING_NS;
        mark->start_ns = message->start_ns;
        mark->end_ns = runs ? old->end_ns : message->start_ns + (old->end_ns - old->start_ns);
    }
    if (message->given & MARK_GAVE_LENGTH) {
        set_end(message, mark);
    }
    if (message->given & MARK_GAVE_ROOM) {
        (void)snprintf(mark->room, sizeof mark->room, "%s", message->room);
    }
    if (message->given & MARK_GAVE_WHO) {
        (void)snprintf(mark->who, sizeof mark->who, "%s", message->who);
    }
    if (message->given & MARK_GAVE_TEXT) {
        (void)snprintf(mark->text, sizeof mark->text, "%s", message->text);
    }
    return 0;
}

static int end_running(const struct message_mark *message, const struct mark *old,
                       struct mark *mark, struct error *error)
{
    if (old->end_ns != MARK_RUNNING_NS) {
        char ended[TIMEFMT_SIZE];
        clock_words(old->end_ns, ended);
        return error_set(error, ERROR_USAGE,
                         "mark %" PRId64 " ended at %s already; to change that, correct it "
                         "(roomwake mark --correct %" PRId64 " --for SECONDS)",
                         message->number, ended, message->number);
    }
    mark->end_ns = message->end_ns != 0 ? message->end_ns : mark->noted_ns;
    return 0;
}

static int change(const struct intake *intake, const struct message_mark *message,
                  struct mark *mark, struct error *error)
{
    const struct mark *old = mark_book_find(&intake->marks, message->number);
    if (!old) {
        return error_set(error, ERROR_NOT_FOUND,
                         "there is no mark %" PRId64
                         " in this night; `roomwake mark --list` has all",
                         message->number);
    }
    if (old->withdrawn) {
        return error_set(error, ERROR_USAGE,
                         "mark %" PRId64 " was withdrawn; make a new mark, with --at for its time",
                         message->number);
    }
    struct mark next = *old;
    next.id = mark->id;
    next.noted_ns = mark->noted_ns;
    next.corrects = message->number;
    *mark = next;
    if (message->what == MARK_END) {
        return end_running(message, old, mark, error);
    }
    mark->withdrawn = message->what == MARK_WITHDRAW;
    return mark->withdrawn ? 0 : correct(message, old, mark, error);
}

static int check_times(const struct intake *intake, const struct mark *mark, struct error *error)
{
    char text[TIMEFMT_SIZE];
    if (mark->start_ns < 0 || mark->start_ns > INT64_MAX / 2 ||
        (mark->end_ns > INT64_MAX / 2 && mark->end_ns != MARK_RUNNING_NS)) {
        return error_set(error, ERROR_RANGE, "time out of range");
    }
    if (mark->start_ns > mark->noted_ns + AHEAD_NS) {
        clock_words(mark->start_ns, text);
        return error_set(error, ERROR_RANGE,
                         "begins at %s, which is still to come: mark it when it happens", text);
    }
    if (mark->end_ns < mark->start_ns) {
        return error_set(error, ERROR_RANGE, "ends before it begins");
    }
    if (mark->end_ns < intake->settings.marks_from_ns) {
        clock_words(intake->settings.marks_from_ns, text);
        return error_set(error, ERROR_RANGE,
                         "was over before this night began at %s: nothing of it was recorded",
                         text);
    }
    return 0;
}

static bool overlap(const struct mark *a, const struct mark *b)
{
    return a->start_ns < b->end_ns && b->start_ns < a->end_ns;
}

static int refuse_beside(const struct mark *mark, const struct mark *other, struct error *error)
{
    char name[NAME_SIZE];
    name_mark(other, name);
    return error_set(error, ERROR_USAGE,
                     "%s%s%s overlaps it%s: end that first (roomwake mark --end %" PRId64
                     "), or correct its times (--correct %" PRId64 ")",
                     name, mark->who[0] ? " of " : "", mark->who,
                     other->end_ns == MARK_RUNNING_NS ? " and still runs" : "", mark_number(other),
                     mark_number(other));
}

/* Nobody is in two rooms at once, and what runs already need not run twice. */
static int check_beside(const struct intake *intake, const struct mark *mark,
                        char note[MESSAGE_TEXT_SIZE], struct error *error)
{
    for (size_t i = 0; i < intake->marks.count; i++) {
        const struct mark *other = intake->marks.marks[i];
        if (other->withdrawn || mark_number(other) == mark_number(mark) ||
            strcmp(other->who, mark->who) != 0 || !overlap(other, mark)) {
            continue;
        }
        bool both_run = other->end_ns == MARK_RUNNING_NS && mark->end_ns == MARK_RUNNING_NS;
        bool one_runs = other->end_ns == MARK_RUNNING_NS || mark->end_ns == MARK_RUNNING_NS;
        bool same_room = strcmp(other->room, mark->room) == 0;
        bool elsewhere = mark->who[0] && other->room[0] && mark->room[0] && !same_room;
        if ((both_run && same_room) || (one_runs && elsewhere)) {
            return refuse_beside(mark, other, error);
        }
        if (elsewhere) {
            char name[NAME_SIZE];
            name_mark(other, name);
            (void)snprintf(note, MESSAGE_TEXT_SIZE,
                           "overlaps %s of %s; both count. If %s left there earlier: roomwake mark "
                           "--correct %" PRId64 " --for SECONDS",
                           name, mark->who, mark->who, mark_number(other));
        }
    }
    return 0;
}

static int check(const struct intake *intake, const struct mark *mark, char note[MESSAGE_TEXT_SIZE],
                 struct error *error)
{
    if (mark->withdrawn) {
        return 0;
    }
    if (mark->text[0] == '\0') {
        return error_set(error, ERROR_USAGE, "has no text: say what was done");
    }
    if (mark->room[0] != '\0' && site_find_room(intake->settings.site, mark->room) == SIZE_MAX) {
        return error_set(error, ERROR_NOT_FOUND, "room \"%s\" is not in the site file", mark->room);
    }
    return check_times(intake, mark, error) ? -1 : check_beside(intake, mark, note, error);
}

static int keep(struct intake *intake, const struct mark *mark, struct error *error)
{
    if (mark_book_take(&intake->marks, mark, error) ||
        pipeline_mark(intake->settings.pipeline, mark, error)) {
        return -1;
    }
    intake->next_mark_id = mark->id + 1;
    return 0;
}

int intake_resume_mark(struct intake *intake, const struct mark *mark, struct error *error)
{
    return keep(intake, mark, error);
}

int intake_mark(struct intake *intake, const struct message_mark *message, struct mark *out,
                char note[MESSAGE_TEXT_SIZE], struct error *error)
{
    char own_note[MESSAGE_TEXT_SIZE] = "";
    struct mark mark = {.id = intake->next_mark_id, .noted_ns = intake_now(intake)};
    int status = 0;
    if (message->what == MARK_NEW) {
        make_new(message, &mark);
    } else {
        status = change(intake, message, &mark, error);
    }
    if (status || check(intake, &mark, own_note, error)) {
        return -1;
    }
    if (night_put_mark(intake->settings.writer, &mark, error)) {
        return -1;
    }
    if (out) {
        *out = mark;
    }
    if (note) {
        (void)snprintf(note, MESSAGE_TEXT_SIZE, "%s", own_note);
    }
    if (intake->settings.hooks.mark) {
        intake->settings.hooks.mark(intake->settings.hooks.context, &mark);
    }
    return keep(intake, &mark, error);
}

void intake_take_mark(struct intake *intake, const uint8_t *payload, size_t length)
{
    struct error error;
    struct message_mark message = {.ref = ""};
    struct mark mark;
    struct message_said said = {.number = 0};
    if (message_mark_read((const char *)payload, length, &message, &error) ||
        intake_mark(intake, &message, &mark, said.note, &error)) {
        intake->counts.malformed++;
        said_warn(&intake->said_malformed, intake_now(intake), "mark refused", error.text);
        (void)snprintf(said.error, sizeof said.error, "%s", error.text);
    } else {
        said.number = mark_number(&mark);
    }
    (void)snprintf(said.ref, sizeof said.ref, "%s", message.ref);
    if (intake->settings.hooks.said) {
        intake->settings.hooks.said(intake->settings.hooks.context, &said);
    }
}

void intake_remind_marks(struct intake *intake, int64_t now_ns)
{
    if (intake->reminded_ns == 0 || now_ns - intake->reminded_ns < REMIND_NS) {
        intake->reminded_ns = intake->reminded_ns == 0 ? now_ns : intake->reminded_ns;
        return;
    }
    intake->reminded_ns = now_ns;
    for (size_t i = 0; i < intake->marks.count && intake->settings.hooks.mark_runs; i++) {
        const struct mark *mark = intake->marks.marks[i];
        if (!mark->withdrawn && mark->end_ns == MARK_RUNNING_NS) {
            intake->settings.hooks.mark_runs(intake->settings.hooks.context, mark);
        }
    }
}
