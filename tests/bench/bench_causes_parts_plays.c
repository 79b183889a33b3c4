/* What happens in the houses: one writer of script events a kind.
 * Must never write what two causes could both rightly claim. Part of bench_causes. */
#include "bench_causes.h"

#include "node/world/rng.h"

static void put_way(const struct house *house, struct text *out, uint64_t key)
{
    size_t rooms[BENCH_WAY_MAX];
    size_t count = house_way(house, key, rooms);
    (void)text_append_format(out, ",\"from\":\"r%zu\",\"via\":[", rooms[0]);
    for (size_t i = 1; i < count; i++) {
        (void)text_append_format(out, "%s\"r%zu\"", i > 1 ? "," : "", rooms[i]);
    }
    (void)text_append_format(out, "]");
}

static void put_start(struct text *out, double at, const char *kind)
{
    (void)text_append_format(out, "{\"at_s\":%.3f,\"kind\":\"%s\"", at, kind);
}

static void write_load(const struct house *house, struct text *out, double at, uint64_t key)
{
    (void)house;
    put_start(out, at, "load");
    (void)text_append_format(out, ",\"wire\":\"%s\",\"amps\":%.2f,\"for_s\":%.2f}",
                             rng_bits(key, 0) % 2 ? "ring" : "supply",
                             house_between(key, 1, 3.0, 13.0), house_between(key, 2, 10.0, 50.0));
}

static void write_walk(const struct house *house, struct text *out, double at, uint64_t key)
{
    put_start(out, at, "walk");
    put_way(house, out, key);
    (void)text_append_format(out, ",\"speed_m_s\":%.2f,\"steel\":%s}",
                             house_between(key, 1, 0.7, 1.8),
                             rng_bits(key, 2) % 2 ? "true" : "false");
}

static void write_magnet(const struct house *house, struct text *out, double at, uint64_t key)
{
    put_start(out, at, "magnet");
    put_way(house, out, key);
    (void)text_append_format(out,
                             ",\"speed_m_s\":%.2f,\"height_m\":%.2f,"
                             "\"moment_a_m2\":[%.1f,%.1f,%.1f]}",
                             house_between(key, 1, 0.4, 1.6), house_between(key, 5, 0.4, 1.6),
                             house_between(key, 2, -15.0, 15.0), house_between(key, 3, -15.0, 15.0),
                             (rng_bits(key, 6) % 2 ? 1.0 : -1.0) *
                                 house_between(key, 4, 8.0, 30.0));
}

static void write_phone(const struct house *house, struct text *out, double at, uint64_t key)
{
    put_start(out, at, "phone");
    (void)text_append_format(out, ",\"room\":\"r%zu\",\"for_s\":%.2f,\"counts\":%.0f}",
                             (size_t)(rng_bits(key, 0) % house->site->room_count),
                             house_between(key, 1, 1.0, 20.0), house_between(key, 2, 150.0, 700.0));
}

static void write_draught(const struct house *house, struct text *out, double at, uint64_t key)
{
    put_start(out, at, "draught");
    put_way(house, out, key);
    (void)text_append_format(out, ",\"speed_m_s\":%.2f,\"drop_c\":%.2f,\"for_s\":%.0f}",
                             house_between(key, 1, 0.12, 0.45), house_between(key, 2, 0.7, 3.0),
                             house_between(key, 3, 30.0, 80.0));
}

static void write_geomagnetic(const struct house *house, struct text *out, double at, uint64_t key)
{
    (void)house;
    put_start(out, at, "geomagnetic");
    double sign = rng_bits(key, 5) % 2 ? 1.0 : -1.0;
    (void)text_append_format(
        out, ",\"field_t\":[%.3g,%.3g,%.3g],\"for_s\":%.0f}",
        sign * house_between(key, 1, 6e-8, 2.5e-7), house_between(key, 2, -1.5e-7, 1.5e-7),
        house_between(key, 3, -1e-7, 2e-7), house_between(key, 4, 60.0, 240.0));
}

/* What no cause explains: a dipole that comes and goes on one spot, or an even field, with or
 * without something on the antennas, sharp or swelling, at once or spreading through the house. */
