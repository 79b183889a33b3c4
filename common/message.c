/* The smallest messages: what is stored, a quiet spell asked for, an answer to the team.
 * Must never take what it does not understand whole.
 * Called by both programs and by the team's commands. */
#include "common/message.h"

#include <inttypes.h>
#include <math.h>
#include <string.h>

#include "common/clock.h"
#include "common/json.h"
#include "common/message_fields.h"
#include "common/timefmt.h"

#define BASELINE_LENGTH_MAX_S 86400.0

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

static int read_ref(const cJSON *root, const char *name, char ref[IDENT_SIZE], struct error *error)
{
    if (json_get_text_or(root, name, "ref", "", ref, IDENT_SIZE, error) != 0) {
        return -1;
    }
    return ref[0] == '\0' || ident_valid(ref, strlen(ref))
               ? 0
               : error_set(error, ERROR_FORMAT, "%s.ref: not made of 1 to 32 of a-z, 0-9 and -",
                           name);
}

int message_baseline_write(const struct message_baseline *baseline, struct text *out)
{
    char seconds[TIMEFMT_SIZE];
    timefmt_seconds(baseline->length_ns, seconds);
    (void)text_append_format(out, "{\"version\":%d,\"what\":\"%s\",\"length_s\":%s,\"ref\":\"%s\"}",
                             MESSAGE_VERSION, baseline->end ? "end" : "begin", seconds,
                             baseline->ref);
    return message_finish(out);
}

static int read_baseline(const cJSON *root, struct message_baseline *baseline, struct error *error)
{
    char what[16];
    double length_s = 0;
    if (json_get_text(root, "baseline", "what", what, sizeof what, error) != 0 ||
        json_get_number_or(root, "baseline", "length_s", 0, BASELINE_LENGTH_MAX_S, 0, &length_s,
                           error) != 0 ||
        read_ref(root, "baseline", baseline->ref, error) != 0) {
        return -1;
    }
    baseline->end = strcmp(what, "end") == 0;
    baseline->length_ns = llround(length_s * (double)NS_PER_S);
    return baseline->end || strcmp(what, "begin") == 0
               ? 0
               : error_set(error, ERROR_FORMAT, "baseline.what: \"%s\", neither begin nor end",
                           what);
}

int message_baseline_read(const char *json, size_t length, struct message_baseline *baseline,
                          struct error *error)
{
    static const char *const fields[] = {"version", "what", "length_s", "ref", NULL};
    cJSON *root = NULL;
    if (message_parse(json, length, "baseline", fields, &root, error) != 0) {
        return -1;
    }
    struct message_baseline read = {0};
    int failed = read_baseline(root, &read, error);
    cJSON_Delete(root);
    if (failed == 0) {
        *baseline = read;
    }
    return failed;
}

int message_said_write(const struct message_said *said, struct text *out)
{
    (void)text_append_format(out, "{\"version\":%d,\"ref\":\"%s\",\"mark\":%" PRId64 ",\"error\":",
                             MESSAGE_VERSION, said->ref, said->number);
    (void)json_append_string(out, said->error);
    (void)text_append_format(out, ",\"note\":");
    (void)json_append_string(out, said->note);
    (void)text_append_format(out, "}");
    return message_finish(out);
}

static int read_said(const cJSON *root, struct message_said *said, struct error *error)
{
    double number = 0;
    if (message_read_version(root, "said", error) != 0 ||
        read_ref(root, "said", said->ref, error) != 0 ||
        json_get_number(root, "said", "mark", 0, MESSAGE_COUNT_MAX, &number, error) != 0 ||
        json_get_text(root, "said", "error", said->error, sizeof said->error, error) != 0) {
        return -1;
    }
    said->number = (int64_t)number;
    return json_get_text(root, "said", "note", said->note, sizeof said->note, error);
}

int message_said_read(const char *json, size_t length, struct message_said *said,
                      struct error *error)
{
    static const char *const fields[] = {"version", "ref", "mark", "error", "note", NULL};
    cJSON *root = NULL;
    if (message_parse(json, length, "said", fields, &root, error) != 0) {
        return -1;
    }
    struct message_said read = {0};
    int failed = read_said(root, &read, error);
    cJSON_Delete(root);
    if (failed == 0) {
        *said = read;
    }
    return failed;
}
