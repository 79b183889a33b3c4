/* What the sensors of the simulated building read, against the physics that they stand for. */
#include "tests/unit/world/house.h"

#include "node/world/field.h"
#include "node/world/radio.h"

#define PERIOD_PS INT64_C(4000000000) /* 250 Hz */
#define STEP_T 1.5e-8
#define SQRT2 1.41421356237309504880
#define WIRE ",\"wires\":[{\"id\":\"ring\",\"through_m\":[3,0,1],\"along\":[1,0,0]}]"
#define LOAD                                                                                       \
    ",\"events\":[{\"at_s\":10,\"kind\":\"load\",\"wire\":\"ring\",\"amps\":80,\"for_s\":20}]"
#define WALK                                                                                       \
    ",\"events\":[{\"at_s\":10,\"kind\":\"walk\",\"from\":\"hall\","                               \
    "\"via\":[\"passage\",\"kitchen\"],\"speed_m_s\":1.25,\"steel\":true,\"steel_a_m2\":50}]"
#define LIVELY                                                                                     \
    "{\"version\":1,\"seed\":11,\"length_s\":600,"                                                 \
    "\"heating\":{\"on_s\":50,\"off_s\":70,\"rise_c\":3,\"lag_s\":60}" WIRE                        \
    ",\"motion\":{\"false_per_hour\":60},"                                                         \
    "\"events\":[{\"at_s\":1.1,\"kind\":\"load\",\"wire\":\"ring\",\"amps\":8,\"for_s\":2},"       \
    "{\"at_s\":2,\"kind\":\"walk\",\"from\":\"hall\",\"via\":[\"passage\"],\"speed_m_s\":1,"       \
    "\"steel\":true},{\"at_s\":3,\"kind\":\"phone\",\"room\":\"hall\",\"for_s\":2},"               \
    "{\"at_s\":4.3,\"kind\":\"pulse\",\"at_m\":[2,2,1],\"moment_a_m2\":[0,5,30]},"                 \
    "{\"at_s\":5,\"kind\":\"stuck\",\"node\":\"n1\",\"channel\":\"magnetic.y\",\"for_s\":1}]}"

static void the_mains_at_a_node_is_what_the_wires_formula_gives(void **state)
{
    (void)state;
    struct house house;
    static int32_t counts[1000];
    house_build(&house, HOUSE_QUIET(WIRE LOAD));
    for (size_t node = 0; node < 3; node++) {
        /* The wire runs along x at y 0, z 1; every node is 3 m off, at its height: the field is
         * along z. */
        double peak = SQRT2 * field_wire_t(80.0, 3.0);
        world_sampler_read(house.samplers[node], HOUSE_Z, 12 * NS_PER_S, PERIOD_PS, counts, 1000);
        assert_close(house_amplitude(counts, 1000, 50.0, 250.0) * STEP_T, peak, 0.002 * peak);
        world_sampler_read(house.samplers[node], HOUSE_X, 12 * NS_PER_S, PERIOD_PS, counts, 1000);
        assert_close(house_amplitude(counts, 1000, 50.0, 250.0), 0.0, 0.1);
        world_sampler_read(house.samplers[node], HOUSE_Z, 5 * NS_PER_S, PERIOD_PS, counts, 1000);
        assert_close(house_amplitude(counts, 1000, 50.0, 250.0), 0.0, 0.1);
        assert_close(house_truth(&house, node, EVENT_LOAD, QUANTITY_MAGNETIC)->amplitude, peak,
                     1e-4 * peak);
    }
    house_free(&house);
}

static void a_load_is_seen_from_its_very_moment_on(void **state)
{
    (void)state;
    struct house house;
    house_build(&house, HOUSE_QUIET(WIRE LOAD));
    /* At 10 s the mains' phase is 0: the field jumps to its crest. */
    double before = world_sampler_value(house.samplers[0], HOUSE_Z, 10 * NS_PER_S - 1);
    double after = world_sampler_value(house.samplers[0], HOUSE_Z, 10 * NS_PER_S);
    assert_close(after - before, SQRT2 * field_wire_t(80.0, 3.0), 1e-11);
    assert_close(world_sampler_value(house.samplers[0], HOUSE_Z, 30 * NS_PER_S), before, 1e-8);
    house_free(&house);
}

static void the_resting_field_is_earths(void **state)
{
    (void)state;
    struct house house;
    double earth[3];
    house_build(&house, HOUSE_QUIET(""));
    field_earth(4.9e-5, 66.0, 90.0, earth);
    for (size_t axis = 0; axis < 3; axis++) {
        int32_t count;
        world_sampler_read(house.samplers[0], axis, 0, PERIOD_PS, &count, 1);
        assert_close(count * STEP_T, earth[axis], 3e-8);
    }
    house_free(&house);
}

