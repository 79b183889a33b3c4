/* Lists that grow with the findings, and their way through slides_run.
 * Must never tell a chance for a coincidence that the slides group otherwise. Called by correlator.
 */
#include "collector/correlate/slides_book.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/correlate/poisson.h"

#define HOUR_NS INT64_C(3600000000000)
#define HOURS_LEAST 3
#define HOURS_MOST 192
/* Up to this part of a night may be left out of it for its hours to be compared. */
#define WHOLE_PART 50

struct noted {
    int64_t id;
    int64_t first_id; /* its earliest disturbance */
    size_t nodes;
    enum coincidence_kind kind;
};

struct slides_book {
    size_t nodes;
    int64_t *live_from_ns;
    struct slides_onset *onsets;
    size_t onset_count;
    size_t onset_size;
    struct noted *noted;
    size_t noted_count;
    size_t noted_size;
};

int slides_book_new(size_t nodes, struct slides_book **book, struct error *error)
{
    struct slides_book *made = calloc(1, sizeof *made);
    if (made) {
        made->nodes = nodes;
        made->live_from_ns = malloc((nodes + 1) * sizeof *made->live_from_ns);
    }
    if (!made || !made->live_from_ns) {
        slides_book_free(made);
        return error_set(error, ERROR_MEMORY, "slides: out of memory");
    }
    for (size_t node = 0; node < nodes; node++) {
        made->live_from_ns[node] = INT64_MAX;
    }
    *book = made;
    return 0;
}

void slides_book_free(struct slides_book *book)
{
    if (book) {
        free(book->live_from_ns);
        free(book->onsets);
        free(book->noted);
        free(book);
    }
}

void slides_book_watch(struct slides_book *book, uint32_t node, int64_t from_ns)
{
    if (node < book->nodes && from_ns < book->live_from_ns[node]) {
        book->live_from_ns[node] = from_ns;
    }
}

/* Room for one more; *list stays as it is on failure. */
static void *grown(void *list, size_t count, size_t *size, size_t each, struct error *error)
{
    if (count < *size) {
        return list;
    }
    size_t wanted = *size ? *size * 2 : 64;
    void *made = realloc(list, wanted * each);
    if (!made) {
        (void)error_set(error, ERROR_MEMORY, "slides: out of memory");
        return NULL;
    }
    *size = wanted;
    return made;
}

int slides_book_onset(struct slides_book *book, const struct disturbance *disturbance,
                      struct error *error)
{
    struct slides_onset *onsets =
        grown(book->onsets, book->onset_count, &book->onset_size, sizeof *book->onsets, error);
    if (!onsets) {
        return -1;
    }
    book->onsets = onsets;
    book->onsets[book->onset_count++] = slides_onset_of(disturbance);
    return 0;
}

int slides_book_coincidence(struct slides_book *book, const struct coincidence *coincidence,
                            struct error *error)
{
    struct noted *noted =
        grown(book->noted, book->noted_count, &book->noted_size, sizeof *book->noted, error);
    if (!noted) {
        return -1;
    }
    book->noted = noted;
    book->noted[book->noted_count++] = (struct noted){coincidence->id, coincidence->members[0].id,
                                                      coincidence->node_count, coincidence->kind};
    return 0;
}

static int by_id(const void *a, const void *b)
{
    const struct noted *left = a;
    const struct noted *right = b;
    return (left->id > right->id) - (left->id < right->id);
}

static int by_first(const void *a, const void *b)
{
    const struct slides_finding *left = a;
    const struct slides_finding *right = b;
    return (left->first_id > right->first_id) - (left->first_id < right->first_id);
}

/* Onsets by hours of the node's live time; 0 where there are too few hours or too many. */
static size_t count_hours(const struct slides_book *book, uint32_t node, int64_t end_ns,
                          uint32_t *hours, uint64_t *onsets)
{
    int64_t from_ns = book->live_from_ns[node];
    size_t count = from_ns < end_ns ? (size_t)((end_ns - from_ns) / HOUR_NS) : 0;
    if (count < HOURS_LEAST || count > HOURS_MOST) {
        return 0;
    }
    memset(hours, 0, count * sizeof hours[0]);
    *onsets = 0;
    for (size_t i = 0; i < book->onset_count; i++) {
        const struct slides_onset *onset = &book->onsets[i];
        int64_t since_ns = onset->onset_ns - from_ns;
        if (onset->node == node && since_ns >= 0 && since_ns < (int64_t)count * HOUR_NS) {
            hours[since_ns / HOUR_NS]++;
            (*onsets)++;
        }
    }
    return count;
}

