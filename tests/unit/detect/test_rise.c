/* Beginnings of rises and steps in seeded noise: found without a bias, and as sure as they say.
 * Must never depend on a detector. */
#include "tests/unit/test.h"

#include "collector/detect/rise.h"

#define COUNT 40

static uint64_t seed;

static double uniform(void)
{
    uint64_t z = (seed += UINT64_C(0x9E3779B97F4A7C15));
    z = (z ^ (z >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94D049BB133111EB);
    return ((double)((z ^ (z >> 31)) >> 11) + 0.5) * 0x1p-53;
}

static double normal(void)
{
    return sqrt(-2 * log(uniform())) * cos(6.283185307179586 * uniform());
}

/* Noise up to `begin`, then straight up by `slope` a sample; cut after the first over 7. */
static size_t make_rise(double begin, double slope, double *values)
{
    for (size_t i = 0; i < COUNT; i++) {
        values[i] = normal() + slope * fmax(0, (double)i - begin);
        if (values[i] > 7) {
            return i + 1;
        }
    }
    return 0;
}

static void a_rise_is_followed_back_to_its_beginning(void **state)
{
    (void)state;
    static const double slopes[] = {0.5, 1, 3, 20};
    for (size_t s = 0; s < 4; s++) {
        double sum = 0, squares_z = 0;
        size_t count = 0;
        for (seed = 1000 * s; count < 400;) {
            double values[COUNT];
            double begin = 15 + 5 * uniform();
            size_t n = make_rise(begin, slopes[s], values);
            struct rise rise;
            if (n == 0 || (double)n < begin) {
                continue;
            }
            assert_true(rise_find(values, n, &rise));
            double off = begin - ((double)(n - 1) - rise.back);
            sum += off;
            squares_z += off * off / (rise.sd * rise.sd);
            count++;
        }
        assert_close(sum / 400, 0, 0.5);
        assert_close(sqrt(squares_z / 400), 1, 0.2);
    }
}

static void a_sharp_step_began_somewhere_in_the_last_interval(void **state)
{
    (void)state;
    double values[COUNT] = {0};
    struct rise rise;
    values[COUNT - 1] = 50;
    assert_true(rise_find(values, COUNT, &rise));
    assert_close(rise.back, 0.5, 0.05);
    assert_close(rise.sd, 1 / sqrt(12), 0.05);
}

static void what_swings_does_not_fit(void **state)
{
    (void)state;
    double values[COUNT];
    struct rise rise;
    for (size_t i = 0; i < COUNT; i++) {
        values[i] = (i % 2 ? 0.4 : -0.4) * (double)i;
    }
    assert_true(rise_find(values, COUNT, &rise));
    assert_true(rise.misfit > 2);
}

static void nothing_is_said_of_too_few_or_of_what_falls(void **state)
{
    (void)state;
    const double few[] = {0, 9};
    const double falling[] = {-1, -3, -9, -20};
    struct rise rise;
    assert_false(rise_find(few, 2, &rise));
    assert_false(rise_find(few, 0, &rise));
    assert_false(rise_find(falling, 4, &rise));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_rise_is_followed_back_to_its_beginning),
        cmocka_unit_test(a_sharp_step_began_somewhere_in_the_last_interval),
        cmocka_unit_test(what_swings_does_not_fit),
        cmocka_unit_test(nothing_is_said_of_too_few_or_of_what_falls),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
