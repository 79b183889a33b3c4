/* Whether a field turned: a dipole that passes, one that comes and goes on its spot, noise, and
 * what alternates. Must never ask for more digits than the noise leaves. */
#include "tests/unit/test.h"

#include "collector/detect/turn.h"

#define SAMPLES 400
#define SIGMA 2e-8
#define SLOW 0.25 /* what is allowed for at least */

static uint64_t state_of_noise;

/* About normal: twelve even numbers. */
static double noise(void)
{
    double sum = -6.0;
    for (int i = 0; i < 12; i++) {
        state_of_noise = state_of_noise * 6364136223846793005u + 1442695040888963407u;
        sum += (double)(state_of_noise >> 11) / 9007199254740992.0;
    }
    return sum;
}

static void take(struct turn *turn, double x, double y, double z, const double sigmas[3])
{
    double sample[3] = {x + sigmas[0] * noise(), y + sigmas[1] * noise(), z + sigmas[2] * noise()};
    turn_take(turn, sample);
}

static int fresh(void **state)
{
    (void)state;
    state_of_noise = 1;
    return 0;
}

static const double even[3] = {SIGMA, SIGMA, SIGMA};

static void a_dipole_that_passes_turns_the_field(void **state)
{
    (void)state;
    struct turn turn;
    turn_restart(&turn);
    for (int i = 0; i < SAMPLES; i++) {
        /* 1 A m2 along the way, 1 m off it (Jackson, eq. 5.56): mu0 / 4 pi is 1e-7. */
        double x = 4.0 * (i - SAMPLES / 2) / SAMPLES;
        double r = sqrt(x * x + 1.0);
        take(&turn, 1e-7 * (3.0 * x * x / (r * r) - 1.0) / (r * r * r),
             1e-7 * 3.0 * x / (r * r * r * r * r), 0.0, even);
    }
    struct turn_found found = turn_find(&turn, SIGMA, SLOW);
    /* numpy's eigvalsh of the same way without noise */
    assert_close(found.along, 2.617, 0.15);
    assert_close(found.across, 2.006, 0.15);
    assert_true(found.across > found.least);
    assert_true(found.alike > 0.5);
}

static void what_comes_and_goes_on_its_spot_does_not(void **state)
{
    (void)state;
    struct turn turn;
    turn_restart(&turn);
    for (int i = 0; i < SAMPLES; i++) {
        double height = 1e-6 * exp(-0.001 * (i - 200) * (i - 200));
        take(&turn, 0.6 * height, -0.3 * height, 0.7 * height, even);
    }
    struct turn_found found = turn_find(&turn, SIGMA, SLOW);
    assert_true(found.along > 10.0);
    assert_true(found.across == 0.0);
    assert_true(found.least < 0.1 * found.along);
}

static void a_noisier_axis_is_no_turn(void **state)
{
    (void)state;
    struct turn turn;
    const double uneven[3] = {SIGMA, SIGMA, 3.0 * SIGMA};
    turn_restart(&turn);
    for (int i = 0; i < SAMPLES; i++) {
        take(&turn, 1e-7, 0.0, 0.0, uneven);
    }
    struct turn_found found = turn_find(&turn, SIGMA * sqrt(11.0 / 3.0), SLOW);
    assert_true(found.across == 0.0);
}

/* First order: each sample keeps 0.7 of the one before, in two directions. */
static void take_slow(struct turn *turn, double x[2], int count, double level)
{
    const double left = SIGMA * sqrt(1.0 - 0.7 * 0.7);
    for (int i = 0; i < count; i++) {
        x[0] = 0.7 * x[0] + left * noise();
        x[1] = 0.7 * x[1] + left * noise();
        const double sample[3] = {x[0] + level, x[1], 0.0};
        turn_take(turn, sample);
    }
}

static void noise_that_is_alike_is_measured_in_the_quiet_and_no_turn(void **state)
{
    (void)state;
    struct turn turn;
    double x[2] = {0.0, 0.0};
    turn_restart(&turn);
    take_slow(&turn, x, 20 * SAMPLES, 0.0);
    double slow = turn_slow_part(&turn, SIGMA);
    assert_close(slow, 1.5 * 0.7, 0.15);
    turn_restart(&turn);
    take_slow(&turn, x, SAMPLES, 5.0 * SIGMA);
    assert_true(turn_find(&turn, SIGMA, SLOW).across > 0.0);
    assert_true(turn_find(&turn, SIGMA, slow).across == 0.0);
    turn_restart(&turn);
    assert_close(turn_slow_part(&turn, SIGMA), SLOW, 0.0);
}

static void what_alternates_is_told_from_noise_and_from_what_is_slow(void **state)
{
    (void)state;
    for (int kind = -1; kind <= 1; kind++) {
        struct turn turn;
        turn_restart(&turn);
        for (int i = 0; i < SAMPLES; i++) {
            double level = kind < 0 ? (i % 2 ? 1e-6 : -1e-6) : kind * 1e-6;
            take(&turn, level, 0.5 * level, 0.0, even);
        }
        struct turn_found found = turn_find(&turn, SIGMA, SLOW);
        assert_true(fabs(found.alike - kind) < 0.1);
    }
}

/* Of [[2, 1, 0], [1, 2, 1], [0, 1, 2]] the eigenvalues are 2 and 2 +- sqrt(2) (any textbook). */
static void the_directions_are_those_of_the_matrix(void **state)
{
    (void)state;
    struct turn turn = {
        .sums = {200.0, 200.0, 200.0, 100.0, 0.0, 100.0}, .squares = 600.0, .count = 101};
    struct turn_found found = turn_find(&turn, 1.0, SLOW);
    assert_true(fabs(found.along - sqrt(2.0 + sqrt(2.0))) < 1e-12);
    assert_true(fabs(found.across - sqrt(2.0)) < 1e-12);
    assert_true(fabs(found.alike - 1.0) < 1e-12);
}

static void a_few_samples_or_no_noise_tell_nothing(void **state)
{
    (void)state;
    struct turn turn;
    const double sample[3] = {1.0, 1.0, 1.0};
    turn_restart(&turn);
    turn_take(&turn, sample);
    turn_take(&turn, sample);
    assert_true(turn_find(&turn, 1.0, SLOW).along == 0.0);
    for (int i = 0; i < 20; i++) {
        turn_take(&turn, sample);
    }
    assert_true(turn_find(&turn, 0.0, SLOW).along == 0.0);
    assert_true(turn_find(&turn, 1.0, SLOW).along > 1.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(a_dipole_that_passes_turns_the_field, fresh),
        cmocka_unit_test_setup(what_comes_and_goes_on_its_spot_does_not, fresh),
        cmocka_unit_test_setup(a_noisier_axis_is_no_turn, fresh),
        cmocka_unit_test_setup(noise_that_is_alike_is_measured_in_the_quiet_and_no_turn, fresh),
        cmocka_unit_test_setup(what_alternates_is_told_from_noise_and_from_what_is_slow, fresh),
        cmocka_unit_test_setup(the_directions_are_those_of_the_matrix, fresh),
        cmocka_unit_test_setup(a_few_samples_or_no_noise_tell_nothing, fresh),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
