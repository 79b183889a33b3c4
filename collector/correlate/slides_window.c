/* Prompt windows in order of time, and the memory that all slides share.
 * Must never allocate while it groups. Used by slides.c. */
#include <stdlib.h>

#include "collector/correlate/gate.h"
#include "collector/correlate/slides_inside.h"

int slides_grouping_new(const struct slides_hops *hops, const struct slides_place *places,
                        size_t count, struct slides_grouping **grouping, struct error *error)
{
    struct slides_grouping *made = calloc(1, sizeof *made);
    if (made) {
        made->hops = hops;
        made->members.places = places;
        made->members.times_ns = calloc(count + 1, sizeof *made->members.times_ns);
        made->members.next = calloc(count + 1, sizeof *made->members.next);
        made->members.stamps = calloc(hops->nodes + 1, sizeof *made->members.stamps);
        made->gates_ns = calloc(2 * count + 2, sizeof *made->gates_ns);
        made->elements = calloc(count + 1, sizeof *made->elements);
        made->candidates = calloc(count + 1, sizeof *made->candidates);
        made->groups = calloc(count + 1, sizeof *made->groups);
    }
    if (!made || !made->members.times_ns || !made->members.next || !made->members.stamps ||
        !made->gates_ns || !made->elements || !made->candidates || !made->groups) {
        slides_grouping_free(made);
        return error_set(error, ERROR_MEMORY, "slides: out of memory");
    }
    int64_t worst_ns = 0;
    for (size_t i = 0; i < count; i++) {
        worst_ns = places[i].clock_sd_ns > worst_ns ? places[i].clock_sd_ns : worst_ns;
    }
    for (size_t i = 0; i < count; i++) {
        made->gates_ns[2 * i] = gate_prompt_ns(places[i].clock_sd_ns, 0);
        made->gates_ns[2 * i + 1] = gate_prompt_ns(places[i].clock_sd_ns, worst_ns);
    }
    *grouping = made;
    return 0;
}

void slides_grouping_free(struct slides_grouping *grouping)
{
    if (grouping) {
        free(grouping->members.times_ns);
        free(grouping->members.next);
        free(grouping->members.stamps);
        free(grouping->gates_ns);
        free(grouping->elements);
        free(grouping->candidates);
        free(grouping->groups);
        free(grouping);
    }
}

/* Seals the windows that are over before time_ns, in order. */
static void seal_until(struct slides_grouping *grouping, int64_t time_ns)
{
    while (grouping->seal_ns < time_ns) {
        size_t next = grouping->window_count;
        int64_t next_ns = time_ns;
        int64_t first_ns = INT64_MAX;
        for (size_t i = 0; i < grouping->window_count; i++) {
            first_ns =
                grouping->windows[i].seal_ns < first_ns ? grouping->windows[i].seal_ns : first_ns;
            if (grouping->windows[i].seal_ns < next_ns) {
                next_ns = grouping->windows[i].seal_ns;
                next = i;
            }
        }
        if (next == grouping->window_count) {
            grouping->seal_ns = first_ns;
            return;
        }
        struct slides_element cluster = grouping->windows[next].element;
        grouping->window_count--;
        for (size_t i = next; i < grouping->window_count; i++) {
            grouping->windows[i] = grouping->windows[i + 1];
        }
        slides_place(grouping, &cluster, next_ns);
    }
}

static void take(struct slides_grouping *grouping, const struct slides_item *item)
{
    const struct slides_place *place = &grouping->members.places[item->index];
    grouping->members.times_ns[item->index] = item->time_ns;
    struct slides_element alone;
    slides_alone(&grouping->members, item, &alone);
    for (size_t i = 0; i < grouping->window_count; i++) {
        struct grouping_window *window = &grouping->windows[i];
        int64_t gate_ns = gate_prompt_ns(window->clock_sd_ns, place->clock_sd_ns);
        if (item->time_ns - window->opened_ns <= gate_ns) {
            alone.gate_ns = gate_ns;
            slides_join(&grouping->members, &window->element, &alone);
            return;
        }
    }
    if (grouping->window_count == WINDOWS_MAX) {
        seal_until(grouping, INT64_MAX);
    }
    struct grouping_window *window = &grouping->windows[grouping->window_count++];
    window->element = alone;
    window->element.gate_ns = grouping->gates_ns[2 * (size_t)item->index];
    window->clock_sd_ns = place->clock_sd_ns;
    window->opened_ns = item->time_ns;
    window->seal_ns = item->time_ns + grouping->gates_ns[2 * (size_t)item->index + 1];
    grouping->seal_ns = window->seal_ns < grouping->seal_ns ? window->seal_ns : grouping->seal_ns;
}

void slides_grouping_run(struct slides_grouping *grouping, const struct slides_item *items,
                         size_t count,
                         void (*found)(void *context, const struct slides_found *found),
                         void *context)
{
    grouping->found = found;
    grouping->context = context;
    grouping->element_count = 0;
    grouping->group_count = 0;
    grouping->window_count = 0;
    grouping->seal_ns = INT64_MAX;
    grouping->retire_ns = INT64_MAX;
    for (size_t i = 0; i < count; i++) {
        seal_until(grouping, items[i].time_ns);
        take(grouping, &items[i]);
    }
    seal_until(grouping, INT64_MAX);
    slides_retire(grouping, INT64_MAX);
}
