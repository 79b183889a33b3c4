/* The outcome of correlate is the same whatever the order of telling and the steps of advancing,
 * and comes fast. Must never seed from a clock. */
#include "tests/unit/correlate/house.h"

#include <time.h>

#define ONSETS 600
#define MANY 1500
#define TOLD_MAX 4096

/* Every telling as text, so that two runs compare to the byte. */
struct script {
    size_t count;
    char lines[TOLD_MAX][160];
};

static void script_add(struct script *script, const char *line)
{
    if (script->count < TOLD_MAX) {
        snprintf(script->lines[script->count++], 160, "%s", line);
    }
}

static void on_disturbance(void *context, const struct disturbance *d)
{
    char line[160];
    snprintf(line, sizeof line, "open %lld %u %s %lld", (long long)d->id, (unsigned)d->node,
             d->quantity_text, (long long)d->onset_ns);
    script_add(context, line);
}

static void on_ended(void *context, const struct disturbance *d)
{
    char line[160];
    snprintf(line, sizeof line, "end %lld %lld", (long long)d->id, (long long)d->end_ns);
    script_add(context, line);
}

static void on_coincidence(void *context, const struct coincidence *c)
{
    char line[160];
    long long ids = 0;
    for (size_t i = 0; i < c->member_count; i++) {
        ids = ids * 31 + (long long)c->members[i].id;
        ids %= 1000000007;
    }
    snprintf(line, sizeof line, "found %lld %d %zu %lld %d %.17g %.17g %d %lld %d",
             (long long)c->id, (int)c->kind, c->member_count, ids, (int)c->verdict.cause,
             c->chance.per_night, c->speed.value_m_s, c->final, (long long)c->mark_id,
             c->first_known);
    script_add(context, line);
}

static uint64_t next_random(uint64_t *state)
{
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    return *state;
}

static void shuffle(size_t *order, size_t count, uint64_t *random)
{
    for (size_t i = count; i > 1; i--) {
        size_t j = next_random(random) % i;
        size_t kept = order[i - 1];
        order[i - 1] = order[j];
        order[j] = kept;
    }
}

/* Onsets of all kinds, crowded enough that many chains and prompt coincidences form. */
static void make_onsets(struct disturbance *onsets, size_t count, uint32_t nodes, double mean_s)
{
    static const enum quantity kinds[4] = {QUANTITY_MAGNETIC, QUANTITY_ELECTRIC, QUANTITY_MOTION,
                                           QUANTITY_TEMPERATURE};
    uint64_t random = 88172645463325252u;
    double now = 1.0;
    for (size_t i = 0; i < count; i++) {
        uint64_t roll = next_random(&random);
        now += (roll % 8 == 0) ? 0.0 : mean_s * 2.0 * (double)(roll >> 40) / (double)(1 << 24);
        onsets[i] = house_see((uint32_t)(roll % nodes), kinds[(roll >> 8) % 4], now);
        onsets[i].band = (roll >> 12) % 5 == 0 ? BAND_MAINS : BAND_REST;
        onsets[i].onset_ns += (int64_t)i; /* no two the same */
    }
}

static void run(const struct house *house, const struct disturbance *onsets, size_t count,
                uint64_t seed, struct script *script)
{
    struct correlator_sink sink = {script, on_disturbance, on_ended, on_coincidence, NULL, NULL};
    struct correlator *correlator = NULL;
    struct error error;
    size_t *order = malloc(count * sizeof *order);
    for (size_t i = 0; i < count; i++) {
        order[i] = i;
    }
    uint64_t random = seed * 2654435769u + 1;
    assert_int_equal(correlator_new(&house->site, &sink, &correlator, &error), 0);
    struct mark mark = {.id = 1, .start_ns = at_s(100), .end_ns = at_s(140), .noted_ns = at_s(90)};
    assert_int_equal(correlator_mark(correlator, &mark, &error), 0);
    size_t from = 0;
    while (from < count) {
        /* A stretch of onsets in any order, some closed at once, then advance so far. */
        size_t to = seed ? from + 1 + next_random(&random) % 40 : count;
        to = to > count ? count : to;
        shuffle(order + from, to - from, &random);
        for (size_t i = from; i < to; i++) {
            const struct disturbance *seen = &onsets[order[i]];
            assert_int_equal(correlator_open(correlator, seen, &error), 0);
        }
        for (size_t i = from; i < to; i++) {
            struct disturbance ended =
                house_ended(onsets[order[i]], 0.2 + 0.1 * (double)(order[i] % 30));
            correlator_close(correlator, &ended);
        }
        if (to < count) {
            assert_int_equal(correlator_advance(correlator, onsets[to].onset_ns, &error), 0);
        }
        from = to;
    }
    assert_int_equal(correlator_finish(correlator, &error), 0);
    correlator_free(correlator);
    free(order);
}

static void order_of_telling_and_steps_do_not_show(void **state)
{
    (void)state;
    struct house house;
    house_build(&house, 6);
    struct disturbance *onsets = calloc(ONSETS, sizeof *onsets);
    struct script *reference = calloc(1, sizeof *reference);
    struct script *other = calloc(1, sizeof *other);
    assert_true(onsets && reference && other);
    make_onsets(onsets, ONSETS, 6, 2.0);
    run(&house, onsets, ONSETS, 0, reference);
    size_t found = 0;
    for (size_t i = 0; i < reference->count; i++) {
        found += strncmp(reference->lines[i], "found", 5) == 0;
    }
    assert_true(found > 50 && reference->count < TOLD_MAX);
    for (uint64_t seed = 1; seed <= 8; seed++) {
        memset(other, 0, sizeof *other);
        run(&house, onsets, ONSETS, seed, other);
        assert_int_equal(other->count, reference->count);
        for (size_t i = 0; i < reference->count; i++) {
            assert_string_equal(other->lines[i], reference->lines[i]);
        }
    }
    free(onsets);
    free(reference);
    free(other);
}

static void a_busy_night_of_twelve_nodes_is_told(void **state)
{
    (void)state;
    struct house house;
    house_build(&house, 12);
    struct disturbance *onsets = calloc(MANY, sizeof *onsets);
    struct script *script = calloc(1, sizeof *script);
    assert_true(onsets && script);
    make_onsets(onsets, MANY, 12, 19.2); /* a night of 8 h */
    clock_t begin = clock();
    run(&house, onsets, MANY, 1, script);
    double seconds = (double)(clock() - begin) / CLOCKS_PER_SEC;
    print_message("%d onsets of 12 nodes: %.3f s of processor\n", MANY, seconds);
    assert_true(script->count > MANY / 10);
    free(onsets);
    free(script);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(order_of_telling_and_steps_do_not_show),
        cmocka_unit_test(a_busy_night_of_twelve_nodes_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
