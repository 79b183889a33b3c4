/* Names as people say them.
 * Must never leave a name empty.
 * Called by sentence.c and account.c. */
#include "collector/alert/words.h"

const char *words_room(const struct site *site, size_t room)
{
    if (room >= site->room_count) {
        return "somewhere";
    }
    return site->rooms[room].title[0] != '\0' ? site->rooms[room].title : site->rooms[room].id;
}

const char *words_node_room(const struct site *site, uint32_t node)
{
    return node < site->node_count ? words_room(site, site->nodes[node].room) : "somewhere";
}

const char *words_cause(enum cause_kind cause)
{
    static const char *const texts[CAUSE_COUNT] = {
        [CAUSE_UNEXPLAINED] = "unexplained",       [CAUSE_MAINS_SWITCHING] = "mains switching",
        [CAUSE_MOVING_MAGNET] = "moving magnet",   [CAUSE_RADIO_BURST] = "radio burst",
        [CAUSE_PERSON_WALKING] = "person walking", [CAUSE_DRAUGHT] = "draught",
        [CAUSE_HEATING_CYCLE] = "heating cycle",   [CAUSE_GEOMAGNETIC] = "geomagnetic",
        [CAUSE_SENSOR_FAULT] = "sensor fault",     [CAUSE_TEAM] = "the team itself",
    };
    return cause < CAUSE_COUNT ? texts[cause] : "unexplained";
}

int64_t words_spread_ns(const struct coincidence *coincidence)
{
    int64_t first = INT64_MAX;
    int64_t last = INT64_MIN;
    for (size_t i = 0; i < coincidence->order_count; i++) {
        int64_t onset = coincidence->order[i].onset_ns;
        first = onset < first ? onset : first;
        last = onset > last ? onset : last;
    }
    return coincidence->order_count > 0 ? last - first : 0;
}
