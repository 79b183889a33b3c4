/* Page's sums, short over long average and run lengths against published values.
 * Must never be loosened without a reason beside the number. Run by ctest. */
#include "tests/unit/test.h"

#include "tests/bench/rivals.h"

/* NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3: target 325, k 0.3175, h 4.1959. From
 * memory, and computed. */
static void test_the_handbooks_cusum(void **state)
{
    (void)state;
    static const double x[20] = {324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125,
                                 324.525, 325.225, 324.600, 324.625, 325.150, 328.325, 327.250,
                                 327.825, 328.500, 326.675, 327.775, 326.875, 328.350};
    static const double up[8] = {3.0075,  4.9400,  7.4475,  10.6300,
                                 11.9875, 14.4450, 16.0025, 19.0350};
    static const double down[11] = {0.0,    0.0075, 0.0,    0.3325, 0.0,   0.0,
                                    0.5575, 0.7150, 0.1725, 0.2550, 0.3125};
    double high[20];
    double low[20];
    rival_cusum(x, 20, 325.0, 0.3175, high, low);
    for (size_t i = 0; i < 12; i++) {
        assert_close(high[i], i == 4 ? 0.0325 : 0.0, 1e-4);
    }
    for (size_t i = 0; i < 8; i++) {
        assert_close(high[12 + i], up[i], 1e-4);
        assert_close(low[12 + i], 0.0, 1e-4);
    }
    for (size_t i = 0; i < 11; i++) {
        assert_close(low[i], down[i], 1e-4);
    }
    size_t first = 0;
    while (high[first] <= 4.1959) {
        first++;
    }
    assert_int_equal(first + 1, 14);
}

/* Montgomery and Runger, Applied Statistics and Probability for Engineers, table 16-8: target 99, K
 * 1, H 10; no alarm. */
static void test_the_textbooks_cusum(void **state)
{
    (void)state;
    static const double x[20] = {102.0, 94.8, 98.3,  98.4, 102.0, 98.5, 99.0,  97.7,  100.0, 98.1,
                                 101.3, 98.7, 101.1, 98.4, 97.0,  96.7, 100.3, 101.4, 97.2,  101.0};
    static const double up[20] = {2.0, 0, 0,   0, 2.0, 0.5, 0,   0,   0, 0,
                                  1.3, 0, 1.1, 0, 0,   0,   0.3, 1.7, 0, 1.0};
    static const double down[20] = {0, 3.2, 2.9, 2.5, 0,   0,   0, 0.3, 0,   0,
                                    0, 0,   0,   0,   1.0, 2.3, 0, 0,   0.8, 0};
    double high[20];
    double low[20];
    rival_cusum(x, 20, 99.0, 1.0, high, low);
    for (size_t i = 0; i < 20; i++) {
        assert_close(high[i], up[i], 1e-9);
        assert_close(low[i], down[i], 1e-9);
    }
}

/* 1 for 200 samples, then 10. Exact arithmetic, computed. */
static void test_short_over_long_average_at_a_step(void **state)
{
    (void)state;
    double x[300];
    double ratio[300];
    for (size_t i = 0; i < 300; i++) {
        x[i] = i < 200 ? 1.0 : 10.0;
    }
    rival_sta_lta(x, 300, 10.0, 100.0, ratio);
    assert_close(ratio[99], 0.0, 0.0);
    assert_close(ratio[200], 5.872781, 1e-6);
    assert_close(ratio[203], 7.345659, 1e-6);
    assert_close(ratio[204], 7.258330, 1e-6);
}

/* The Mersenne twister (Matsumoto and Nishimura, ACM Trans. Model. Comput. Simul. 8 (1998), 3-30)
 * with Marsaglia's polar method, as NumPy's legacy generator draws normals. */
struct twister {
    uint32_t words[624];
    size_t at;
    bool has_spare;
    double spare;
};

static void twister_seed(struct twister *twister, uint32_t seed)
{
    *twister = (struct twister){.at = 624};
    twister->words[0] = seed;
    for (uint32_t i = 1; i < 624; i++) {
        uint32_t before = twister->words[i - 1];
        twister->words[i] = UINT32_C(1812433253) * (before ^ (before >> 30)) + i;
    }
}

static uint32_t twister_next(struct twister *twister)
{
    uint32_t *words = twister->words;
    if (twister->at == 624) {
        for (size_t i = 0; i < 624; i++) {
            uint32_t y =
                (words[i] & UINT32_C(0x80000000)) | (words[(i + 1) % 624] & UINT32_C(0x7fffffff));
            words[i] = words[(i + 397) % 624] ^ (y >> 1) ^ (y & 1 ? UINT32_C(0x9908b0df) : 0);
        }
        twister->at = 0;
    }
    uint32_t y = words[twister->at++];
    y ^= y >> 11;
    y ^= (y << 7) & UINT32_C(0x9d2c5680);
    y ^= (y << 15) & UINT32_C(0xefc60000);
    return y ^ (y >> 18);
}

