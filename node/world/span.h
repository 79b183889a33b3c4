/* Lists of things that last from one time to another, and which of them overlap a moment.
 * Must never hold anything but times and an index into the holder's own array. */
#ifndef ROOMWAKE_NODE_WORLD_SPAN_H
#define ROOMWAKE_NODE_WORLD_SPAN_H

#include <stddef.h>
#include <stdint.h>

struct span {
    int64_t start_ns;
    int64_t end_ns;
    size_t index;
};

/* Start from {0}; span_list_free. Sorted by start once span_list_sort was called. */
struct span_list {
    size_t count;
    size_t size;
    struct span *spans;
    int64_t longest_ns;
};

/* -1: out of memory. */
int span_list_add(struct span_list *list, int64_t start_ns, int64_t end_ns, size_t index);
void span_list_sort(struct span_list *list);
void span_list_free(struct span_list *list);

/* The place of the first span after `from` (start with 0) that overlaps [t0_ns, t1_ns]; the list's
 * count where there is none. For walking: at = next(list, 0, ..); at < count; at = next(list, at
 * + 1, ..). */
size_t span_list_next(const struct span_list *list, size_t from, int64_t t0_ns, int64_t t1_ns);

#endif