static void tell_unsteady(const struct slides_book *book, uint32_t node, int64_t end_ns,
                          const struct slides_sink *sink)
{
    uint32_t hours[HOURS_MOST];
    uint64_t onsets = 0;
    size_t count = count_hours(book, node, end_ns, hours, &onsets);
    struct dispersion dispersion = poisson_dispersion(hours, count);
    double limit = -expm1(log1p(-SLIDES_UNSTEADY_P) / (double)book->nodes);
    if (dispersion.p_value >= limit) {
        return;
    }
    double low;
    double high;
    char text[192];
    poisson_limits(onsets, 0.95, &low, &high);
    double length_h = (double)count;
    (void)snprintf(
        text, sizeof text,
        "come in bunches: %llu in %zu h, %.2g an hour (%.2g to %.2g were they even), index"
        " of dispersion %.3g instead of %zu; time slides hold, the formula does not",
        (unsigned long long)onsets, count, (double)onsets / length_h, low / length_h,
        high / length_h, dispersion.index, count - 1);
    sink->unsteady(sink->context, node, end_ns, text);
}

static int onset_by_id(const void *a, const void *b)
{
    const struct slides_onset *left = a;
    const struct slides_onset *right = b;
    return (left->id > right->id) - (left->id < right->id);
}

void slides_book_leave_out(struct slides_book *book, int64_t disturbance_id)
{
    const struct slides_onset key = {.id = disturbance_id};
    struct slides_onset *found =
        book->onset_count ? bsearch(&key, book->onsets, book->onset_count, sizeof key, onset_by_id)
                          : NULL;
    if (found) {
        found->left_out = true;
    }
}

/* What is left out, or was while its node was away. */
static void drop_left_out(struct slides_book *book, const struct away *away)
{
    size_t kept = 0;
    for (size_t i = 0; i < book->onset_count; i++) {
        const struct slides_onset *onset = &book->onsets[i];
        if (!onset->left_out && !away_covers(away_of(away, onset->node), onset->onset_ns)) {
            book->onsets[kept++] = *onset;
        }
    }
    book->onset_count = kept;
}

/* Hours with time left out have fewer onsets for that. */
static bool is_whole(const struct slides_book *book, const struct away *away, uint32_t node,
                     int64_t end_ns)
{
    int64_t from_ns = book->live_from_ns[node];
    return from_ns >= end_ns ||
           away_between(away_of(away, node), from_ns, end_ns) < (end_ns - from_ns) / WHOLE_PART;
}

int slides_book_close(struct slides_book *book, struct layout *layout, const struct away *away,
                      int64_t end_ns, const struct slides_sink *sink, struct error *error)
{
    drop_left_out(book, away);
    for (uint32_t node = 0; node < book->nodes && sink->unsteady; node++) {
        if (is_whole(book, away, node, end_ns)) {
            tell_unsteady(book, node, end_ns, sink);
        }
    }
    struct slides_night night = {
        layout, book->onsets, book->onset_count, book->live_from_ns, end_ns, 0, away};
    struct slides_result result;
    if (!sink->chance || book->noted_count == 0) {
        return 0;
    }
    if (slides_run(&night, &result, error)) {
        return -1;
    }
    qsort(book->noted, book->noted_count, sizeof *book->noted, by_id);
    for (size_t i = 0; i < book->noted_count && result.count > 0; i++) {
        const struct noted *noted = &book->noted[i];
        struct slides_finding key = {.first_id = noted->first_id};
        const struct slides_finding *finding =
            bsearch(&key, result.findings, result.count, sizeof key, by_first);
        if (finding && finding->nodes == noted->nodes && finding->kind == noted->kind) {
            sink->chance(sink->context, noted->id, &finding->chance);
        }
    }
    slides_result_free(&result);
    return 0;
}
