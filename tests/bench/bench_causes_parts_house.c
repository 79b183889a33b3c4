/* Buildings from a seed: a grid of rooms with doors, maybe a cellar, nodes, wires, noise.
 * Must never depend on anything but the seed. Part of bench_causes. */
#include "bench_causes.h"

#include <string.h>

#include "node/world/rng.h"

#define COLUMNS_MAX 4
#define ROWS_MAX 2

struct plan {
    uint64_t key;
    size_t columns;
    size_t rows;
    double x_m[COLUMNS_MAX + 1];
    double y_m[ROWS_MAX + 1];
    bool cellar;
    double mains_hz;
};

double house_between(uint64_t key, uint64_t which, double low, double high)
{
    return low + (high - low) * rng_uniform(key, which);
}

static void draw_plan(struct plan *plan)
{
    uint64_t key = plan->key;
    plan->columns = 2 + rng_bits(key, 1) % 3;
    plan->rows = plan->columns == 2 ? 2 : 1 + rng_bits(key, 2) % 2;
    plan->cellar = rng_bits(key, 3) % 3 == 0;
    plan->mains_hz = rng_bits(key, 4) % 4 == 0 ? 60.0 : 50.0;
    for (size_t i = 0; i < plan->columns; i++) {
        plan->x_m[i + 1] = plan->x_m[i] + house_between(key, 10 + i, 2.8, 5.5);
    }
    for (size_t i = 0; i < plan->rows; i++) {
        plan->y_m[i + 1] = plan->y_m[i] + house_between(key, 20 + i, 3.0, 5.0);
    }
}

static void put_rooms(const struct plan *plan, struct text *out)
{
    for (size_t i = 0; i < plan->columns * plan->rows + plan->cellar; i++) {
        bool below = i == plan->columns * plan->rows;
        size_t column = below ? 0 : i % plan->columns;
        size_t row = below ? 0 : i / plan->columns;
        double x0 = plan->x_m[column];
        double y0 = plan->y_m[row];
        double x1 = plan->x_m[column + 1];
        double y1 = plan->y_m[row + 1];
        (void)text_append_format(out,
                                 "%s{\"id\":\"r%zu\",\"title\":\"Room %zu\",\"floor\":%d,"
                                 "\"outline_m\":[[%.6f,%.6f],[%.6f,%.6f],[%.6f,%.6f],[%.6f,%.6f]]}",
                                 i ? "," : "", i, i, below ? -1 : 0, x0, y0, x1, y0, x1, y1, x0,
                                 y1);
    }
}

static void put_door(struct text *out, size_t a, size_t b, double x_m, double y_m, bool *any)
{
    (void)text_append_format(out, "%s{\"between\":[\"r%zu\",\"r%zu\"],\"at_m\":[%.6f,%.6f]}",
                             *any ? "," : "", a, b, x_m, y_m);
    *any = true;
}

/* Each room has a door to the left or upwards; others by chance. */
static void put_doors(const struct plan *plan, struct text *out)
{
    bool any = false;
    for (size_t i = 1; i < plan->columns * plan->rows; i++) {
        size_t column = i % plan->columns;
        size_t row = i / plan->columns;
        bool left = column > 0;
        bool up = row > 0;
        bool prefer_left = rng_bits(plan->key, 100 + i) % 2;
        bool both = rng_bits(plan->key, 120 + i) % 10 < 4;
        double part = house_between(plan->key, 140 + i, 0.2, 0.8);
        if (left && (!up || prefer_left || both)) {
            double y = plan->y_m[row] + part * (plan->y_m[row + 1] - plan->y_m[row]);
            put_door(out, i - 1, i, plan->x_m[column], y, &any);
        }
        if (up && (!left || !prefer_left || both)) {
            double x = plan->x_m[column] + part * (plan->x_m[column + 1] - plan->x_m[column]);
            put_door(out, i - plan->columns, i, x, plan->y_m[row], &any);
        }
    }
    if (plan->cellar) {
        put_door(out, 0, plan->columns * plan->rows, 0.5 * (plan->x_m[0] + plan->x_m[1]),
                 0.5 * (plan->y_m[0] + plan->y_m[1]), &any);
    }
}

static void put_node(const struct plan *plan, struct text *out, size_t node, size_t room,
                     double rate_hz, bool control)
{
    uint64_t key = rng_key(plan->key, 7, node);
    bool below = room == plan->columns * plan->rows;
    size_t column = below ? 0 : room % plan->columns;
    size_t row = below ? 0 : room / plan->columns;
    double x = house_between(key, 0, plan->x_m[column] + 0.4, plan->x_m[column + 1] - 0.4);
    double y = house_between(key, 1, plan->y_m[row] + 0.4, plan->y_m[row + 1] - 0.4);
    (void)text_append_format(out,
                             "%s{\"id\":\"n%zu\",\"room\":\"r%zu\",\"position_m\":[%.3f,%.3f,%.3f],"
                             "\"control\":%s,\"clock_error_s\":%.4f,\"channels\":[",
                             node ? "," : "", node, room, x, y, house_between(key, 2, 0.5, 1.5),
                             control ? "true" : "false", house_between(key, 3, 0.0005, 0.004));
    static const char *const fields[] = {"magnetic.x\",\"unit\":\"T", "magnetic.y\",\"unit\":\"T",
                                         "magnetic.z\",\"unit\":\"T",
                                         "electric\",\"unit\":\"count"};
    for (size_t i = 0; i < 4; i++) {
        (void)text_append_format(out, "{\"name\":\"%s\",\"rate_hz\":%.0f},", fields[i], rate_hz);
    }
    (void)text_append_format(out, "{\"name\":\"temperature\",\"unit\":\"Cel\",\"rate_hz\":1},"
                                  "{\"name\":\"motion\",\"unit\":\"/\",\"rate_hz\":0}]}");
}