static void the_same_seed_gives_the_same_counts_and_another_seed_others(void **state)
{
    (void)state;
    struct house house;
    struct house again;
    struct house other;
    int32_t a[500];
    int32_t b[500];
    int32_t c[500];
    char changed[sizeof LIVELY];
    memcpy(changed, LIVELY, sizeof changed);
    memcpy(strstr(changed, "\"seed\":11"), "\"seed\":12", 9);
    house_build(&house, LIVELY);
    house_build(&again, LIVELY);
    house_build(&other, changed);
    /* The second world is asked about other things first: it has no position in time. */
    world_sampler_read(again.samplers[1], HOUSE_ELECTRIC, 77 * NS_PER_S, PERIOD_PS, b, 100);
    world_sampler_read(again.samplers[0], HOUSE_X, 50 * NS_PER_S, PERIOD_PS, b, 100);
    for (size_t channel = 0; channel < 7; channel++) {
        world_sampler_read(house.samplers[0], channel, NS_PER_S, PERIOD_PS, a, 500);
        world_sampler_read(again.samplers[0], channel, NS_PER_S, PERIOD_PS, b, 500);
        world_sampler_read(other.samplers[0], channel, NS_PER_S, PERIOD_PS, c, 500);
        assert_memory_equal(a, b, sizeof a);
        assert_true(channel == HOUSE_MOTION || memcmp(a, c, sizeof a) != 0);
    }
    house_free(&house);
    house_free(&again);
    house_free(&other);
}

static void how_reads_are_cut_does_not_matter(void **state)
{
    (void)state;
    enum { N = 2000 };
    struct house house;
    struct house cut;
    static int32_t whole[N];
    static int32_t parts[N];
    const int64_t periods_ps[] = {PERIOD_PS, INT64_C(3999860004), INT64_C(5000171717)};
    house_build(&house, LIVELY);
    house_build(&cut, LIVELY);
    for (size_t p = 0; p < 3; p++) {
        for (size_t channel = 0; channel < 7; channel++) {
            world_sampler_read(house.samplers[0], channel, NS_PER_S / 3, periods_ps[p], whole, N);
            for (size_t i = 0; i < N;) {
                size_t n = 1 + (i * 31) % 97;
                n = n < N - i ? n : N - i;
                int64_t t0 = NS_PER_S / 3 + ((int64_t)i * periods_ps[p] + 500) / 1000;
                world_sampler_read(cut.samplers[0], channel, t0, periods_ps[p], parts + i, n);
                i += n;
            }
            for (size_t i = 0; i < N; i++) {
                /* Rounding of a cut's first time to whole ns may move a value across a step. */
                int32_t apart = p == 0 ? 0 : 1;
                assert_true(abs(whole[i] - parts[i]) <= apart);
            }
        }
    }
    house_free(&house);
    house_free(&cut);
}

static void a_run_of_samples_is_what_single_looks_show(void **state)
{
    (void)state;
    enum { N = 1500 };
    struct house house;
    static int32_t counts[N];
    house_build(&house, "{\"version\":1,\"seed\":2,\"mains\":{\"wobble\":0.4},"
                        "\"noise\":{\"magnetic_counts\":0,\"gain_error\":0},"
                        "\"wires\":[{\"id\":\"ring\",\"through_m\":[3,0,1],\"along\":[1,0,0],"
                        "\"standing_amps\":100}],"
                        "\"events\":[{\"at_s\":1,\"kind\":\"magnet\",\"from\":\"hall\","
                        "\"via\":[\"passage\"],\"speed_m_s\":1.3,\"moment_a_m2\":[0,0,20]}]}");
    world_sampler_read(house.samplers[0], HOUSE_Z, 0, PERIOD_PS, counts, N);
    for (int64_t i = 0; i < N; i++) {
        double value = world_sampler_value(house.samplers[0], HOUSE_Z, i * 4000000);
        assert_close(counts[i], value / STEP_T, 0.5 + 1e-6);
    }
    house_free(&house);
}

