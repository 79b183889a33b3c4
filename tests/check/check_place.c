/* Location against the Cramer-Rao bound's published form, and the least-squares fits against NIST's
 * certified values. Sources: Kay 1993, Fundamentals of Statistical Signal Processing I, ch. 3 (from
 * memory; numbers computed); NIST StRD nonlinear regression: Misra1a, DanWood, Rat42, BoxBOD
 * (Misra1a's block verified, the others' from memory and refitted). */
#include "tests/unit/test.h"

#include "collector/correlate/fit.h"
#include "collector/correlate/place.h"

static const double square_m[4][2] = {{0.0, 0.0}, {10.0, 0.0}, {10.0, 10.0}, {0.0, 10.0}};

/* Source at (3,4) in a square of 10 m: distances 5, 8.062258, 9.219544, 6.708204 m. */
static double distance_m(size_t corner)
{
    return hypot(3.0 - square_m[corner][0], 4.0 - square_m[corner][1]);
}

static void fill(struct place_reading *readings, double exponent, double sd)
{
    for (size_t i = 0; i < 4; i++) {
        readings[i] = (struct place_reading){
            {square_m[i][0], square_m[i][1], 0.0}, 1000.0 / pow(distance_m(i), exponent), sd};
    }
}

/* Standard deviations along x and y out of the ellipse. */
static void sds_of(const struct source *source, double *x_m, double *y_m)
{
    double angle = source->major_deg * 3.14159265358979323846 / 180.0;
    *x_m = hypot(source->major_m * cos(angle), source->minor_m * sin(angle));
    *y_m = hypot(source->major_m * sin(angle), source->minor_m * cos(angle));
}

static void amplitudes_without_noise_give_the_place(void **state)
{
    (void)state;
    const double expected[4] = {8.000000, 1.908227, 1.276062, 3.312693};
    struct place_reading readings[4];
    struct source source;
    fill(readings, 3.0, 0.1);
    for (size_t i = 0; i < 4; i++) {
        assert_close(readings[i].value, expected[i], 5e-7);
    }
    place_by_amplitude(readings, 4, 3.0, 0.0, &source);
    assert_true(source.known);
    assert_close(source.x_m, 3.0, 1e-6);
    assert_close(source.y_m, 4.0, 1e-6);
}

static void amplitude_errors_are_the_bounds(void **state)
{
    (void)state;
    const double expected[3][2] = {
        {0.530867, 0.448836}, {0.265434, 0.224418}, {0.176956, 0.149614}};
    for (int exponent = 1; exponent <= 3; exponent++) {
        struct place_reading readings[4];
        struct source source;
        double x_m;
        double y_m;
        fill(readings, exponent, 0.1);
        place_by_amplitude(readings, 4, exponent, 0.0, &source);
        assert_true(source.known);
        sds_of(&source, &x_m, &y_m);
        assert_close(x_m, expected[exponent - 1][0], 1e-5);
        assert_close(y_m, expected[exponent - 1][1], 1e-5);
    }
}

static void arrival_errors_are_the_bounds(void **state)
{
    (void)state;
    const double cases[2][4] = {{343.0, 1e-3, 0.255611, 0.237383}, {1.4, 0.1, 0.104331, 0.096891}};
    for (size_t c = 0; c < 2; c++) {
        struct place_reading readings[4];
        struct source source;
        double x_m;
        double y_m;
        fill(readings, 1.0, cases[c][1]);
        for (size_t i = 0; i < 4; i++) {
            readings[i].value = 7.0 + distance_m(i) / cases[c][0];
        }
        place_by_arrival(readings, 4, cases[c][0], 0.0, &source);
        assert_true(source.known);
        assert_close(source.x_m, 3.0, 1e-5);
        assert_close(source.y_m, 4.0, 1e-5);
        sds_of(&source, &x_m, &y_m);
        assert_close(x_m, cases[c][2], 1e-5);
        assert_close(y_m, cases[c][3], 1e-5);
        assert_close(source.sd_m, hypot(cases[c][2], cases[c][3]), 1e-5);
    }
}

static void what_the_geometry_cannot_carry_is_refused(void **state)
{
    (void)state;
    struct place_reading readings[4];
    struct source source;
    fill(readings, 3.0, 0.1);
    place_by_amplitude(readings, 3, 3.0, 0.0, &source); /* as many unknowns as nodes */
    assert_false(source.known);
    fill(readings, 3.0, 3.0); /* an ellipse as wide as the house */
    place_by_amplitude(readings, 4, 3.0, 0.0, &source);
    assert_false(source.known);
    fill(readings, 3.0, 0.1);
    readings[1].value *= 20.0; /* no place explains these */
    place_by_amplitude(readings, 4, 3.0, 0.0, &source);
    assert_false(source.known);
    for (size_t i = 0; i < 4; i++) { /* all nodes in one line: two sides as good */
        readings[i].at_m[0] = 3.0 * (double)i;
        readings[i].at_m[1] = 0.1 * (double)(i % 2);
        readings[i].value = 1000.0 / pow(hypot(4.0 - readings[i].at_m[0], 3.0), 3.0);
    }
    place_by_amplitude(readings, 4, 3.0, 0.0, &source);
    assert_false(source.known);
    fill(readings, 3.0, 0.1);
    place_by_arrival(readings, 4, 0.0, 0.0, &source); /* the speed is a fourth unknown */
    assert_false(source.known);
    for (size_t i = 0; i < 4; i++) { /* rising to one side: from far away */
        readings[i].value = 5.0 + 0.1 * readings[i].at_m[0];
    }
    place_by_amplitude(readings, 4, 3.0, 0.0, &source);
    assert_false(source.known);
    readings[2].value = -1.0;
    place_by_amplitude(readings, 4, 3.0, 0.0, &source);
    assert_false(source.known);
}