static void put_site(const struct plan *plan, double rate_hz, struct text *out)
{
    size_t rooms = plan->columns * plan->rows + plan->cellar;
    size_t nodes = rooms + rng_bits(plan->key, 5) % 4;
    (void)text_append_format(out,
                             "{\"site\":\"bench\",\"title\":\"Bench\",\"mains_hz\":%.0f,"
                             "\"baseline_s\":%.0f,\"rooms\":[",
                             plan->mains_hz, BENCH_BASELINE_S);
    put_rooms(plan, out);
    (void)text_append_format(out, "],\"doors\":[");
    put_doors(plan, out);
    (void)text_append_format(out, "],\"nodes\":[");
    for (size_t node = 0; node < nodes; node++) {
        put_node(plan, out, node, node % rooms, rate_hz, node + 1 == rooms);
    }
    (void)text_append_format(out, "]}");
}

static void put_settings(const struct plan *plan, struct house *house)
{
    uint64_t key = rng_key(plan->key, 9, 0);
    double width = plan->x_m[plan->columns];
    (void)snprintf(
        house->settings, sizeof house->settings,
        "\"mains\":{\"hz\":%.0f,\"wander_hz\":%.3f,\"wobble\":%.4f,\"pickup_counts\":%.0f},"
        "\"earth\":{\"total_t\":%.3g,\"dip_deg\":%.0f,\"north_deg\":%.0f},"
        "\"motion\":{\"range_m\":%.1f,\"hold_s\":%.1f,\"blind_s\":%.1f,\"latency_s\":%.2f,"
        "\"false_per_hour\":%.2f},"
        "\"noise\":{\"magnetic_counts\":%.1f,\"electric_counts\":%.1f,\"slow\":%.2f},"
        "\"wires\":[{\"id\":\"supply\",\"through_m\":[%.2f,%.2f,0.3],\"along\":[0,0,1],"
        "\"standing_amps\":%.2f},{\"id\":\"ring\",\"through_m\":[%.2f,%.2f,0.3],"
        "\"along\":[1,0,0],\"fed_by\":\"supply\"}]",
        plan->mains_hz, house_between(key, 0, 0.005, 0.03), house_between(key, 1, 0.002, 0.01),
        house_between(key, 2, 20.0, 60.0), house_between(key, 3, 3.5e-5, 6e-5),
        house_between(key, 4, 30.0, 75.0), house_between(key, 5, 0.0, 360.0),
        house_between(key, 6, 3.5, 6.0), house_between(key, 7, 1.5, 4.0),
        house_between(key, 8, 1.0, 4.0), house_between(key, 9, 0.05, 0.3),
        house_between(key, 10, 0.0, 0.5), house_between(key, 11, 2.0, 8.0),
        house_between(key, 12, 1.0, 4.0), house_between(key, 13, 0.05, 0.2),
        house_between(key, 14, 0.1, width - 0.1), house_between(key, 15, 0.1, plan->y_m[1]),
        house_between(key, 16, 0.2, 1.0), 0.5 * width, house_between(key, 17, 0.1, 0.5));
}

int house_build(uint64_t seed, struct house *house, struct error *error)
{
    static const double rates_hz[] = {64.0, 100.0, 125.0, 200.0, 250.0};
    struct plan plan = {.key = rng_key(seed, 1, 2)};
    struct text text = {0};
    *house = (struct house){.seed = seed};
    house->rate_hz = rates_hz[rng_bits(plan.key, 6) % 5];
    draw_plan(&plan);
    put_site(&plan, house->rate_hz, &text);
    put_settings(&plan, house);
    int status = text.failed ? error_set(error, ERROR_MEMORY, "out of memory")
                             : site_parse(text.bytes, text.length, "house", &house->site, error);
    text_free(&text);
    return status;
}

void house_free(struct house *house)
{
    site_free(house->site);
    house->site = NULL;
}

static bool door_between(const struct site *site, size_t a, size_t b)
{
    for (size_t i = 0; i < site->door_count; i++) {
        const struct site_door *door = &site->doors[i];
        if ((door->rooms[0] == a && door->rooms[1] == b) ||
            (door->rooms[0] == b && door->rooms[1] == a)) {
            return true;
        }
    }
    return false;
}

size_t house_way(const struct house *house, uint64_t key, size_t rooms[BENCH_WAY_MAX])
{
    size_t wanted = 3 + rng_bits(key, 900) % 2;
    size_t count = 0;
    for (uint64_t attempt = 0; attempt < 40; attempt++) {
        count = 1;
        rooms[0] = rng_bits(key, 901 + 50 * attempt) % house->site->room_count;
        for (uint64_t turn = 0; turn < 40 && count < wanted; turn++) {
            size_t next = rng_bits(key, 902 + 50 * attempt + turn) % house->site->room_count;
            bool fresh = door_between(house->site, rooms[count - 1], next);
            for (size_t i = 0; i < count; i++) {
                fresh &= rooms[i] != next;
            }
            if (fresh) {
                rooms[count++] = next;
            }
        }
        if (count >= (attempt < 20 ? wanted : 2)) {
            return count;
        }
    }
    return count;
}