static void noise_is_as_strong_as_the_script_says_and_differs_between_nodes(void **state)
{
    (void)state;
    enum { N = 20000 };
    struct house house;
    static int32_t a[N];
    static int32_t b[N];
    house_build(&house, "{\"version\":1,\"seed\":4,\"noise\":{\"slow\":0}}");
    world_sampler_read(house.samplers[0], HOUSE_X, 0, PERIOD_PS, a, N);
    world_sampler_read(house.samplers[1], HOUSE_X, 0, PERIOD_PS, b, N);
    double mean[2] = {0.0, 0.0};
    double squares = 0.0;
    double together = 0.0;
    for (int i = 0; i < N; i++) {
        mean[0] += (double)a[i] / N;
        mean[1] += (double)b[i] / N;
    }
    for (int i = 0; i < N; i++) {
        squares += (a[i] - mean[0]) * (a[i] - mean[0]) / N;
        together += (a[i] - mean[0]) * (b[i] - mean[1]) / N;
    }
    assert_close(sqrt(squares), 4.0, 0.15);
    assert_close(together / squares, 0.0, 0.04);
    house_free(&house);
}

static void a_walkers_true_passing_times_give_the_walkers_speed(void **state)
{
    (void)state;
    struct house house;
    house_build(&house, HOUSE_QUIET(WALK));
    int64_t passed[3];
    for (size_t node = 0; node < 3; node++) {
        const struct world_truth *motion = house_truth(&house, node, EVENT_WALK, QUANTITY_MOTION);
        const struct world_truth *steel = house_truth(&house, node, EVENT_WALK, QUANTITY_MAGNETIC);
        assert_non_null(motion);
        assert_non_null(steel);
        assert_true(motion->onset_ns <= motion->peak_ns && motion->peak_ns <= motion->end_ns);
        assert_close((double)(steel->peak_ns - motion->peak_ns) / 1e9, 0.0, 0.4);
        passed[node] = motion->peak_ns;
    }
    /* The way runs along y = 2 from x = 2 to 10; the nodes are at x = 3, 6, 9. */
    assert_close(3.0 / ((double)(passed[1] - passed[0]) / 1e9), 1.25, 1e-6);
    assert_close(3.0 / ((double)(passed[2] - passed[1]) / 1e9), 1.25, 1e-6);
    house_free(&house);
}

static void motion_rises_room_after_room_and_falls_after_the_hold(void **state)
{
    (void)state;
    struct house house;
    struct world_change changes[8];
    int64_t before = 0;
    house_build(&house, HOUSE_QUIET(WALK ",\"motion\":{\"range_m\":5,\"hold_s\":2,\"blind_s\":2,"
                                         "\"latency_s\":0.2}"));
    for (size_t node = 0; node < 3; node++) {
        const struct world_truth *truth = house_truth(&house, node, EVENT_WALK, QUANTITY_MOTION);
        assert_int_equal(world_sampler_changes(house.samplers[node], 0, 100 * NS_PER_S, changes, 8),
                         2);
        assert_true(changes[0].time_ns > before && changes[0].count == 1);
        assert_true(changes[0].time_ns - truth->onset_ns >= NS_PER_S / 10);
        assert_true(changes[0].time_ns - truth->onset_ns <= 3 * NS_PER_S / 10);
        assert_int64_equal(changes[1].time_ns, truth->end_ns + 2 * NS_PER_S);
        assert_int_equal(world_sampler_motion(house.samplers[node], changes[1].time_ns - 1), 1);
        assert_int_equal(world_sampler_motion(house.samplers[node], changes[1].time_ns), 0);
        before = changes[0].time_ns;
    }
    house_free(&house);
}

static void carried_steel_shows_as_a_dipole_on_the_walkers_way(void **state)
{
    (void)state;
    struct house house;
    house_build(&house, HOUSE_QUIET(WALK));
    const struct world_truth *truth = house_truth(&house, 1, EVENT_WALK, QUANTITY_MAGNETIC);
    /* 50 A m2 downwards passes 1 m beside the node at its height: mu0 m / (4 pi r3). */
    assert_close(truth->amplitude, 5.0e-6, 5e-9);
    double rest = world_sampler_value(house.samplers[1], HOUSE_Z, 5 * NS_PER_S);
    double peak = world_sampler_value(house.samplers[1], HOUSE_Z, truth->peak_ns);
    assert_close(peak - rest, 5.0e-6, 2e-8);
    assert_close(world_sampler_value(house.samplers[1], HOUSE_Z, 60 * NS_PER_S), rest, 1e-8);
    house_free(&house);
}

