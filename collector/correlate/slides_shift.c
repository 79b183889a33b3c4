/* Stretches, their turning, and the sorting of what comes out.
 * Must never use another seed than its constant. Used by slides.c. */
#include "collector/correlate/slides_shift.h"

#include <stdlib.h>
#include <string.h>

#include "collector/model/splitmix.h"

static double random_part(struct slides_shift *shift)
{
    return splitmix_part(&shift->random);
}

/* The node's live time cut at the night's stretches; a short beginning goes with what follows. */
static size_t cut_node(struct slides_shift *shift, size_t node, int64_t from_ns, size_t stretch)
{
    int64_t each_ns = (shift->end_ns - shift->start_ns) / (int64_t)shift->numbers;
    int64_t start_ns = from_ns;
    for (size_t number = 0; number < shift->numbers; number++) {
        bool last = number + 1 == shift->numbers;
        int64_t end_ns = last ? shift->end_ns : shift->start_ns + (int64_t)(number + 1) * each_ns;
        if (end_ns - start_ns >= each_ns / 4 || (last && end_ns > start_ns)) {
            shift->stretches[stretch++] = (struct slides_stretch){
                .node = node,
                .number = number,
                .start_ns = start_ns,
                .length_ns = end_ns - start_ns,
                .live_ns = away_to_live(shift->away[node], start_ns, end_ns)};
            start_ns = end_ns;
        }
    }
    return stretch;
}

static bool holds(const struct slides_stretch *stretch, const struct slides_place *place)
{
    int64_t since_ns = place->onset_ns - stretch->start_ns;
    return place->node == stretch->node && since_ns >= 0 && since_ns < stretch->length_ns;
}

static void fill_stretches(struct slides_shift *shift, const struct slides_place *places)
{
    size_t filled = 0;
    for (size_t i = 0; i < shift->stretch_count; i++) {
        struct slides_stretch *stretch = &shift->stretches[i];
        stretch->first = filled;
        for (size_t j = 0; j < shift->onset_count; j++) {
            if (holds(stretch, &places[j])) {
                shift->indices[filled++] = (uint32_t)j;
            }
        }
        stretch->count = filled - stretch->first;
    }
}

static bool reserve(struct slides_shift *shift, size_t count, size_t nodes)
{
    size_t stretches = nodes * shift->numbers;
    shift->bucket_count = 2 * count + 2;
    shift->stretches = calloc(stretches + 1, sizeof *shift->stretches);
    shift->indices = calloc(count + 1, sizeof *shift->indices);
    shift->fractions = calloc(stretches + 1, sizeof *shift->fractions);
    shift->slots = calloc(nodes + 1, sizeof *shift->slots);
    shift->unsorted = calloc(count + 1, sizeof *shift->unsorted);
    shift->buckets = calloc(shift->bucket_count + 1, sizeof *shift->buckets);
    return shift->stretches && shift->indices && shift->fractions && shift->slots &&
           shift->unsorted && shift->buckets;
}

int slides_shift_init(struct slides_shift *shift, const struct slides_place *places, size_t count,
                      size_t nodes, const int64_t *live_from_ns,
                      const struct away_list *const *away, int64_t end_ns, struct error *error)
{
    shift->random = SPLITMIX_STEP;
    shift->away = away;
    shift->nodes = nodes;
    shift->onset_count = count;
    shift->end_ns = end_ns;
    shift->start_ns = end_ns;
    for (size_t node = 0; node < nodes; node++) {
        shift->start_ns =
            live_from_ns[node] < shift->start_ns ? live_from_ns[node] : shift->start_ns;
    }
    int64_t span_ns = end_ns - shift->start_ns;
    shift->numbers = (size_t)((span_ns + SLIDES_STRETCH_NS / 2) / SLIDES_STRETCH_NS);
    shift->numbers = shift->numbers ? shift->numbers : 1;
    if (!reserve(shift, count, nodes)) {
        slides_shift_free(shift);
        return error_set(error, ERROR_MEMORY, "slides: out of memory");
    }
    for (size_t node = 0; node < nodes; node++) {
        shift->stretch_count = cut_node(shift, node, live_from_ns[node], shift->stretch_count);
    }
    fill_stretches(shift, places);
    return 0;
}