/* NIST's data sets. */
struct set {
    const double *x;
    const double *y;
    double (*model)(const double *b, double x);
};

static void set_residuals(void *context, const double *parameters, double *residuals)
{
    const struct set *set = context;
    for (size_t i = 0; isfinite(set->x[i]); i++) {
        residuals[i] = set->y[i] - set->model(parameters, set->x[i]);
    }
}

static double rising(const double *b, double x)
{
    return b[0] * (1.0 - exp(-b[1] * x));
}

static double power(const double *b, double x)
{
    return b[0] * pow(x, b[1]);
}

static double sigmoid(const double *b, double x)
{
    return b[0] / (1.0 + exp(b[1] - b[2] * x));
}

struct certified {
    size_t count;
    size_t parameters;
    double starts[2][3];
    double values[3];
    double sds[3];
    double sum_squares;
};

static void assert_certified(struct set *set, const struct certified *certified)
{
    for (int i = 0; i < 2; i++) {
        struct fit_problem problem = {set, set_residuals, certified->count, certified->parameters,
                                      certified->values};
        struct fit_result result;
        assert_true(fit_from(&problem, certified->starts[i], &result));
        double variance = result.sum_squares / (double)(certified->count - certified->parameters);
        assert_close(result.sum_squares, certified->sum_squares, 1e-8 * certified->sum_squares);
        for (size_t j = 0; j < certified->parameters; j++) {
            assert_close(result.parameters[j], certified->values[j],
                         1e-6 * fabs(certified->values[j]));
            assert_close(sqrt(variance * result.covariance[j * certified->parameters + j]),
                         certified->sds[j], 1e-5 * certified->sds[j]);
        }
    }
}

static void misra1a_is_fitted_as_certified(void **state)
{
    (void)state;
    const double x[] = {77.6,  114.9, 141.1, 190.8, 239.9, 289.0, 332.8,   378.4,
                        434.8, 477.3, 536.8, 593.1, 689.1, 760.0, INFINITY};
    const double y[] = {10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02,
                        44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78};
    struct set set = {x, y, rising};
    const struct certified certified = {14,
                                        2,
                                        {{500.0, 1e-4}, {250.0, 5e-4}},
                                        {2.3894212918e+02, 5.5015643181e-04},
                                        {2.7070075241e+00, 7.2668688436e-06},
                                        1.2455138894e-01};
    assert_certified(&set, &certified);
}

static void danwood_is_fitted_as_certified(void **state)
{
    (void)state;
    const double x[] = {1.309, 1.471, 1.490, 1.565, 1.611, 1.680, INFINITY};
    const double y[] = {2.138, 3.421, 3.597, 4.340, 4.882, 5.660};
    struct set set = {x, y, power};
    const struct certified certified = {6,
                                        2,
                                        {{1.0, 5.0}, {0.7, 4.0}},
                                        {7.6886226176e-01, 3.8604055871e+00},
                                        {1.8281973860e-02, 5.1726610913e-02},
                                        4.3173084083e-03};
    assert_certified(&set, &certified);
}

static void rat42_is_fitted_as_certified(void **state)
{
    (void)state;
    const double x[] = {9, 14, 21, 28, 42, 57, 63, 70, 79, INFINITY};
    const double y[] = {8.93, 10.8, 18.59, 22.33, 39.35, 56.11, 61.73, 64.62, 67.08};
    struct set set = {x, y, sigmoid};
    const struct certified certified = {9,
                                        3,
                                        {{100.0, 1.0, 0.1}, {75.0, 2.5, 0.07}},
                                        {7.2462237576e+01, 2.6180768402, 6.7359200066e-02},
                                        {1.7340283401, 8.8295217536e-02, 3.4465663377e-03},
                                        8.0565229338};
    assert_certified(&set, &certified);
}

/* From (1,1) the minimiser stops on a flat spot at about (172.5, 110.9), sum of squares 9771.5, and
 * calls that success (info 4). */
static void boxbods_flat_spot_is_no_fit(void **state)
{
    (void)state;
    const double x[] = {1, 2, 3, 5, 7, 10, INFINITY};
    const double y[] = {109, 149, 149, 191, 213, 224};
    const double scale[2] = {100.0, 1.0};
    const double bad[2] = {1.0, 1.0};
    const double good[2] = {100.0, 0.75};
    struct set set = {x, y, rising};
    struct fit_problem problem = {&set, set_residuals, 6, 2, scale};
    struct fit_result result;
    assert_false(fit_from(&problem, bad, &result));
    assert_close(result.sum_squares, 9771.5, 0.1);
    assert_true(fit_from(&problem, good, &result));
    assert_close(result.parameters[0], 2.1380940889e+02, 1e-6 * 213.8);
    assert_close(result.parameters[1], 5.4723748542e-01, 1e-6);
    assert_close(result.sum_squares, 1.1680088766e+03, 1e-5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(amplitudes_without_noise_give_the_place),
        cmocka_unit_test(amplitude_errors_are_the_bounds),
        cmocka_unit_test(arrival_errors_are_the_bounds),
        cmocka_unit_test(what_the_geometry_cannot_carry_is_refused),
        cmocka_unit_test(misra1a_is_fitted_as_certified),
        cmocka_unit_test(danwood_is_fitted_as_certified),
        cmocka_unit_test(rat42_is_fitted_as_certified),
        cmocka_unit_test(boxbods_flat_spot_is_no_fit),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