static void a_prompt_pulse_comes_everywhere_at_once_and_a_travelling_one_in_turn(void **state)
{
    (void)state;
    struct house house;
    house_build(&house, HOUSE_QUIET(",\"events\":["
                                    "{\"at_s\":10,\"kind\":\"pulse\",\"at_m\":[3,3,0],"
                                    "\"moment_a_m2\":[0,0,100],\"rise_s\":0.01},"
                                    "{\"at_s\":20,\"kind\":\"pulse\",\"at_m\":[0,3,1],"
                                    "\"field_t\":[2e-6,0,0],\"speed_m_s\":2}]"));
    const double x_m[3] = {3.0, 6.0, 9.0};
    for (size_t node = 0; node < 3; node++) {
        size_t count;
        const struct world_truth *truth = world_sampler_truth(house.samplers[node], &count);
        assert_int_equal(count, 2);
        assert_int64_equal(truth[0].onset_ns, 10 * NS_PER_S);
        double due_s = 20.0 + x_m[node] / 2.0;
        assert_close((double)truth[1].onset_ns / 1e9, due_s, 1e-6);
        assert_close(truth[1].amplitude, 2e-6, 1e-15);
        int64_t just = truth[1].onset_ns;
        double before = world_sampler_value(house.samplers[node], HOUSE_X, just - 1000000);
        double after = world_sampler_value(house.samplers[node], HOUSE_X, just + 20000000);
        assert_close(after - before, 2e-6, 1e-9);
    }
    /* On the dipole's axis, 1 m above it: mu0 2 m / (4 pi r3) = 20 uT. */
    assert_close(house_truth(&house, 0, EVENT_PULSE, QUANTITY_MAGNETIC)->amplitude, 20e-6, 1e-8);
    house_free(&house);
}

static void a_call_shows_at_the_frame_rates_alias_and_leaves_the_field_alone(void **state)
{
    (void)state;
    struct house house;
    static int32_t counts[1500];
    house_build(&house, HOUSE_QUIET(",\"events\":[{\"at_s\":10,\"kind\":\"phone\","
                                    "\"room\":\"hall\",\"for_s\":10,\"counts\":400}]"));
    double alias = radio_alias_hz(RADIO_FRAME_HZ, 250.0);
    world_sampler_read(house.samplers[0], HOUSE_ELECTRIC, 12 * NS_PER_S, PERIOD_PS, counts, 1500);
    assert_true(house_amplitude(counts, 1500, alias, 250.0) > 20.0);
    world_sampler_read(house.samplers[0], HOUSE_ELECTRIC, 22 * NS_PER_S, PERIOD_PS, counts, 1500);
    assert_true(house_amplitude(counts, 1500, alias, 250.0) < 0.5);
    assert_null(house_truth(&house, 0, EVENT_PHONE, QUANTITY_MAGNETIC));
    assert_true(house_truth(&house, 0, EVENT_PHONE, QUANTITY_ELECTRIC)->amplitude >
                house_truth(&house, 2, EVENT_PHONE, QUANTITY_ELECTRIC)->amplitude);
    house_free(&house);
}

static void a_draught_cools_room_after_room_at_its_speed(void **state)
{
    (void)state;
    struct house house;
    house_build(&house, HOUSE_QUIET(",\"events\":[{\"at_s\":10,\"kind\":\"draught\","
                                    "\"from\":\"hall\",\"via\":[\"passage\",\"kitchen\"],"
                                    "\"speed_m_s\":0.2,\"drop_c\":2,\"for_s\":100}]"));
    int64_t arrived[3];
    for (size_t node = 0; node < 3; node++) {
        const struct world_truth *truth =
            house_truth(&house, node, EVENT_DRAUGHT, QUANTITY_TEMPERATURE);
        arrived[node] = truth->onset_ns;
        double before =
            world_sampler_value(house.samplers[node], HOUSE_TEMPERATURE, truth->onset_ns);
        double after = world_sampler_value(house.samplers[node], HOUSE_TEMPERATURE,
                                           truth->onset_ns + 60 * NS_PER_S);
        assert_close(after - before, -2.0, 0.35);
    }
    assert_close(3.0 / ((double)(arrived[2] - arrived[1]) / 1e9), 0.2, 1e-6);
    house_free(&house);
}

