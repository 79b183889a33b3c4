/* Time slides: that they group as the correlator does, count what the formulas say where those
 * hold, and what they don't where they don't. Must never draw on a clock: seeds are constants. */
#include "tests/unit/correlate/house.h"

#include "collector/correlate/chance.h"
#include "collector/correlate/limits.h"
#include "collector/correlate/slides_book.h"

#define NIGHT_S 28800.0
#define ONSETS_MAX 4000

struct random {
    uint64_t state;
};

static double random_part(struct random *random)
{
    random->state ^= random->state << 13;
    random->state ^= random->state >> 7;
    random->state ^= random->state << 17;
    return (double)(random->state >> 11) * 0x1p-53;
}

static struct house house;
static struct disturbance seen[ONSETS_MAX];
static size_t seen_count;

static int by_onset(const void *a, const void *b)
{
    const struct disturbance *left = a;
    const struct disturbance *right = b;
    if (left->onset_ns != right->onset_ns) {
        return left->onset_ns < right->onset_ns ? -1 : 1;
    }
    return (left->node > right->node) - (left->node < right->node);
}

static void see(uint32_t node, enum quantity quantity, double at)
{
    assert_true(seen_count < ONSETS_MAX);
    seen[seen_count++] = house_see(node, quantity, at);
}

static void see_poisson(struct random *random, enum quantity quantity, double per_hour)
{
    for (uint32_t node = 0; node < house.site.node_count; node++) {
        double at = 0.0;
        while ((at -= log(1.0 - random_part(random)) * 3600.0 / per_hour) < NIGHT_S) {
            see(node, quantity, at);
        }
    }
}

static void sort_seen(void)
{
    qsort(seen, seen_count, sizeof seen[0], by_onset);
    for (size_t i = 0; i < seen_count; i++) {
        seen[i].id = (int64_t)i + 1;
    }
}

static void slide_times(size_t slides, struct slides_result *result)
{
    static struct slides_onset onsets[ONSETS_MAX];
    int64_t live_from_ns[HOUSE_MAX];
    struct layout *layout = NULL;
    struct error error;
    sort_seen();
    for (size_t i = 0; i < seen_count; i++) {
        onsets[i] = slides_onset_of(&seen[i]);
    }
    for (size_t node = 0; node < HOUSE_MAX; node++) {
        live_from_ns[node] = HOUSE_T0;
    }
    assert_int_equal(layout_new(&house.site, &layout, &error), 0);
    struct slides_night night = {layout,        onsets, seen_count, live_from_ns,
                                 at_s(NIGHT_S), slides, NULL};
    assert_int_equal(slides_run(&night, result, &error), 0);
    layout_free(layout);
}

static void slide(struct slides_result *result)
{
    slide_times(SLIDES_LEAST, result);
}

/* Nodes so close together that hardly a hop fits: prompt coincidences alone. */
static void huddle(void)
{
    for (size_t i = 0; i < house.site.node_count; i++) {
        house.nodes[i].position_m[0] = 2.5 + 1e-3 * (double)i;
        house.nodes[i].room = 0;
    }
}

static int fresh(void **state)
{
    (void)state;
    house_build(&house, 6);
    seen_count = 0;
    return 0;
}

struct told {
    size_t count;
    struct slides_finding findings[ONSETS_MAX];
};

static void told_coincidence(void *context, const struct coincidence *coincidence)
{
    struct told *told = context;
    if (coincidence->final && !coincidence->again) {
        struct slides_finding *finding = &told->findings[told->count++];
        finding->first_id = coincidence->members[0].id;
        finding->nodes = coincidence->node_count;
        finding->kind = coincidence->kind;
    }
}

static void told_nothing(void *context, const struct disturbance *disturbance)
{
    (void)context;
    (void)disturbance;
}

static int by_first(const void *a, const void *b)
{
    const struct slides_finding *left = a;
    const struct slides_finding *right = b;
    return (left->first_id > right->first_id) - (left->first_id < right->first_id);
}

static void correlate(struct told *told)
{
    struct correlator_sink sink = {told, told_nothing, told_nothing, told_coincidence, NULL, NULL};
    struct correlator *correlator = NULL;
    struct error error;
    assert_int_equal(correlator_new(&house.site, &sink, &correlator, &error), 0);
    for (size_t i = 0; i < seen_count; i++) {
        house_tell(correlator, seen[i], 0.5);
    }
    house_finish(correlator);
    qsort(told->findings, told->count, sizeof told->findings[0], by_first);
}

static void see_mixture(struct random *random)
{
    see_poisson(random, QUANTITY_MAGNETIC, 12.0);
    see_poisson(random, QUANTITY_ELECTRIC, 12.0);
    see_poisson(random, QUANTITY_MOTION, 15.0);
    see_poisson(random, QUANTITY_TEMPERATURE, 3.0);
    for (double at = 100.0; at < NIGHT_S; at += 700.0) {
        for (uint32_t node = 0; node < 6; node++) {
            see(node, node % 2 ? QUANTITY_ELECTRIC : QUANTITY_MAGNETIC,
                at + 0.2 * random_part(random));
            see(node, QUANTITY_MOTION, at + 300.0 + 4.0 * node + 2.0 * random_part(random));
        }
    }
}

