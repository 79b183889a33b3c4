/* A coincidence without the unused ends of its lists.
 * Must never hold a pointer into another. Called by correlator. */
#include "collector/correlate/kept.h"

#include <stdlib.h>
#include <string.h>

/* The coincidence cut where a list ends: before, of each list its used part, between, after. */
struct piece {
    size_t at;
    size_t length;
};
enum { PIECES = 9 };

struct kept_one {
    int64_t look_ns; /* 0: not again */
    size_t members;
    size_t order;
    size_t path;
    size_t reasons;
    size_t length;
    unsigned char bytes[];
};

static void cut(const struct kept_one *one, struct piece pieces[PIECES])
{
    const struct {
        size_t at;
        size_t whole;
        size_t used;
    } lists[] = {
        {offsetof(struct coincidence, members), sizeof((struct coincidence *)0)->members,
         one->members * sizeof(struct disturbance)},
        {offsetof(struct coincidence, order), sizeof((struct coincidence *)0)->order,
         one->order * sizeof(struct order_entry)},
        {offsetof(struct coincidence, path), sizeof((struct coincidence *)0)->path,
         one->path * sizeof(struct path_step)},
        {offsetof(struct coincidence, verdict.reasons),
         sizeof((struct coincidence *)0)->verdict.reasons, one->reasons * COINCIDENCE_REASON_SIZE},
    };
    size_t at = 0;
    for (size_t i = 0; i < 4; i++) {
        pieces[2 * i] = (struct piece){at, lists[i].at - at};
        pieces[2 * i + 1] = (struct piece){lists[i].at, lists[i].used};
        at = lists[i].at + lists[i].whole;
    }
    pieces[PIECES - 1] = (struct piece){at, sizeof(struct coincidence) - at};
}

static struct kept_one *pack(const struct coincidence *coincidence)
{
    struct kept_one counts = {0,
                              coincidence->member_count,
                              coincidence->order_count,
                              coincidence->path_count,
                              coincidence->verdict.reason_count,
                              0};
    struct piece pieces[PIECES];
    cut(&counts, pieces);
    for (size_t i = 0; i < PIECES; i++) {
        counts.length += pieces[i].length;
    }
    struct kept_one *one = malloc(sizeof *one + counts.length);
    if (one) {
        size_t filled = 0;
        *one = counts;
        for (size_t i = 0; i < PIECES; i++) {
            memcpy(one->bytes + filled, (const unsigned char *)coincidence + pieces[i].at,
                   pieces[i].length);
            filled += pieces[i].length;
        }
    }
    return one;
}

static struct kept_one *nth_of(const struct kept *kept, size_t nth)
{
    return kept->ones[(kept->first + nth) % KEPT_MAX];
}

static void find_next_look(struct kept *kept)
{
    kept->next_look_ns = INT64_MAX;
    for (size_t i = 0; i < kept->count && kept->pending > 0; i++) {
        int64_t look_ns = nth_of(kept, i)->look_ns;
        if (look_ns != 0 && look_ns < kept->next_look_ns) {
            kept->next_look_ns = look_ns;
        }
    }
}

int64_t kept_next_look_ns(const struct kept *kept)
{
    return kept->pending > 0 ? kept->next_look_ns : INT64_MAX;
}

size_t kept_take_look(struct kept *kept)
{
    size_t nth = 0;
    while (nth_of(kept, nth)->look_ns != kept->next_look_ns) {
        nth++;
    }
    nth_of(kept, nth)->look_ns = 0;
    kept->pending--;
    find_next_look(kept);
    return nth;
}

static void drop_oldest(struct kept *kept)
{
    bool pending = kept->ones[kept->first]->look_ns != 0;
    free(kept->ones[kept->first]);
    kept->first = (kept->first + 1) % KEPT_MAX;
    kept->count--;
    if (pending) {
        kept->pending--;
        find_next_look(kept);
    }
}

int kept_add(struct kept *kept, const struct coincidence *coincidence, int64_t look_ns,
             struct error *error)
{
    struct kept_one *one = pack(coincidence);
    if (!one) {
        return error_set(error, ERROR_MEMORY, "correlator: out of memory for a coincidence");
    }
    if (kept->count == KEPT_MAX) {
        drop_oldest(kept);
    }
    if (look_ns != 0) {
        one->look_ns = look_ns;
        kept->next_look_ns = look_ns < kept_next_look_ns(kept) ? look_ns : kept_next_look_ns(kept);
        kept->pending++;
    }
    kept->ones[(kept->first + kept->count++) % KEPT_MAX] = one;
    return 0;
}

void kept_get(const struct kept *kept, size_t nth, struct coincidence *coincidence)
{
    const struct kept_one *one = nth_of(kept, nth);
    struct piece pieces[PIECES];
    size_t taken = 0;
    memset(coincidence, 0, sizeof *coincidence);
    cut(one, pieces);
    for (size_t i = 0; i < PIECES; i++) {
        memcpy((unsigned char *)coincidence + pieces[i].at, one->bytes + taken, pieces[i].length);
        taken += pieces[i].length;
    }
}

int kept_set(struct kept *kept, size_t nth, const struct coincidence *coincidence,
             struct error *error)
{
    struct kept_one **place = &kept->ones[(kept->first + nth) % KEPT_MAX];
    struct kept_one *one = pack(coincidence);
    if (!one) {
        return error_set(error, ERROR_MEMORY, "correlator: out of memory for a coincidence");
    }
    one->look_ns = (*place)->look_ns;
    free(*place);
    *place = one;
    return 0;
}

void kept_free(struct kept *kept)
{
    for (size_t i = 0; i < kept->count; i++) {
        free(kept->ones[(kept->first + i) % KEPT_MAX]);
    }
    *kept = (struct kept){0};
}