static double twister_uniform(struct twister *twister)
{
    uint32_t high = twister_next(twister) >> 5;
    uint32_t low = twister_next(twister) >> 6;
    return (high * 67108864.0 + low) / 9007199254740992.0;
}

static double twister_normal(struct twister *twister)
{
    if (twister->has_spare) {
        twister->has_spare = false;
        return twister->spare;
    }
    double x;
    double y;
    double squares;
    do {
        x = 2.0 * twister_uniform(twister) - 1.0;
        y = 2.0 * twister_uniform(twister) - 1.0;
        squares = x * x + y * y;
    } while (squares >= 1.0 || squares <= 0.0);
    double factor = sqrt(-2.0 * log(squares) / squares);
    twister->spare = factor * x;
    twister->has_spare = true;
    return factor * y;
}

/* The published vector of ObsPy's tests of its recursive trigger: seed 815, 5 over 10 samples, the
 * ratio at 99 to 102. */
static void test_short_over_long_averages_published_vector(void **state)
{
    (void)state;
    static const double first[4] = {0.36111128, -1.73228911, -1.31850702, -1.63589547};
    static const double published[4] = {0.80810165, 0.75939449, 0.91763978, 0.97465004};
    static struct twister twister;
    double x[103];
    double ratio[103];
    twister_seed(&twister, 815);
    for (size_t i = 0; i < 103; i++) {
        x[i] = twister_normal(&twister);
    }
    rival_sta_lta(x, 103, 5.0, 10.0, ratio);
    for (size_t i = 0; i < 4; i++) {
        assert_close(x[i], first[i], 1e-8);
        assert_close(ratio[99 + i], published[i], 1e-7);
    }
}

#define STATES 401

static double below(double x)
{
    return 0.5 * erfc(-x * M_SQRT1_2);
}

/* Mean run length of the one-sided sum at normal readings shifted by `shift`, by a Markov chain
 * over STATES states (Brook and Evans, Biometrika 59 (1972), 539-549): (I - Q) L = 1. */
static double run_length(double k, double h, double shift)
{
    static double q[STATES][STATES + 1];
    double width = 2.0 * h / (2.0 * STATES - 1.0);
    for (int i = 0; i < STATES; i++) {
        for (int j = 0; j < STATES; j++) {
            double step = (double)(j - i) * width + k - shift;
            double p = below(step + 0.5 * width) - (j > 0 ? below(step - 0.5 * width) : 0.0);
            q[i][j] = (i == j ? 1.0 : 0.0) - p;
        }
        q[i][STATES] = 1.0;
    }
    for (int c = 0; c < STATES; c++) {
        for (int r = c + 1; r < STATES; r++) {
            double part = q[r][c] / q[c][c];
            for (int j = c; j <= STATES && part != 0.0; j++) {
                q[r][j] -= part * q[c][j];
            }
        }
    }
    for (int c = STATES - 1; c >= 0; c--) {
        for (int j = c + 1; j < STATES; j++) {
            q[c][STATES] -= q[c][j] * q[j][STATES];
        }
        q[c][STATES] /= q[c][c];
    }
    return q[0][STATES];
}

/* Two-sided: 1/L = 1/L_up + 1/L_down. The handbook prints 168 and 465 in control; further digits
 * computed there. */
static void test_exact_run_lengths(void **state)
{
    (void)state;
    static const struct {
        double h;
        double shift;
        double length;
    } table[] = {{4.0, 0.0, 167.7}, {4.0, 0.5, 26.6},  {4.0, 1.0, 8.38},
                 {4.0, 2.0, 3.34},  {5.0, 0.0, 465.4}, {5.0, 1.0, 10.38}};
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        double up = run_length(0.5, table[i].h, table[i].shift);
        double down = run_length(0.5, table[i].h, -table[i].shift);
        double both = 1.0 / (1.0 / up + 1.0 / down);
        assert_close(both / table[i].length, 1.0, 0.005);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_the_handbooks_cusum),
        cmocka_unit_test(test_the_textbooks_cusum),
        cmocka_unit_test(test_short_over_long_average_at_a_step),
        cmocka_unit_test(test_short_over_long_averages_published_vector),
        cmocka_unit_test(test_exact_run_lengths),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
