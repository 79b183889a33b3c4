/* The simulated fields and bursts against published formulas and figures. */
#include "tests/unit/test.h"

#include "node/world/field.h"
#include "node/world/radio.h"

static double length(const double v[3])
{
    return sqrt(vec_dot(v, v));
}

/* CODATA 2022 recommended values (Mohr, Newell, Taylor, Tiesinga): mu0; value from memory. */
static void the_magnetic_constant_is_codata_2022(void **state)
{
    (void)state;
    assert_close(FIELD_MU0, 1.25663706127e-6, 1e-18);
    assert_close(FIELD_MU0 / 1.25663706212e-6, 1.0, 1e-9); /* CODATA 2018 */
}

/* Ampere's law, B = mu0 I / (2 pi r) (Jackson, Classical Electrodynamics, 3rd ed., 1999,
 * sec. 5.2): 1 A at 1 m 200.0 nT, 10 A at 0.5 m 4.000 uT; figures computed from it. */
static void a_straight_wire_gives_200_nt_per_ampere_at_1_m(void **state)
{
    (void)state;
    assert_close(field_wire_t(1.0, 1.0), 200.0e-9, 200.0e-9 * 1e-4);
    assert_close(field_wire_t(10.0, 0.5), 4.000e-6, 4.0e-6 * 1e-4);
    const double at[3] = {1.0, 0.0, 7.0};
    const double on[3] = {0.0, 0.0, -3.0};
    const double up[3] = {0.0, 0.0, 1.0};
    double b[3];
    field_wire(at, on, up, 1.0, b);
    assert_close(b[0], 0.0, 1e-20);
    assert_close(b[1], 200.0e-9, 200.0e-9 * 1e-4);
    assert_close(b[2], 0.0, 1e-20);
}

/* Two opposite wires 5 mm apart, 10 A: sum of the law above; figures computed from it, in the
 * wires' plane and broadside to it. */
static void a_pair_of_wires_gives_the_computed_figures(void **state)
{
    (void)state;
    static const struct {
        double r_m;
        double in_plane_nt;
        double broadside_nt;
    } rows[] = {{0.1, 1000.63, 999.38}, {0.5, 40.001, 39.999}, {1.0, 10.0001, 9.9999}};
    const double centre[3] = {0.0, 0.0, 0.0};
    const double up[3] = {0.0, 0.0, 1.0};
    const double across[3] = {1.0, 0.0, 0.0};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const double beside[3] = {rows[i].r_m, 0.0, 0.0};
        const double before[3] = {0.0, rows[i].r_m, 0.0};
        double b[3];
        field_pair(beside, centre, up, across, 0.005, 10.0, b);
        assert_close(length(b) * 1e9, rows[i].in_plane_nt, rows[i].in_plane_nt * 1e-4);
        field_pair(before, centre, up, across, 0.005, 10.0, b);
        assert_close(length(b) * 1e9, rows[i].broadside_nt, rows[i].broadside_nt * 1e-4);
    }
}

/* Dipole, B = mu0/(4 pi r3) [3 (m.r^) r^ - m] (Jackson 1999, eq. 5.56), m = 1 A m2 along x;
 * figures computed from it. */
static void a_dipole_gives_the_computed_figures(void **state)
{
    (void)state;
    const double source[3] = {0.0, 0.0, 0.0};
    const double moment[3] = {1.0, 0.0, 0.0};
    const double on_axis[3] = {1.0, 0.0, 0.0};
    const double beside[3] = {0.0, 1.0, 0.0};
    const double slanting[3] = {1.0, 1.0, 0.0};
    double b[3];
    field_dipole(on_axis, source, moment, b);
    assert_close(b[0] * 1e9, 200.0, 0.02);
    field_dipole(beside, source, moment, b);
    assert_close(b[0] * 1e9, -100.0, 0.01);
    field_dipole(slanting, source, moment, b);
    assert_close(b[0] * 1e9, 17.677670, 17.7e-4);
    assert_close(b[1] * 1e9, 53.033009, 53.0e-4);
    assert_close(b[2] * 1e9, 0.0, 1e-9);
    assert_close(length(b) * 1e9, 55.901699, 55.9e-4);
}

/* The exponents by which a meter tells sources apart: -1 one wire, -2 a pair, -3 a dipole. */
static void field_falls_by_the_first_second_and_third_power(void **state)
{
    (void)state;
    const double origin[3] = {0.0, 0.0, 0.0};
    const double up[3] = {0.0, 0.0, 1.0};
    const double across[3] = {1.0, 0.0, 0.0};
    const double near[3] = {0.0, 1.0, 0.0};
    const double far[3] = {0.0, 2.0, 0.0};
    double a[3];
    double b[3];
    field_wire(near, origin, up, 1.0, a);
    field_wire(far, origin, up, 1.0, b);
    assert_close(length(a) / length(b), 2.0, 1e-9);
    field_pair(near, origin, up, across, 0.005, 1.0, a);
    field_pair(far, origin, up, across, 0.005, 1.0, b);
    assert_close(length(a) / length(b), 4.0, 1e-4);
    field_dipole(near, origin, up, a);
    field_dipole(far, origin, up, b);
    assert_close(length(a) / length(b), 8.0, 1e-9);
}