void slides_shift_free(struct slides_shift *shift)
{
    free(shift->stretches);
    free(shift->indices);
    free(shift->fractions);
    free(shift->slots);
    free(shift->unsorted);
    free(shift->buckets);
    *shift = (struct slides_shift){0};
}

/* In each stretch every node gets a slot of its own on the ring, in random order, and a random
 * place in it: two nodes may have any distance but none, and no two slides the same. */
static void draw(struct slides_shift *shift)
{
    for (size_t number = 0; number < shift->numbers; number++) {
        for (size_t i = 0; i < shift->nodes; i++) {
            size_t other = (size_t)(splitmix_bits(&shift->random) % (i + 1));
            shift->slots[i] = shift->slots[other];
            shift->slots[other] = i;
        }
        for (size_t node = 0; node < shift->nodes; node++) {
            shift->fractions[number * shift->nodes + node] =
                ((double)shift->slots[node] + random_part(shift)) / (double)shift->nodes;
        }
    }
}

static void turn(struct slides_shift *shift, const struct slides_place *places)
{
    size_t filled = 0;
    for (size_t i = 0; i < shift->stretch_count; i++) {
        const struct slides_stretch *stretch = &shift->stretches[i];
        double fraction = shift->fractions[stretch->number * shift->nodes + stretch->node];
        const struct away_list *away = shift->away[stretch->node];
        int64_t by_ns = (int64_t)(fraction * (double)stretch->live_ns);
        for (size_t j = 0; j < stretch->count; j++) {
            uint32_t index = shift->indices[stretch->first + j];
            int64_t live_ns = away_to_live(away, stretch->start_ns, places[index].onset_ns) + by_ns;
            live_ns -= live_ns >= stretch->live_ns ? stretch->live_ns : 0;
            int64_t time_ns = away_from_live(away, stretch->start_ns, live_ns);
            shift->unsorted[filled++] = (struct slides_item){time_ns, index};
        }
    }
    shift->onset_count = filled;
}

static size_t bucket_of(const struct slides_shift *shift, double scale, int64_t time_ns)
{
    size_t bucket = (size_t)((double)(time_ns - shift->start_ns) * scale);
    return bucket < shift->bucket_count ? bucket : shift->bucket_count - 1;
}

static bool later(const struct slides_item *a, const struct slides_item *b)
{
    return a->time_ns != b->time_ns ? a->time_ns > b->time_ns : a->index > b->index;
}

/* Into buckets of time, then each item back to its place among its few neighbours. */
static void sort(struct slides_shift *shift, struct slides_item *items)
{
    double scale = (double)shift->bucket_count / ((double)(shift->end_ns - shift->start_ns) + 1.0);
    uint32_t *starts = shift->buckets;
    memset(starts, 0, (shift->bucket_count + 1) * sizeof *starts);
    for (size_t i = 0; i < shift->onset_count; i++) {
        starts[bucket_of(shift, scale, shift->unsorted[i].time_ns) + 1]++;
    }
    for (size_t i = 1; i <= shift->bucket_count; i++) {
        starts[i] += starts[i - 1];
    }
    for (size_t i = 0; i < shift->onset_count; i++) {
        items[starts[bucket_of(shift, scale, shift->unsorted[i].time_ns)]++] = shift->unsorted[i];
    }
    for (size_t i = 1; i < shift->onset_count; i++) {
        struct slides_item item = items[i];
        size_t at = i;
        for (; at > 0 && later(&items[at - 1], &item); at--) {
            items[at] = items[at - 1];
        }
        items[at] = item;
    }
}

void slides_shift_next(struct slides_shift *shift, const struct slides_place *places,
                       struct slides_item *items)
{
    draw(shift);
    turn(shift, places);
    sort(shift, items);
}
