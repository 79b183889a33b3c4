/* The two smallest messages: what is stored, and a mark.
 * Must never take a mark that names something no room or person can be called.
 * Called by both programs and by the mark command. */
#include "common/message.h"

#include <inttypes.h>
#include <math.h>
#include <string.h>

#include "common/clock.h"
#include "common/json.h"
#include "common/message_fields.h"
#include "common/timefmt.h"

#define MARK_LENGTH_MAX_S 86400.0

int message_stored_write(const struct message_stored *stored, struct text *out)
{
    message_append_head(out, stored->boot);
    (void)text_append_format(out, ",\"seq\":\"%" PRIu64 "\"}", stored->seq);
    return message_finish(out);
}

static int read_stored(const cJSON *root, struct message_stored *stored, struct error *error)
{
    int64_t seq = 0;
    if (message_read_version(root, "stored", error) != 0 ||
        message_read_boot(root, "stored", &stored->boot, error) != 0 ||
        json_get_int64_text(root, "stored", "seq", &seq, error) != 0) {
        return -1;
    }
    if (seq < 0) {
        return error_set(error, ERROR_RANGE, "stored.seq: below 0");
    }
    stored->seq = (uint64_t)seq;
    return 0;
}

int message_stored_read(const char *json, size_t length, struct message_stored *stored,
                        struct error *error)
{
    static const char *const fields[] = {"version", "boot", "seq", NULL};
    cJSON *root = NULL;
    if (message_parse(json, length, "stored", fields, &root, error) != 0) {
        return -1;
    }
    struct message_stored read = {0};
    int failed = read_stored(root, &read, error);
    cJSON_Delete(root);
    if (failed == 0) {
        *stored = read;
    }
    return failed;
}

static void append_member(struct text *out, const char *field, const char *value)
{
    (void)text_append_format(out, ",\"%s\":", field);
    (void)json_append_string(out, value);
}

int message_mark_write(const struct message_mark *mark, struct text *out)
{
    char seconds[TIMEFMT_SIZE];
    timefmt_seconds(mark->length_ns, seconds);
    (void)text_append_format(out, "{\"version\":%d,\"length_s\":%s", MESSAGE_VERSION, seconds);
    if (mark->start_ns != 0) {
        char start[TIMEFMT_SIZE];
        timefmt_rfc3339(mark->start_ns, start);
        append_member(out, "start", start);
    }
    if (mark->room[0] != '\0') {
        append_member(out, "room", mark->room);
    }
    if (mark->who[0] != '\0') {
        append_member(out, "who", mark->who);
    }
    append_member(out, "text", mark->text);
    (void)text_append_format(out, "}");
    return message_finish(out);
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

/* A length of people's doings, below a day: a double holds its nanoseconds exactly enough. */
static int read_mark_times(const cJSON *root, struct message_mark *mark, struct error *error)
{
    double length_s = 0;
    char start[TIMEFMT_SIZE];
    if (json_get_number_or(root, "mark", "length_s", 0, MARK_LENGTH_MAX_S, 0, &length_s, error) !=
            0 ||
        json_get_text_or(root, "mark", "start", "", start, sizeof start, error) != 0) {
        return -1;
    }
    mark->length_ns = llround(length_s * (double)NS_PER_S);
    if (start[0] != '\0' &&
        timefmt_parse_rfc3339(start, strlen(start), &mark->start_ns, error) != 0) {
        return error_wrap(error, "mark.start");
    }
    return 0;
}

static int read_mark(const cJSON *root, struct message_mark *mark, struct error *error)
{
    /* Scripts of the user may leave the version out. */
    if (cJSON_GetObjectItemCaseSensitive(root, "version") &&
        message_read_version(root, "mark", error) != 0) {
        return -1;
    }
    if (json_get_text(root, "mark", "text", mark->text, sizeof mark->text, error) != 0 ||
        read_ident_or_empty(root, "room", mark->room, error) != 0 ||
        read_ident_or_empty(root, "who", mark->who, error) != 0) {
        return -1;
    }
    return read_mark_times(root, mark, error);
}

int message_mark_read(const char *json, size_t length, struct message_mark *mark,
                      struct error *error)
{
    static const char *const fields[] = {"version", "start", "length_s", "room",
                                         "who",     "text",  NULL};
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
