/* The calibration's formulas against published values. */
#include "../unit/test.h"

#include <math.h>

#include "collector/calibrate/fields.h"

static void assert_near(double value, double expected, double relative)
{
    assert_true(fabs(value / expected - 1) <= relative);
}

/* mu0: CODATA 2022, 1.25663706127e-6 N/A^2 (from memory). 1 A at 1 m: 200.0 nT; 10 A at 0.5
 * m: 4.000 uT (Jackson, Classical Electrodynamics, 3rd ed., 1998, eq. 5.6; computed). */
static void a_long_wire_makes_the_field_of_the_textbooks(void **state)
{
    (void)state;
    assert_near(fields_wire_t(1.0, 1.0), 200.0e-9, 1e-4);
    assert_near(fields_wire_t(0.5, 10.0), 4.000e-6, 1e-4);
    /* Biot and Savart for a straight piece, seen from its middle: mu0 I / (4 pi r) times twice the
     * cosine at its ends. Ten distances long lacks 1.94 %, a hundred 0.02 % (computed). */
    assert_near(fields_wire_lack(0.1, 1.0), 0.019419, 1e-3);
    assert_near(fields_wire_lack(0.01, 1.0), 0.0002, 1e-2);
}

/* (4/5)^1.5 = 0.7155417528; 100 turns, 0.1 A, 0.1 m: 89.91763 uT (computed; the factor is in every
 * handbook's article on the Helmholtz coil). */
static void a_helmholtz_pair_makes_the_field_of_the_handbooks(void **state)
{
    (void)state;
    assert_near(fields_helmholtz_t(1, 1, 1) / FIELDS_MU0, 0.7155417528, 1e-9);
    assert_near(fields_helmholtz_t(100, 0.1, 0.1), 89.91763e-6, 1e-6);
}

/* On the axis of two circular loops, by Biot and Savart: B = mu0 n I R^2 / 2 * sum (R^2 +
 * d^2)^-1.5; at a tenth of the radius off the middle it is -1.139e-4 of itself lower (computed):
 * what a sensor that is not quite in the middle sees. */
static void the_middle_of_the_pair_is_flat(void **state)
{
    (void)state;
    double field[2];
    for (int i = 0; i < 2; i++) {
        double z = 0.1 * i;
        field[i] = 0.5 * FIELDS_MU0 *
                   (pow(1 + (z - 0.5) * (z - 0.5), -1.5) + pow(1 + (z + 0.5) * (z + 0.5), -1.5));
    }
    assert_near(field[0], fields_helmholtz_t(1, 1, 1), 1e-12);
    assert_near(field[1] / field[0] - 1, -1.139e-4, 1e-3);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_long_wire_makes_the_field_of_the_textbooks),
        cmocka_unit_test(a_helmholtz_pair_makes_the_field_of_the_handbooks),
        cmocka_unit_test(the_middle_of_the_pair_is_flat),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
