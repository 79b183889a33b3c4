/* Ticks, and the two orders side by side.
 * Must never take one node's answer for another's. Called by the walk's runner. */
#include "collector/preflight/walk.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "common/clock.h"
#include "common/timefmt.h"

/* Two rooms whose answers are closer than a motion sensor's own lateness have no order. Common
 * practice, no source. */
#define TOGETHER_NS NS_PER_S

struct walk {
    const struct site *site;
    size_t room_count;
    size_t rooms[SITE_ROOMS_MAX];
    int64_t from_ns;
    struct walk_node *nodes;
};

static bool has_motion(const struct site_node *node)
{
    for (size_t i = 0; i < node->channel_count; i++) {
        if (node->channels[i].quantity == QUANTITY_MOTION) {
            return true;
        }
    }
    return false;
}

static size_t place_of(const struct walk *walk, size_t room)
{
    size_t place = 0;
    while (place < walk->room_count && walk->rooms[place] != room) {
        place++;
    }
    return place;
}

static int check_rooms(const struct walk *walk, struct error *error)
{
    for (size_t i = 0; i < walk->room_count; i++) {
        const char *id = walk->site->rooms[walk->rooms[i]].id;
        size_t nodes = 0;
        if (place_of(walk, walk->rooms[i]) < i) {
            return error_set(error, ERROR_USAGE, "room \"%s\" is named twice: each room once", id);
        }
        for (size_t n = 0; n < walk->site->node_count; n++) {
            nodes += walk->site->nodes[n].room == walk->rooms[i];
        }
        if (nodes == 0) {
            return error_set(error, ERROR_USAGE, "room \"%s\" has no node that could see you", id);
        }
    }
    return walk->room_count >= 2
               ? 0
               : error_set(error, ERROR_USAGE, "a walk has two rooms at least, or it has no order");
}

int walk_new(const struct site *site, const size_t *rooms, size_t count, int64_t from_ns,
             struct walk **out, struct error *error)
{
    struct walk *walk = calloc(1, sizeof *walk);
    if (walk) {
        walk->site = site;
        walk->from_ns = from_ns;
        walk->nodes = calloc(site->node_count + 1, sizeof *walk->nodes);
    }
    if (!walk || !walk->nodes) {
        walk_free(walk);
        return error_set(error, ERROR_MEMORY, "walk: out of memory");
    }
    for (size_t i = 0; i < count && i < SITE_ROOMS_MAX; i++) {
        walk->rooms[walk->room_count++] = rooms[i];
    }
    if (check_rooms(walk, error) != 0) {
        walk_free(walk);
        return -1;
    }
    for (size_t n = 0; n < site->node_count; n++) {
        walk->nodes[n].expected = place_of(walk, site->nodes[n].room) < walk->room_count;
    }
    *out = walk;
    return 0;
}

void walk_free(struct walk *walk)
{
    if (walk) {
        free(walk->nodes);
        free(walk);
    }
}

static void say_what(const struct disturbance *disturbance, char saw[WALK_SAW_SIZE])
{
    char when[TIMEFMT_SIZE];
    timefmt_local(disturbance->onset_ns, when, NULL);
    when[8] = '\0';
    if (disturbance->quantity == QUANTITY_MOTION) {
        (void)snprintf(saw, WALK_SAW_SIZE, "motion at %s", when);
    } else {
        (void)snprintf(saw, WALK_SAW_SIZE, "%s at %s, %.1f times its noise",
                       disturbance->quantity_text, when, disturbance->peak_score);
    }
}

bool walk_take(struct walk *walk, const struct disturbance *disturbance)
{
    struct walk_node *node = &walk->nodes[disturbance->node];
    bool counts = disturbance->quantity == QUANTITY_MOTION ||
                  !has_motion(&walk->site->nodes[disturbance->node]);
    if (!counts || disturbance->onset_ns < walk->from_ns ||
        (node->seen_ns != 0 && node->seen_ns <= disturbance->onset_ns)) {
        return false;
    }
    bool first = node->seen_ns == 0;
    node->seen_ns = disturbance->onset_ns;
    say_what(disturbance, node->saw);
    return first;
}

const struct walk_node *walk_get_node(const struct walk *walk, uint32_t node)
{
    return &walk->nodes[node];
}