static void a_stuck_channel_repeats_one_count_and_an_outage_is_told(void **state)
{
    (void)state;
    struct house house;
    int32_t counts[500];
    int64_t until = 0;
    house_build(&house, "{\"version\":1,\"seed\":4,\"events\":["
                        "{\"at_s\":10,\"kind\":\"stuck\",\"node\":\"n1\","
                        "\"channel\":\"magnetic.y\",\"for_s\":1},"
                        "{\"at_s\":20,\"kind\":\"outage\",\"node\":\"n2\",\"for_s\":3}]}");
    world_sampler_read(house.samplers[0], HOUSE_Y, 19 * NS_PER_S / 2, PERIOD_PS, counts, 500);
    for (int i = 125; i < 375; i++) {
        assert_int_equal(counts[i], counts[125]);
    }
    assert_true(counts[374] != counts[375] || counts[375] != counts[376]);
    assert_false(world_sampler_silent(house.samplers[1], 20 * NS_PER_S - 1, &until));
    assert_true(world_sampler_silent(house.samplers[1], 20 * NS_PER_S, &until));
    assert_int64_equal(until, 23 * NS_PER_S);
    assert_false(world_sampler_silent(house.samplers[1], until, &until));
    assert_false(world_sampler_silent(house.samplers[0], 21 * NS_PER_S, &until));
    house_free(&house);
}

static void a_field_beyond_the_range_clips(void **state)
{
    (void)state;
    struct house house;
    int32_t counts[10];
    house_build(&house, HOUSE_QUIET(",\"events\":[{\"at_s\":10,\"kind\":\"pulse\","
                                    "\"at_m\":[3,3,1],\"field_t\":[1e-3,0,-1e-3],"
                                    "\"for_s\":5}]"));
    world_sampler_read(house.samplers[0], HOUSE_X, 12 * NS_PER_S, PERIOD_PS, counts, 10);
    assert_int_equal(counts[9], 32767);
    world_sampler_read(house.samplers[0], HOUSE_Z, 12 * NS_PER_S, PERIOD_PS, counts, 10);
    assert_true(counts[9] == -32768);
    house_free(&house);
}

static void before_the_start_and_after_the_end_the_building_is_at_rest(void **state)
{
    (void)state;
    struct house house;
    static int32_t counts[1000];
    house_build(&house, HOUSE_QUIET(WIRE LOAD));
    world_sampler_read(house.samplers[0], HOUSE_Z, -50 * NS_PER_S, PERIOD_PS, counts, 1000);
    assert_close(house_amplitude(counts, 1000, 50.0, 250.0), 0.0, 0.1);
    world_sampler_read(house.samplers[0], HOUSE_Z, 90000 * NS_PER_S, PERIOD_PS, counts, 1000);
    assert_close(house_amplitude(counts, 1000, 50.0, 250.0), 0.0, 0.1);
    house_free(&house);
}

static void what_no_sensor_is_known_for_is_refused(void **state)
{
    (void)state;
    struct error error = {0};
    struct house house;
    house_build(&house, HOUSE_QUIET(""));
    struct world_sampler *sampler = NULL;
    assert_int_equal(world_sampler_new(house.world, 3, &sampler, &error), -1);
    assert_error(error, ERROR_NOT_FOUND, "node");
    assert_int_equal(channel_init(&house.site->nodes[0].channels[0], "odour", "count", 1.0, &error),
                     0);
    assert_int_equal(world_sampler_new(house.world, 0, &sampler, &error), -1);
    assert_error(error, ERROR_RANGE, "odour");
    house_free(&house);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_mains_at_a_node_is_what_the_wires_formula_gives),
        cmocka_unit_test(a_load_is_seen_from_its_very_moment_on),
        cmocka_unit_test(the_resting_field_is_earths),
        cmocka_unit_test(the_same_seed_gives_the_same_counts_and_another_seed_others),
        cmocka_unit_test(how_reads_are_cut_does_not_matter),
        cmocka_unit_test(a_run_of_samples_is_what_single_looks_show),
        cmocka_unit_test(noise_is_as_strong_as_the_script_says_and_differs_between_nodes),
        cmocka_unit_test(a_walkers_true_passing_times_give_the_walkers_speed),
        cmocka_unit_test(motion_rises_room_after_room_and_falls_after_the_hold),
        cmocka_unit_test(carried_steel_shows_as_a_dipole_on_the_walkers_way),
        cmocka_unit_test(a_prompt_pulse_comes_everywhere_at_once_and_a_travelling_one_in_turn),
        cmocka_unit_test(a_call_shows_at_the_frame_rates_alias_and_leaves_the_field_alone),
        cmocka_unit_test(a_draught_cools_room_after_room_at_its_speed),
        cmocka_unit_test(a_stuck_channel_repeats_one_count_and_an_outage_is_told),
        cmocka_unit_test(a_field_beyond_the_range_clips),
        cmocka_unit_test(before_the_start_and_after_the_end_the_building_is_at_rest),
        cmocka_unit_test(what_no_sensor_is_known_for_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
