/* A mark as a message: a new one, or a change of one.
 * Must never take a mark that names something no room or person can be called.
 * Called by the mark command and by the intake. */
#include "common/message.h"

#include <inttypes.h>
#include <math.h>
#include <string.h>

#include "common/clock.h"
#include "common/json.h"
#include "common/message_fields.h"
#include "common/timefmt.h"

#define MARK_LENGTH_MAX_S 86400.0

const char *message_mark_what_text(enum mark_what what)
{
    static const char *const texts[MARK_WHAT_COUNT] = {[MARK_NEW] = "mark",
                                                       [MARK_CORRECT] = "correct",
                                                       [MARK_END] = "end",
                                                       [MARK_WITHDRAW] = "withdraw"};
    return what < MARK_WHAT_COUNT ? texts[what] : "";
}

static void append_member(struct text *out, const char *field, const char *value)
{
    (void)text_append_format(out, ",\"%s\":", field);
    (void)json_append_string(out, value);
}

static void append_time(struct text *out, const char *field, int64_t time_ns)
{
    char text[TIMEFMT_SIZE];
    if (time_ns != 0) {
        timefmt_rfc3339(time_ns, text);
        append_member(out, field, text);
    }
}

static void append_length(struct text *out, const struct message_mark *mark, bool always)
{
    char seconds[TIMEFMT_SIZE];
    if (mark->running) {
        (void)text_append_format(out, ",\"running\":true");
    } else if (mark->end_ns != 0) {
        append_time(out, "end", mark->end_ns);
    } else if (always || (mark->given & MARK_GAVE_LENGTH)) {
        timefmt_seconds(mark->length_ns, seconds);
        (void)text_append_format(out, ",\"length_s\":%s", seconds);
    }
}

int message_mark_write(const struct message_mark *mark, struct text *out)
{
    bool new = mark->what == MARK_NEW;
    (void)text_append_format(out, "{\"version\":%d", MESSAGE_VERSION);
    if (!new) {
        append_member(out, "what", message_mark_what_text(mark->what));
        (void)text_append_format(out, ",\"mark\":%" PRId64, mark->number);
    }
    append_length(out, mark, new);
    append_time(out, "start", mark->start_ns);
    if (mark->room[0] != '\0' || (!new && (mark->given & MARK_GAVE_ROOM))) {
        append_member(out, "room", mark->room);
    }
    if (mark->who[0] != '\0' || (!new && (mark->given & MARK_GAVE_WHO))) {
        append_member(out, "who", mark->who);
    }
    if (new || (mark->given & MARK_GAVE_TEXT)) {
        append_member(out, "text", mark->text);
    }
    if (mark->ref[0] != '\0') {
        append_member(out, "ref", mark->ref);
    }
    (void)text_append_format(out, "}");
    return message_finish(out);
}

static bool has(const cJSON *root, const char *field)
{
    return cJSON_GetObjectItemCaseSensitive(root, field) != NULL;
}

static int read_ident_or_empty(const cJSON *root, const char *field, char out[IDENT_SIZE],
                               struct error *error)
{
    if (json_get_text_or(root, "mark", field, "", out, IDENT_SIZE, error) != 0) {
        return -1;
    }
    if (out[0] != '\0' && !ident_valid(out, strlen(out))) {
        return error_set(error, ERROR_FORMAT,
                         "mark.%s: \"%s\" is not made of 1 to 32 of a-z, 0-9 and -", field, out);
    }
    return 0;
}

static int read_time(const cJSON *root, const char *field, int64_t *time_ns, struct error *error)
{
    char text[TIMEFMT_SIZE];
    if (json_get_text_or(root, "mark", field, "", text, sizeof text, error) != 0) {
        return -1;
    }
    if (text[0] != '\0' && timefmt_parse_rfc3339(text, strlen(text), time_ns, error) != 0) {
        return error_wrap(error, "mark.%s", field);
    }
    return 0;
}

/* A length of people's doings, below a day: a double holds its nanoseconds exactly enough. */
static int read_times(const cJSON *root, struct message_mark *mark, struct error *error)
{
    double length_s = 0;
    if (json_get_number_or(root, "mark", "length_s", 0, MARK_LENGTH_MAX_S, 0, &length_s, error) !=
            0 ||
        json_get_bool_or(root, "mark", "running", false, &mark->running, error) != 0 ||
        read_time(root, "end", &mark->end_ns, error) != 0 ||
        read_time(root, "start", &mark->start_ns, error) != 0) {
        return -1;
    }
    mark->length_ns = llround(length_s * (double)NS_PER_S);
    if (has(root, "length_s") + has(root, "end") + mark->running > 1) {
        return error_set(error, ERROR_FORMAT, "mark: only one of length_s, end and running");
    }
    return 0;
}

static int read_what(const cJSON *root, struct message_mark *mark, struct error *error)
{
    char word[16];
    double number = 0;
    if (json_get_text_or(root, "mark", "what", "mark", word, sizeof word, error) != 0) {
        return -1;
    }
    while (mark->what < MARK_WHAT_COUNT && strcmp(word, message_mark_what_text(mark->what)) != 0) {
        mark->what++;
    }
    if (mark->what == MARK_WHAT_COUNT) {
        return error_set(error, ERROR_FORMAT,
                         "mark.what: \"%s\" is none of mark, correct, end and withdraw", word);
    }
    if (mark->what != MARK_NEW &&
        json_get_number(root, "mark", "mark", 1, MESSAGE_COUNT_MAX, &number, error) != 0) {
        return -1;
    }
    mark->number = (int64_t)number;
    return 0;
}

static unsigned given(const cJSON *root)
{
    bool length = has(root, "length_s") || has(root, "end") || has(root, "running");
    return (has(root, "start") ? MARK_GAVE_START : 0u) | (length ? MARK_GAVE_LENGTH : 0u) |
           (has(root, "room") ? MARK_GAVE_ROOM : 0u) | (has(root, "who") ? MARK_GAVE_WHO : 0u) |
           (has(root, "text") ? MARK_GAVE_TEXT : 0u);
}

static int read_mark(const cJSON *root, struct message_mark *mark, struct error *error)
{
    /* Scripts of the user may leave the version out. */
    if (has(root, "version") && message_read_version(root, "mark", error) != 0) {
        return -1;
    }
    if (read_what(root, mark, error) != 0 ||
        (mark->what == MARK_NEW || has(root, "text")
             ? json_get_text(root, "mark", "text", mark->text, sizeof mark->text, error)
             : 0) != 0 ||
        read_ident_or_empty(root, "room", mark->room, error) != 0 ||
        read_ident_or_empty(root, "who", mark->who, error) != 0 ||
        read_ident_or_empty(root, "ref", mark->ref, error) != 0) {
        return -1;
    }
    mark->given = given(root);
    return read_times(root, mark, error);
}

int message_mark_read(const char *json, size_t length, struct message_mark *mark,
                      struct error *error)
{
    static const char *const fields[] = {"version", "what", "mark", "start", "end", "length_s",
                                         "running", "room", "who",  "text",  "ref", NULL};
    cJSON *root = NULL;
    if (message_parse(json, length, "mark", fields, &root, error) != 0) {
        return -1;
    }
    struct message_mark read = {0};
    int failed = read_mark(root, &read, error);
    cJSON_Delete(root);
    if (failed == 0) {
        *mark = read;
    }
    return failed;
}