/* Helmholtz coil, middle (4/5)^1.5 mu0 n I / R, along the axis the sum of two loops (Jackson 1999,
 * sec. 5.5): n 100, I 0.1 A, R 0.1 m -> 89.91763 uT; -1.139e-4 at R/10, -0.4198 % at R/4; figures
 * computed from it. */
static void a_helmholtz_coil_gives_the_computed_figures(void **state)
{
    (void)state;
    double middle = field_helmholtz_t(100.0, 0.1, 0.1, 0.0);
    assert_close(pow(0.8, 1.5), 0.7155417528, 1e-10);
    assert_close(middle * 1e6, 89.91763, 1e-4);
    assert_close(field_helmholtz_t(100.0, 0.1, 0.1, 0.01) / middle - 1.0, -1.139e-4, 1e-7);
    assert_close(field_helmholtz_t(100.0, 0.1, 0.1, -0.025) / middle - 1.0, -0.4198e-2, 1e-6);
}

/* World Magnetic Model 2025 test row 2025.0, 0 km, 80 N, 0 E: F 55178.5 nT, I 83.21 deg, H 6523.2,
 * Z 54791.5 (values as in the official sheet, from memory): total and dip give H and Z. */
static void earths_field_splits_into_the_published_parts(void **state)
{
    (void)state;
    double b[3];
    field_earth(55178.5e-9, 83.21, 90.0, b);
    assert_close(sqrt(b[0] * b[0] + b[1] * b[1]) * 1e9, 6523.2, 10.0); /* 0.01 deg is 9.6 nT */
    assert_close(-b[2] * 1e9, 54791.5, 2.0);
    assert_close(length(b) * 1e9, 55178.5, 1e-6);
}

/* 3GPP TS 45.002 sec. 4.3: frame 120/26 ms = 4.615 ms, 216.667 Hz; slot 576.923 us; 26 frames in
 * 120 ms. */
static void phone_bursts_come_at_the_tdma_frame_rate(void **state)
{
    (void)state;
    assert_close(RADIO_FRAME_S * 1e3, 4.615385, 1e-6);
    assert_close(RADIO_FRAME_HZ, 216.667, 1e-3);
    assert_close(RADIO_SLOT_S * 1e6, 576.923, 1e-3);
    assert_close(RADIO_FRAME_S * RADIO_MULTIFRAME, 0.120, 1e-12);
    double t = 3.25 * RADIO_FRAME_S;
    assert_close(radio_burst_level(t), radio_burst_level(t + 5 * RADIO_FRAME_S), 1e-9);
    assert_close(radio_burst_level(25.5 * RADIO_FRAME_S), 0.0, 0.0); /* the idle frame */
}

/* Folding about the sample rate: 216.667 Hz shows at 16.667 (100 or 200 Hz), 33.333 (250 Hz) and
 * 216.667 with its second harmonic at 66.667 (500 Hz); computed. */
static void phone_bursts_alias_to_where_they_should(void **state)
{
    (void)state;
    assert_close(radio_alias_hz(RADIO_FRAME_HZ, 100.0), 16.667, 1e-3);
    assert_close(radio_alias_hz(RADIO_FRAME_HZ, 200.0), 16.667, 1e-3);
    assert_close(radio_alias_hz(RADIO_FRAME_HZ, 250.0), 33.333, 1e-3);
    assert_close(radio_alias_hz(RADIO_FRAME_HZ, 500.0), 216.667, 1e-3);
    assert_close(radio_alias_hz(2.0 * RADIO_FRAME_HZ, 500.0), 66.667, 1e-3);
}

/* The alias is where the sampled burst train itself has its strongest line. */
static void a_sampled_call_has_its_strongest_line_at_the_alias(void **state)
{
    (void)state;
    const double rates[] = {200.0, 250.0};
    for (int r = 0; r < 2; r++) {
        double best = 0.0;
        double best_hz = 0.0;
        const int n = (int)(6.0 * rates[r]);
        for (double f = 5.0; f < 0.5 * rates[r]; f += 1.0 / 6.0) {
            double c = 0.0;
            double s = 0.0;
            for (int i = 0; i < n; i++) {
                double level = radio_burst_level((i + 0.37) / rates[r]);
                double turn = 2.0 * 3.14159265358979323846 * f * i / rates[r];
                c += level * cos(turn);
                s += level * sin(turn);
            }
            if (c * c + s * s > best) {
                best = c * c + s * s;
                best_hz = f;
            }
        }
        assert_close(best_hz, radio_alias_hz(RADIO_FRAME_HZ, rates[r]), 0.1);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_magnetic_constant_is_codata_2022),
        cmocka_unit_test(a_straight_wire_gives_200_nt_per_ampere_at_1_m),
        cmocka_unit_test(a_pair_of_wires_gives_the_computed_figures),
        cmocka_unit_test(a_dipole_gives_the_computed_figures),
        cmocka_unit_test(field_falls_by_the_first_second_and_third_power),
        cmocka_unit_test(a_helmholtz_coil_gives_the_computed_figures),
        cmocka_unit_test(earths_field_splits_into_the_published_parts),
        cmocka_unit_test(phone_bursts_come_at_the_tdma_frame_rate),
        cmocka_unit_test(phone_bursts_alias_to_where_they_should),
        cmocka_unit_test(a_sampled_call_has_its_strongest_line_at_the_alias),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
