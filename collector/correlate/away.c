/* Spans joined where they touch, one list a node.
 * Must never read a clock: what goes on is open to the end. Called by correlator, rates, slides. */
#include "collector/correlate/away.h"

#include <stdlib.h>
#include <string.h>

struct away {
    const struct site *site;
    struct away_list *nodes;
    struct away_list *spells; /* by node */
};

int away_new(const struct site *site, struct away **away, struct error *error)
{
    struct away *made = calloc(1, sizeof *made);
    if (made) {
        made->site = site;
        made->nodes = calloc(site->node_count + 1, sizeof *made->nodes);
        made->spells = calloc(site->node_count + 1, sizeof *made->spells);
    }
    if (!made || !made->nodes || !made->spells) {
        if (made) {
            free(made->nodes);
            free(made->spells);
        }
        free(made);
        return error_set(error, ERROR_MEMORY, "marks: out of memory");
    }
    *away = made;
    return 0;
}

void away_free(struct away *away)
{
    if (!away) {
        return;
    }
    for (size_t i = 0; i < away->site->node_count; i++) {
        free(away->nodes[i].spans);
        free(away->spells[i].spans);
    }
    free(away->nodes);
    free(away->spells);
    free(away);
}

static int add(struct away_list *list, struct away_span span, struct error *error)
{
    if (list->count == list->size) {
        size_t size = list->size ? 2 * list->size : 8;
        struct away_span *spans = realloc(list->spans, size * sizeof *spans);
        if (!spans) {
            return error_set(error, ERROR_MEMORY, "marks: out of memory");
        }
        list->spans = spans;
        list->size = size;
    }
    list->spans[list->count++] = span;
    return 0;
}

static int by_start(const void *a, const void *b)
{
    const struct away_span *left = a;
    const struct away_span *right = b;
    if (left->from_ns != right->from_ns) {
        return left->from_ns < right->from_ns ? -1 : 1;
    }
    return (left->to_ns > right->to_ns) - (left->to_ns < right->to_ns);
}

static void join(struct away_list *list)
{
    size_t kept = 0;
    if (list->count > 1) {
        qsort(list->spans, list->count, sizeof *list->spans, by_start);
    }
    for (size_t i = 0; i < list->count; i++) {
        struct away_span span = list->spans[i];
        if (kept > 0 && span.from_ns <= list->spans[kept - 1].to_ns) {
            int64_t *to_ns = &list->spans[kept - 1].to_ns;
            *to_ns = span.to_ns > *to_ns ? span.to_ns : *to_ns;
        } else {
            list->spans[kept++] = span;
        }
    }
    list->count = kept;
}

static bool reaches(const struct site *site, const struct mark *mark, size_t node)
{
    return mark->room[0] == '\0' || strcmp(site->rooms[site->nodes[node].room].id, mark->room) == 0;
}

static int fill_node(struct away *away, size_t node, const struct mark_book *marks,
                     struct error *error)
{
    struct away_list *list = &away->nodes[node];
    list->count = 0;
    for (size_t i = 0; i < away->spells[node].count; i++) {
        if (add(list, away->spells[node].spans[i], error)) {
            return -1;
        }
    }
    for (size_t i = 0; marks && i < marks->count; i++) {
        const struct mark *mark = marks->marks[i];
        if (mark->withdrawn || !reaches(away->site, mark, node)) {
            continue;
        }
        struct away_span span = {mark->start_ns - AWAY_GRACE_NS,
                                 mark->end_ns == MARK_RUNNING_NS ? INT64_MAX
                                                                 : mark->end_ns + AWAY_GRACE_NS};
        if (add(list, span, error)) {
            return -1;
        }
    }
    join(list);
    return 0;
}

int away_set_marks(struct away *away, const struct mark_book *marks, struct error *error)
{
    for (size_t node = 0; node < away->site->node_count; node++) {
        if (fill_node(away, node, marks, error)) {
            return -1;
        }
    }
    return 0;
}

int away_open_spell(struct away *away, int64_t from_ns, struct error *error)
{
    for (size_t node = 0; node < away->site->node_count; node++) {
        const struct away_list *spells = &away->spells[node];
        if (spells->count && spells->spans[spells->count - 1].to_ns == INT64_MAX) {
            continue; /* it has not learnt since the last one began */
        }
        if (add(&away->spells[node], (struct away_span){from_ns, INT64_MAX}, error)) {
            return -1;
        }
    }
    return 0;
}

void away_close_spell(struct away *away, uint32_t node, int64_t to_ns)
{
    struct away_list *spells = &away->spells[node];
    struct away_span *last = spells->count ? &spells->spans[spells->count - 1] : NULL;
    if (last && last->to_ns == INT64_MAX && to_ns >= last->from_ns) {
        last->to_ns = to_ns;
    }
}

const struct away_list *away_of(const struct away *away, uint32_t node)
{
    return &away->nodes[node];
}

bool away_covers(const struct away_list *list, int64_t time_ns)
{
    for (size_t i = 0; i < list->count && list->spans[i].from_ns <= time_ns; i++) {
        if (time_ns <= list->spans[i].to_ns) {
            return true;
        }
    }
    return false;
}

int64_t away_between(const struct away_list *list, int64_t from_ns, int64_t until_ns)
{
    int64_t covered_ns = 0;
    for (size_t i = 0; i < list->count && list->spans[i].from_ns < until_ns; i++) {
        int64_t start_ns = list->spans[i].from_ns > from_ns ? list->spans[i].from_ns : from_ns;
        int64_t end_ns = list->spans[i].to_ns < until_ns ? list->spans[i].to_ns : until_ns;
        covered_ns += end_ns > start_ns ? end_ns - start_ns : 0;
    }
    return covered_ns;
}

int64_t away_to_live(const struct away_list *list, int64_t from_ns, int64_t time_ns)
{
    return time_ns - from_ns - away_between(list, from_ns, time_ns);
}

int64_t away_from_live(const struct away_list *list, int64_t from_ns, int64_t live_ns)
{
    int64_t time_ns = from_ns + live_ns;
    for (size_t i = 0; i < list->count; i++) {
        const struct away_span *span = &list->spans[i];
        int64_t start_ns = span->from_ns > from_ns ? span->from_ns : from_ns;
        if (span->to_ns > start_ns && start_ns <= time_ns && span->to_ns != INT64_MAX) {
            time_ns += span->to_ns - start_ns;
        }
    }
    return time_ns;
}