static void write_pulse(const struct house *house, struct text *out, double at, uint64_t key)
{
    const struct site_node *node = &house->site->nodes[rng_bits(key, 12) % house->site->node_count];
    double rise_s = house_between(key, 9, 0.005, 0.05);
    double fall_s = house_between(key, 11, 0.1, 0.6);
    if (rng_bits(key, 13) % 4 == 0) {
        rise_s = house_between(key, 14, 0.3, 3.0);
        fall_s = house_between(key, 15, 0.3, 3.0);
    }
    put_start(out, at, "pulse");
    (void)text_append_format(
        out, ",\"at_m\":[%.1f,%.1f,%.1f]", node->position_m[0] + house_between(key, 1, -2.0, 2.0),
        node->position_m[1] + house_between(key, 2, -2.0, 2.0), house_between(key, 16, 0.3, 2.2));
    if (rng_bits(key, 3) % 2) {
        (void)text_append_format(
            out, ",\"moment_a_m2\":[%.0f,%.0f,%.0f]", house_between(key, 4, -150.0, 150.0),
            house_between(key, 5, -150.0, 150.0), house_between(key, 6, 60.0, 250.0));
    } else {
        (void)text_append_format(
            out, ",\"field_t\":[%.2g,%.2g,%.2g],\"reach_m\":%.0f",
            house_between(key, 4, -9e-7, 9e-7), house_between(key, 17, -5e-7, 5e-7),
            house_between(key, 5, 2e-7, 9e-7), house_between(key, 6, 5.0, 14.0));
    }
    if (rng_bits(key, 18) % 5 == 0) {
        (void)text_append_format(out, ",\"speed_m_s\":%.1f", house_between(key, 19, 1.5, 6.0));
    }
    (void)text_append_format(out,
                             ",\"counts\":%.0f,\"rise_s\":%.3f,\"for_s\":%.2f,\"fall_s\":%.2f}",
                             rng_bits(key, 7) % 2 ? house_between(key, 8, 20.0, 80.0) : 0.0, rise_s,
                             house_between(key, 10, 0.1, 3.0), fall_s);
}

/* While one node's wire is loose (run_simulate sees to that), something small near another. */
static void write_small(const struct house *house, struct text *out, double at, uint64_t key)
{
    size_t loose = rng_bits(key, 60) % house->site->node_count;
    size_t other =
        (loose + 1 + rng_bits(key, 20) % (house->site->node_count - 1)) % house->site->node_count;
    const struct site_node *node = &house->site->nodes[other];
    for (uint64_t i = 0; i < 5; i++) {
        (void)text_append_format(out, i ? "," : "");
        put_start(out, at + 5.0 * (double)i + house_between(key, 30 + i, 0.0, 4.0), "pulse");
        double z_m = node->position_m[2] + 2.7 * house->site->rooms[node->room].floor;
        (void)text_append_format(out,
                                 ",\"at_m\":[%.2f,%.2f,%.2f],\"reach_m\":0.3,\"counts\":60,"
                                 "\"field_t\":[9e-7,0,3e-7],\"rise_s\":0.01,\"for_s\":0.3,"
                                 "\"fall_s\":0.1}",
                                 node->position_m[0], node->position_m[1], z_m);
    }
}

static void write_nothing(const struct house *house, struct text *out, double at, uint64_t key)
{
    (void)house;
    (void)key;
    put_start(out, at, "phone");
    (void)text_append_format(out, ",\"room\":\"r0\",\"for_s\":0.1,\"counts\":0}");
}

/* A carried magnet, a phone and a walker within one minute. */
static void write_minute(const struct house *house, struct text *out, double at, uint64_t key)
{
    write_magnet(house, out, at + house_between(key, 40, 0.0, 25.0), rng_key(key, 1, 1));
    (void)text_append_format(out, ",");
    write_walk(house, out, at + house_between(key, 41, 0.0, 25.0), rng_key(key, 2, 2));
    (void)text_append_format(out, ",");
    write_phone(house, out, at + house_between(key, 42, 0.0, 40.0), rng_key(key, 3, 3));
}

const struct play plays[] = {
    {"load",
     CAUSE_MAINS_SWITCHING,
     110.0,
     52.0,
     write_load,
     {"magnetic", "electric"},
     false,
     false,
     false,
     false},
    {"magnet",
     CAUSE_MOVING_MAGNET,
     130.0,
     75.0,
     write_magnet,
     {"magnetic"},
     false,
     false,
     false,
     false},
    {"phone", CAUSE_RADIO_BURST, 60.0, 22.0, write_phone, {"electric"}, false, false, false, false},
    {"walk",
     CAUSE_PERSON_WALKING,
     90.0,
     35.0,
     write_walk,
     {"motion", "magnetic"},
     false,
     false,
     false,
     false},
    {"draught",
     CAUSE_DRAUGHT,
     400.0,
     240.0,
     write_draught,
     {"temperature"},
     false,
     true,
     false,
     false},
    {"heating",
     CAUSE_HEATING_CYCLE,
     600.0,
     590.0,
     write_nothing,
     {"temperature"},
     true,
     true,
     false,
     false},
    {"geomagnetic",
     CAUSE_GEOMAGNETIC,
     330.0,
     250.0,
     write_geomagnetic,
     {"magnetic"},
     false,
     false,
     false,
     false},
    {"fault",
     CAUSE_SENSOR_FAULT,
     90.0,
     45.0,
     write_small,
     {"electric", "magnetic"},
     false,
     false,
     false,
     true},
    {"team",
     CAUSE_TEAM,
     60.0,
     10.0,
     write_pulse,
     {"magnetic", "electric"},
     false,
     false,
     true,
     false},
    {"pulse",
     CAUSE_UNEXPLAINED,
     60.0,
     15.0,
     write_pulse,
     {"magnetic", "electric"},
     false,
     false,
     false,
     false},
    {"minute",
     BENCH_MIXED,
     150.0,
     90.0,
     write_minute,
     {"magnetic", "electric", "motion"},
     false,
     false,
     false,
     false},
};
const size_t play_count = sizeof plays / sizeof plays[0];