static void slides_group_an_unshifted_night_as_the_correlator_does(void **state)
{
    (void)state;
    static struct told told;
    struct random random = {88172645463325252u};
    struct slides_result result;
    memset(&told, 0, sizeof told);
    see_mixture(&random);
    slide_times(1, &result);
    correlate(&told);
    assert_true(told.count > 300);
    size_t alike = 0;
    for (size_t i = 0, j = 0; i < told.count; i++) {
        while (j < result.count && result.findings[j].first_id < told.findings[i].first_id) {
            j++;
        }
        alike += j < result.count && result.findings[j].first_id == told.findings[i].first_id &&
                 result.findings[j].nodes == told.findings[i].nodes &&
                 result.findings[j].kind == told.findings[i].kind;
    }
    assert_int_equal(alike, told.count);
    assert_int_equal(result.count, told.count);
    slides_result_free(&result);
}

static const struct slides_finding *loosest(const struct slides_result *result, size_t nodes)
{
    const struct slides_finding *found = NULL;
    for (size_t i = 0; i < result->count; i++) {
        const struct slides_finding *finding = &result->findings[i];
        if (finding->kind == COINCIDENCE_PROMPT && finding->nodes == nodes &&
            (!found || finding->chance.per_night > found->chance.per_night)) {
            found = finding;
        }
    }
    assert_non_null(found);
    return found;
}

static void poisson_onsets_give_the_formulas_rate(void **state)
{
    (void)state;
    struct random random = {1234567890123457u};
    struct slides_result result;
    double rates[6];
    huddle();
    see_poisson(&random, QUANTITY_ELECTRIC, 20.0);
    slide(&result);
    for (size_t node = 0; node < 6; node++) {
        rates[node] = 0.0;
        for (size_t i = 0; i < seen_count; i++) {
            rates[node] += seen[i].node == node ? 1.0 / NIGHT_S : 0.0;
        }
    }
    double tau_s = 0.25 + 2e-3 * sqrt(2.0);
    double pairs = chance_prompt_hz(rates, 6, 2, tau_s) * CHANCE_NIGHT_S;
    assert_int_equal(result.slides, SLIDES_LEAST);
    /* The loosest pair of the night stands for nearly all of them. */
    assert_close(loosest(&result, 2)->chance.per_night, pairs, 0.1 * pairs);
    slides_result_free(&result);
}

static void a_shared_cycle_does_not_lend_its_beat_to_the_slides(void **state)
{
    (void)state;
    struct slides_result result;
    huddle();
    /* Every node at the same beat, each 2 s after the one before: together never but once. */
    for (uint32_t node = 0; node < 6; node++) {
        for (double at = 60.0; at < NIGHT_S - 20.0; at += 600.0) {
            see(node, QUANTITY_ELECTRIC, at + 2.0 * node);
        }
    }
    see(0, QUANTITY_ELECTRIC, 5000.0);
    see(1, QUANTITY_ELECTRIC, 5000.24);
    slide(&result);
    double rates[6];
    for (size_t node = 0; node < 6; node++) {
        rates[node] = (48.0 + (node < 2)) / NIGHT_S;
    }
    double pairs = chance_prompt_hz(rates, 6, 2, 0.2528) * CHANCE_NIGHT_S;
    assert_int_equal(result.count, 1);
    assert_close(result.findings[0].chance.per_night, pairs, 0.2 * pairs);
    slides_result_free(&result);
}

static void busy_hours_count_as_busy_hours(void **state)
{
    (void)state;
    struct random random = {424242424242u};
    struct slides_result result;
    huddle();
    /* All that happens happens within one hour: eight times the evenly spread rate. */
    for (uint32_t node = 0; node < 6; node++) {
        for (int i = 0; i < 40; i++) {
            see(node, QUANTITY_ELECTRIC, 7200.0 + 3600.0 * random_part(&random));
        }
    }
    slide(&result);
    double rates[6];
    for (size_t node = 0; node < 6; node++) {
        rates[node] = 40.0 / NIGHT_S;
    }
    double even = chance_prompt_hz(rates, 6, 2, 0.2528) * CHANCE_NIGHT_S;
    assert_true(loosest(&result, 2)->chance.per_night > 6.0 * even);
    assert_true(loosest(&result, 2)->chance.per_night < 10.0 * even);
    slides_result_free(&result);
}

