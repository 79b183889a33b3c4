/* Findings of both analyses, matched by when and where, then compared.
 * Must never match one finding twice. Called by review.c and report_outline.c. */
#include "collector/export/changes.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "collector/alert/sentence.h"

/* No fit moves a finding further than this without being another one. */
#define NEAR_NS INT64_C(2000000000)

struct one {
    int64_t start_ns;
    enum cause_kind cause;
    enum coincidence_kind kind;
    size_t node_count;
    uint32_t first; /* UINT32_MAX: not told */
    bool alert;
    bool together;
    bool matched;
    char *line;
};

struct list {
    const struct site *site;
    struct one *ones;
    size_t count;
    size_t size;
    struct error *error;
};

static int take(void *context, const struct coincidence *coincidence)
{
    struct list *list = context;
    struct text line = {0};
    if (list->count == list->size) {
        size_t size = list->size ? 2 * list->size : 64;
        struct one *ones = realloc(list->ones, size * sizeof *ones);
        if (!ones) {
            return error_set(list->error, ERROR_MEMORY, "changes: out of memory");
        }
        list->ones = ones;
        list->size = size;
    }
    if (sentence_line(list->site, coincidence, &line) != 0) {
        text_free(&line);
        return error_set(list->error, ERROR_MEMORY, "changes: out of memory");
    }
    list->ones[list->count++] =
        (struct one){.start_ns = coincidence->start_ns,
                     .cause = coincidence->verdict.cause,
                     .kind = coincidence->kind,
                     .node_count = coincidence->node_count,
                     .first = coincidence->first_known ? coincidence->order[0].node : UINT32_MAX,
                     .alert = coincidence->alert,
                     .together = coincidence->together,
                     .line = line.bytes};
    return 0;
}

/* The nearest of `list` that is left, or NULL. */
static struct one *find_match(const struct list *list, const struct one *wanted)
{
    struct one *best = NULL;
    int64_t nearest_ns = NEAR_NS;
    for (size_t i = 0; i < list->count; i++) {
        int64_t apart_ns = llabs(list->ones[i].start_ns - wanted->start_ns);
        if (!list->ones[i].matched && apart_ns < nearest_ns) {
            nearest_ns = apart_ns;
            best = &list->ones[i];
        }
    }
    return best;
}

static bool says_the_same(const struct one *a, const struct one *b)
{
    return a->cause == b->cause && a->kind == b->kind && a->node_count == b->node_count &&
           a->first == b->first && a->alert == b->alert && a->together == b->together;
}

static void write_line(FILE *out, const char *head, const struct one *one)
{
    if (out) {
        fprintf(out, "  %s: %s%s\n", head, one->alert ? "ALERT " : "", one->line);
    }
}

static void compare(struct list *before, struct list *after, FILE *out, struct changes *changes)
{
    for (size_t i = 0; i < before->count; i++) {
        struct one *old = &before->ones[i];
        struct one *new = find_match(after, old);
        if (!new) {
            changes->gone++;
            write_line(out, "no longer", old);
            continue;
        }
        new->matched = true;
        int64_t moved_ns = llabs(new->start_ns - old->start_ns);
        changes->most_ns = moved_ns > changes->most_ns ? moved_ns : changes->most_ns;
        if (says_the_same(old, new)) {
            changes->same++;
            continue;
        }
        changes->differ++;
        write_line(out, "before", old);
        write_line(out, "   now", new);
    }
    for (size_t i = 0; i < after->count; i++) {
        if (!after->ones[i].matched) {
            changes->fresh++;
            write_line(out, "new", &after->ones[i]);
        }
    }
}

static void free_list(struct list *list)
{
    for (size_t i = 0; i < list->count; i++) {
        free(list->ones[i].line);
    }
    free(list->ones);
}

int changes_find(struct night_reader *reader, const struct site *site, int from, int to, FILE *out,
                 struct changes *changes, struct error *error)
{
    struct list before = {.site = site, .error = error};
    struct list after = {.site = site, .error = error};
    *changes = (struct changes){0};
    int result = night_each_coincidence(reader, from, take, &before, error);
    if (result == 0) {
        result = night_each_coincidence(reader, to, take, &after, error);
    }
    if (result == 0) {
        compare(&before, &after, out, changes);
    }
    free_list(&before);
    free_list(&after);
    return result;
}
