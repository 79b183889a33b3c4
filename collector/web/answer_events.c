/* What happened along the night beside its samples: gaps, marks, questions, clocks, disturbances.
 * Must never send more of a kind than the bound; what is left out is counted. Called by desk.c. */
#include "collector/web/answer.h"

#include <inttypes.h>
#include <stdlib.h>

#include "collector/model/mark_book.h"
#include "common/json.h"

/* A clock's uncertainty is told again when it moved by a tenth. */
#define CLOCK_STEP 10

struct events {
    const struct web_night *night;
    int64_t base_ns;
    int64_t from_ns;
    int64_t to_ns;
    struct text *out;
    size_t sent;
    size_t left_out;
    int64_t *clock_told_ns; /* one a node */
};

/* Begins an entry; false: it is outside of the window, or beyond the bound. */
static bool begin(struct events *events, int64_t start_ns, int64_t end_ns)
{
    if (start_ns >= events->to_ns || end_ns < events->from_ns) {
        return false;
    }
    if (events->sent == WEB_EVENTS_MAX) {
        events->left_out++;
        return false;
    }
    (void)text_append_format(events->out, "%s", events->sent > 0 ? "," : "");
    events->sent++;
    return true;
}

static const char *node_id(const struct events *events, uint32_t node)
{
    return node < events->night->site->node_count ? events->night->site->nodes[node].id : "";
}

static void append_times(struct events *events, int64_t start_ns, int64_t end_ns)
{
    (void)text_append_format(events->out, ",%" PRId64 ",%" PRId64 ",", start_ns - events->base_ns,
                             end_ns - events->base_ns);
}

static int put_gap(void *context, const struct gap *gap)
{
    struct events *events = context;
    if (begin(events, gap->start_ns, gap->end_ns)) {
        (void)text_append_format(events->out, "[\"%s\"", node_id(events, gap->node));
        append_times(events, gap->start_ns, gap->end_ns);
        (void)json_append_string(events->out, gap->reason);
        (void)text_append_format(events->out, "]");
    }
    return 0;
}

/* As it stands after its corrections. One that runs ends with the night; until then, null. */
static void put_mark(struct events *events, const struct mark *mark)
{
    bool runs = mark->end_ns == MARK_RUNNING_NS && events->night->info.end_ns == 0;
    int64_t end_ns = mark->end_ns == MARK_RUNNING_NS ? events->night->info.end_ns : mark->end_ns;
    if (mark->withdrawn || !begin(events, mark->start_ns, mark->end_ns)) {
        return;
    }
    (void)text_append_format(events->out, "[%" PRId64 ",%" PRId64 ",", mark_number(mark),
                             mark->start_ns - events->base_ns);
    if (runs) {
        (void)text_append_format(events->out, "null,");
    } else {
        (void)text_append_format(events->out, "%" PRId64 ",", end_ns - events->base_ns);
    }
    (void)json_append_string(events->out, mark->room);
    (void)text_append_format(events->out, ",");
    (void)json_append_string(events->out, mark->who);
    (void)text_append_format(events->out, ",");
    (void)json_append_string(events->out, mark->text);
    (void)text_append_format(events->out, "]");
}

struct marks {
    struct mark_book book;
    struct error *error;
};

static int take_mark(void *context, const struct mark *mark)
{
    struct marks *marks = context;
    return mark_book_take(&marks->book, mark, marks->error);
}

static int put_marks(struct events *events, struct error *error)
{
    struct marks marks = {.error = error};
    int result = night_each_mark(events->night->reader, take_mark, &marks, error);
    for (size_t i = 0; result == 0 && i < marks.book.count; i++) {
        put_mark(events, marks.book.marks[i]);
    }
    mark_book_free(&marks.book);
    return result;
}

/* A session's windows as they came; its plan and its seed are for `roomwake answers`. */
static int put_question(void *context, const struct question_step *step)
{
    struct events *events = context;
    const struct message_question *said = &step->said;
    bool window = said->what == QUESTION_ASKED || said->what == QUESTION_SILENT;
    if (window && begin(events, step->time_ns, step->time_ns + said->length_ns)) {
        (void)text_append_format(events->out, "[\"%s\"", message_question_what_text(said->what));
        append_times(events, step->time_ns, step->time_ns + said->length_ns);
        (void)text_append_format(events->out, "%" PRIu32 ",\"%s\",", said->nth, said->session);
        (void)json_append_string(events->out, said->text);
        (void)text_append_format(events->out, "]");
    }
    return 0;
}