static void what_five_nodes_saw_at_once_stands_out(void **state)
{
    (void)state;
    struct random random = {987654321987u};
    struct slides_result result;
    struct slides_result again;
    see_poisson(&random, QUANTITY_MAGNETIC, 3.0);
    for (uint32_t node = 0; node < 5; node++) {
        see(node, QUANTITY_MAGNETIC, 9000.0 + 0.01 * node);
    }
    slide(&result);
    const struct slides_finding *five = loosest(&result, 5);
    assert_int_equal(five->chance.method, CHANCE_TIME_SLIDES);
    assert_true(five->chance.per_night <= 1.0 / SLIDES_LEAST);
    assert_true(five->chance.p_value < 0.002);
    assert_true(five->chance.p_value >= 1.0 / (1.0 + SLIDES_LEAST));
    slide(&again);
    assert_int_equal(again.count, result.count);
    for (size_t i = 0; i < result.count; i++) {
        assert_memory_equal(&again.findings[i].chance, &result.findings[i].chance,
                            2 * sizeof(double));
    }
    slides_result_free(&result);
    slides_result_free(&again);
}

static void a_short_or_silent_night_is_not_slid(void **state)
{
    (void)state;
    struct slides_result result;
    slide(&result);
    assert_int_equal(result.slides, 0);
    see(0, QUANTITY_MAGNETIC, 10.0);
    slide(&result);
    assert_int_equal(result.slides, 0);
    see(0, QUANTITY_MAGNETIC, 20.0);
    slide(&result);
    assert_int_equal(result.slides, 0);
    see(1, QUANTITY_MAGNETIC, NIGHT_S + 1.0); /* beyond the end */
    slide(&result);
    assert_int_equal(result.slides, 0);
    assert_int_equal(result.count, 0);
}

static void the_correlator_tells_the_chances_once_it_has_finished(void **state)
{
    (void)state;
    static struct heard heard;
    struct error error;
    memset(&heard, 0, sizeof heard);
    struct correlator *correlator = house_correlator(&house, &heard);
    for (uint32_t node = 0; node < 3; node++) {
        house_tell(correlator, house_see(node, QUANTITY_MAGNETIC, 600.0 + 0.01 * node), 1.0);
        house_tell(correlator, house_see(node, QUANTITY_MAGNETIC, 2000.0 + 500.0 * node), 1.0);
    }
    assert_int_equal(correlator_finish(correlator, &error), 0);
    assert_int_equal(heard.count, 1);
    assert_int_equal(heard.finals[0].chance.method, CHANCE_ANALYTIC);
    assert_int_equal(correlator_slide(correlator, at_s(1000.0), &error), 0);
    assert_int_equal(heard.chances, 0);
    assert_int_equal(correlator_slide(correlator, at_s(7200.0), &error), 0);
    assert_int_equal(heard.chances, 1);
    assert_int_equal(heard.finals[0].chance.method, CHANCE_TIME_SLIDES);
    correlator_free(correlator);
}

static size_t unsteady_count;

static void told_unsteady(void *context, uint32_t node, int64_t time_ns, const char *text)
{
    (void)context;
    (void)time_ns;
    assert_int_equal(node, 2);
    assert_non_null(strstr(text, "come in bunches: "));
    unsteady_count++;
}

static void onsets_in_bunches_are_told(void **state)
{
    (void)state;
    struct random random = {5550123u};
    struct layout *layout = NULL;
    struct slides_book *book = NULL;
    struct error error;
    see_poisson(&random, QUANTITY_ELECTRIC, 4.0);
    for (int i = 0; i < 40; i++) {
        see(2, QUANTITY_ELECTRIC, 9000.0 + 5.0 * i);
    }
    sort_seen();
    assert_int_equal(layout_new(&house.site, &layout, &error), 0);
    assert_int_equal(slides_book_new(6, &book, &error), 0);
    for (uint32_t node = 0; node < 6; node++) {
        slides_book_watch(book, node, HOUSE_T0);
    }
    for (size_t i = 0; i < seen_count; i++) {
        assert_int_equal(slides_book_onset(book, &seen[i], &error), 0);
    }
    struct slides_sink sink = {NULL, NULL, told_unsteady};
    assert_int_equal(
        slides_book_close(book, layout, house_away(&house.site), at_s(NIGHT_S), &sink, &error), 0);
    assert_int_equal(unsteady_count, 1);
    slides_book_free(book);
    layout_free(layout);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(slides_group_an_unshifted_night_as_the_correlator_does, fresh),
        cmocka_unit_test_setup(poisson_onsets_give_the_formulas_rate, fresh),
        cmocka_unit_test_setup(a_shared_cycle_does_not_lend_its_beat_to_the_slides, fresh),
        cmocka_unit_test_setup(busy_hours_count_as_busy_hours, fresh),
        cmocka_unit_test_setup(what_five_nodes_saw_at_once_stands_out, fresh),
        cmocka_unit_test_setup(a_short_or_silent_night_is_not_slid, fresh),
        cmocka_unit_test_setup(onsets_in_bunches_are_told, fresh),
        cmocka_unit_test_setup(the_correlator_tells_the_chances_once_it_has_finished, fresh),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