bool walk_is_done(const struct walk *walk)
{
    for (size_t n = 0; n < walk->site->node_count; n++) {
        if (walk->nodes[n].expected && walk->nodes[n].seen_ns == 0) {
            return false;
        }
    }
    return true;
}

/* The first answer from the room at this place of the way; INT64_MAX: none. */
static int64_t answered_ns(const struct walk *walk, size_t place)
{
    int64_t first_ns = INT64_MAX;
    for (size_t n = 0; n < walk->site->node_count; n++) {
        int64_t seen_ns = walk->nodes[n].seen_ns;
        if (walk->site->nodes[n].room == walk->rooms[place] && seen_ns != 0 && seen_ns < first_ns) {
            first_ns = seen_ns;
        }
    }
    return first_ns;
}

/* Places of the way in the order in which their rooms answered; those within a second keep the
 * way's order. */
static void find_order(const struct walk *walk, size_t found[SITE_ROOMS_MAX])
{
    for (size_t i = 0; i < walk->room_count; i++) {
        size_t at = i;
        int64_t own_ns = answered_ns(walk, i);
        while (at > 0 && own_ns < answered_ns(walk, found[at - 1]) - TOGETHER_NS) {
            found[at] = found[at - 1];
            at--;
        }
        found[at] = i;
    }
}

static const char *room_id(const struct walk *walk, size_t place)
{
    return walk->site->rooms[walk->rooms[place]].id;
}

/* The nodes of the room at this place, "n2" or "n2 and n5". */
static void name_nodes(const struct walk *walk, size_t place, struct text *out)
{
    bool any = false;
    for (size_t n = 0; n < walk->site->node_count; n++) {
        if (walk->site->nodes[n].room == walk->rooms[place]) {
            (void)text_append_format(out, "%s%s", any ? " and " : "", walk->site->nodes[n].id);
            any = true;
        }
    }
}

static void say_order(const struct walk *walk, const size_t *found, struct text *out)
{
    (void)text_append_format(out, "walked: ");
    for (size_t i = 0; i < walk->room_count; i++) {
        (void)text_append_format(out, "%s%s", i ? ", " : "", room_id(walk, i));
    }
    (void)text_append_format(out, "\nfound:  ");
    for (size_t i = 0; i < walk->room_count; i++) {
        (void)text_append_format(out, "%s%s", i ? ", " : "", room_id(walk, found[i]));
    }
    (void)text_append_format(out, "\n");
}

/* Two rooms that answered in each other's turn, and no others out of turn: their nodes. */
static void say_swap(const struct walk *walk, const size_t *found, struct text *out)
{
    size_t wrong[2] = {0, 0};
    size_t count = 0;
    for (size_t i = 0; i < walk->room_count; i++) {
        if (found[i] != i && count < 2) {
            wrong[count] = i;
        }
        count += found[i] != i;
    }
    if (count == 2) {
        (void)text_append_format(out, "swapped nodes: ");
        name_nodes(walk, wrong[0], out);
        (void)text_append_format(out, " answered when you were in %s, ", room_id(walk, wrong[1]));
        name_nodes(walk, wrong[1], out);
        (void)text_append_format(
            out, " when you were in %s. Swap them, or the rooms in the site file.\n",
            room_id(walk, wrong[0]));
    } else if (count > 2) {
        (void)text_append_format(out,
                                 "%zu rooms answered out of turn: their nodes stand in other "
                                 "rooms than the site file says, or you took another way.\n",
                                 count);
    }
}

bool walk_report(const struct walk *walk, struct text *out)
{
    size_t found[SITE_ROOMS_MAX];
    bool good = true;
    for (size_t n = 0; n < walk->site->node_count; n++) {
        const struct walk_node *node = &walk->nodes[n];
        if (node->expected && node->seen_ns == 0) {
            (void)text_append_format(
                out, "%s (%s) has seen nothing: is its sensor turned to the room?\n",
                walk->site->nodes[n].id, walk->site->rooms[walk->site->nodes[n].room].id);
            good = false;
        }
    }
    if (!good) {
        return false;
    }
    find_order(walk, found);
    say_order(walk, found, out);
    say_swap(walk, found, out);
    for (size_t i = 0; i < walk->room_count; i++) {
        good = good && found[i] == i;
    }
    return good;
}