/* What held when the window began is told too, since it still holds. */
static int put_clock(void *context, uint32_t node, int64_t time_ns, int64_t clock_sd_ns)
{
    struct events *events = context;
    if (node >= events->night->site->node_count) {
        return 0;
    }
    int64_t told_ns = events->clock_told_ns[node];
    int64_t moved_ns = clock_sd_ns > told_ns ? clock_sd_ns - told_ns : told_ns - clock_sd_ns;
    if (moved_ns > told_ns / CLOCK_STEP && begin(events, time_ns, INT64_MAX)) {
        events->clock_told_ns[node] = clock_sd_ns;
        (void)text_append_format(events->out, "[\"%s\",%" PRId64 ",%" PRId64 "]",
                                 node_id(events, node), time_ns - events->base_ns, clock_sd_ns);
    }
    return 0;
}

static int put_notice(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                      const char *text)
{
    struct events *events = context;
    if (begin(events, time_ns, time_ns)) {
        (void)text_append_format(events->out, "[\"%s\",%" PRId64 ",", node_id(events, node),
                                 time_ns - events->base_ns);
        (void)json_append_string(events->out, quantity);
        (void)text_append_format(events->out, ",");
        (void)json_append_string(events->out, text);
        (void)text_append_format(events->out, "]");
    }
    return 0;
}

static int put_disturbance(void *context, const struct disturbance *d)
{
    struct events *events = context;
    int64_t end_ns = d->end_ns != 0 ? d->end_ns : d->peak_ns;
    if (begin(events, d->onset_ns, end_ns)) {
        (void)text_append_format(events->out, "[\"%s\"", node_id(events, d->node));
        append_times(events, d->onset_ns, end_ns);
        (void)json_append_string(events->out, d->quantity_text);
        (void)text_append_format(events->out, ",\"%s\",%" PRId64 ",%.4g]",
                                 d->band == BAND_MAINS ? "mains" : "rest",
                                 disturbance_onset_sd_ns(d), d->peak_score);
    }
    return 0;
}

static void next_list(struct events *events, const char *name)
{
    (void)text_append_format(events->out, "],\"%s\":[", name);
    events->sent = 0;
}

static int put_all(struct events *events, struct error *error)
{
    struct night_reader *reader = events->night->reader;
    (void)text_append_format(events->out, "{\"gaps\":[");
    if (night_each_gap(reader, put_gap, events, error) != 0) {
        return -1;
    }
    next_list(events, "marks");
    if (put_marks(events, error) != 0) {
        return -1;
    }
    next_list(events, "questions");
    if (night_each_question(reader, put_question, events, error) != 0) {
        return -1;
    }
    next_list(events, "clock");
    if (night_each_clock(reader, put_clock, events, error) != 0) {
        return -1;
    }
    next_list(events, "notices");
    if (night_each_notice(reader, 0, put_notice, events, error) != 0) {
        return -1;
    }
    next_list(events, "disturbances");
    if (night_each_disturbance(reader, 0, put_disturbance, events, error) != 0) {
        return -1;
    }
    return text_append_format(events->out, "],\"left_out\":%zu}", events->left_out);
}

int web_answer_events(const struct web_night *night, const struct web_query *query,
                      struct text *out, struct error *error)
{
    int64_t base_ns = night->info.start_ns;
    struct events events = {
        .night = night,
        .base_ns = base_ns,
        .from_ns = query->from_ns == INT64_MIN ? INT64_MIN : base_ns + query->from_ns,
        .to_ns = query->to_ns == INT64_MAX ? INT64_MAX : base_ns + query->to_ns,
        .out = out,
        .clock_told_ns = calloc(night->site->node_count + 1, sizeof *events.clock_told_ns),
    };
    if (!events.clock_told_ns) {
        return error_set(error, ERROR_MEMORY, "page: out of memory");
    }
    int result = put_all(&events, error);
    free(events.clock_told_ns);
    return result;
}
