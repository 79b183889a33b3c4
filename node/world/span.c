/* Timed lists: sorted by start, searched with the longest length as the look-back.
 * Must never know what its spans mean. Called by the world and its samplers. */
#include "node/world/span.h"

#include <stdlib.h>

int span_list_add(struct span_list *list, int64_t start_ns, int64_t end_ns, size_t index)
{
    if (list->count == list->size) {
        size_t size = list->size ? list->size * 2 : 16;
        struct span *spans = realloc(list->spans, size * sizeof *spans);
        if (!spans) {
            return -1;
        }
        list->spans = spans;
        list->size = size;
    }
    list->spans[list->count++] =
        (struct span){.start_ns = start_ns, .end_ns = end_ns, .index = index};
    if (end_ns - start_ns > list->longest_ns) {
        list->longest_ns = end_ns - start_ns;
    }
    return 0;
}

static int by_start(const void *a, const void *b)
{
    const struct span *left = a;
    const struct span *right = b;
    if (left->start_ns != right->start_ns) {
        return left->start_ns < right->start_ns ? -1 : 1;
    }
    return (left->index > right->index) - (left->index < right->index);
}

void span_list_sort(struct span_list *list)
{
    if (list->count > 1) {
        qsort(list->spans, list->count, sizeof *list->spans, by_start);
    }
}

void span_list_free(struct span_list *list)
{
    free(list->spans);
    *list = (struct span_list){0};
}

size_t span_list_next(const struct span_list *list, size_t from, int64_t t0_ns, int64_t t1_ns)
{
    size_t low = from;
    size_t high = list->count;
    while (from == 0 && low < high) {
        size_t middle = low + (high - low) / 2;
        if (list->spans[middle].start_ns < t0_ns - list->longest_ns) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    for (; low < list->count && list->spans[low].start_ns <= t1_ns; low++) {
        if (list->spans[low].end_ns >= t0_ns) {
            return low;
        }
    }
    return list->count;
}
